"""A run that was kept is heard again, from its sound, as it was heard or as it would be today."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.baseline import Baseline
from analysis.errors import JournalError
from analysis.events import Event, Summary
from analysis.listener import Listener
from analysis.reference import Reference
from analysis.tape import Tape
from analysis.watcher import USUAL, Settings, Watcher
from monitor.controls import PRESSED
from monitor.journal import Run
from monitor.kept.heard import GAP
from monitor.kept.job import bits_of, program_of
from monitor.kept.pace import pace_of
from monitor.linefeed.kept import reports_of
from monitor.setup import locator_for

# Sound that is read at once, s.
_PIECE = 60.0
# How much sooner, s, its sound may end than a run that was summed up.
_SHORT = 0.1


@dataclass(frozen=True)
class Judged:
    """
    How a run is to be judged.

    Attributes
    ----------
    references
        How its bits sound when they are tight, by T number.
    settings
        Of all bits but those in ``settings_of``, which is by T number.
    pressed
        Whether what a person said while it was heard is heeded again.
    """

    references: Mapping[int, Reference] = field(default_factory=dict)
    settings: Settings = USUAL
    settings_of: Mapping[int, Settings] = field(default_factory=dict)
    pressed: bool = True


@dataclass(frozen=True)
class Again:
    """
    What came of a run that was heard again.

    Attributes
    ----------
    events
        All that was said, in order, without the summary.
    summary
        Its end.
    baselines
        What was learned, by T number and kind of cut.
    """

    events: tuple[Event, ...]
    summary: Summary
    baselines: Mapping[int, Mapping[str, Baseline]]


def hear_again(run: Run, judged: Judged) -> Again:
    """
    Hear a run again.

    Parameters
    ----------
    run
        A run whose sound was kept whole.
    judged
        How it is judged.

    Raises
    ------
    JournalError
        When it cannot be heard again; the text says why.
    """
    listener = _listener(run, judged, Watcher)
    events: list[Event] = []
    for piece in _pieces(run, pressed=judged.pressed):
        events.extend(piece(listener) if callable(piece) else listener.hear(piece).events)
    baselines: dict[int, dict[str, Baseline]] = {}
    for (bit, kind), baseline in listener.watcher.baselines.items():
        baselines.setdefault(bit, {})[kind] = baseline
    return Again(tuple(events), listener.end(), baselines)


def tape_of(run: Run) -> Tape:
    """
    Hear a run again without what a person said while it was heard; return what its watcher was told.

    Raises
    ------
    JournalError
        See `hear_again`.
    """
    listener = _listener(run, Judged(), Tape)
    for piece in _pieces(run, pressed=False):
        if callable(piece):
            piece(listener)
        else:
            listener.hear(piece)
    assert isinstance(listener.watcher, Tape)  # noqa: S101 - the listener was told so
    return listener.watcher


def _listener(run: Run, judged: Judged, watcher: type[Watcher]) -> Listener:
    bits = bits_of(run)
    if not bits:
        raise JournalError(f"run {run.id} does not tell its bits: it was kept by an older version")
    ahead: int | None = run.meta.get("ahead")
    reports = None if ahead is None else reports_of(run)
    locator = locator_for(program_of(run), bits, reports, ahead or 0, pace_of(run))
    return Listener(
        run.rate,
        bits,
        locator,
        judged.settings,
        judged.references,
        settings_of=judged.settings_of,
        watcher=watcher,
    )


_Deed = Callable[[Listener], list[Event]]


def _pieces(run: Run, *, pressed: bool) -> Iterator[NDArray[np.float32] | _Deed]:
    """Give the sound, and between its pieces what happened beside it."""
    if run.summary is not None and run.samples() < (run.summary["at"] - _SHORT) * run.rate:
        raise _not_whole(run)
    done = gone = 0  # samples so far, and up to where none came
    for at, lost, deed in _deeds(run, pressed=pressed):
        yield from _between(run, done, at, gone)
        yield deed
        # A person may speak while nothing comes.
        done, gone = at, max(gone, at + lost)
    yield from _between(run, done, run.samples(), gone)


def _between(run: Run, first: int, last: int, gone: int) -> Iterator[NDArray[np.float32]]:
    """Give what was heard from one sample to another, of which those before ``gone`` never came."""
    came = min(max(first, gone), last)
    for begin in range(first, came, run.rate):
        yield np.full(min(run.rate, came - begin), np.nan, dtype=np.float32)
    yield from _sound(run, came, last)


def _deeds(run: Run, *, pressed: bool) -> list[tuple[int, int, _Deed]]:
    """Return what happened: after which sample, how many were lost then, and what it does to a listener."""
    found: list[tuple[int, int, _Deed]] = []
    for event in run.events():
        if event.name == GAP:
            found.append((event.body["first"], event.body["lost"], _lost(event.body["note"])))
        elif event.name == PRESSED and pressed:
            found.append((round(event.at * run.rate), 0, _press(event.body["kind"], event.body["line"])))
    return sorted(found, key=lambda deed: deed[0])


def _lost(note: str) -> _Deed:
    return lambda listener: listener.lost(note)


def _press(kind: str, line: int | None) -> _Deed:
    match kind:
        case "nothing":
            return lambda listener: listener.nothing()
        case "tightened":
            return lambda listener: listener.tightened()
    return lambda listener: listener.mark(line or 0)


def _sound(run: Run, first: int, last: int) -> Iterator[NDArray[np.float32]]:
    step = round(_PIECE * run.rate)
    for begin in range(first, last, step):
        piece = run.sound(begin, min(begin + step, last))
        if np.isnan(piece).any():
            raise _not_whole(run)
        yield piece


def _not_whole(run: Run) -> JournalError:
    return JournalError(f"run {run.id} cannot be heard again: not all of its sound was kept")
