"""What the labelled runs of a bit tell, heard again."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from functools import partial
from typing import Any

from analysis.errors import ChipsongError, JournalError
from analysis.tape import Tape
from analysis.tuning import Told
from analysis.watcher import Settings
from monitor.journal import Run, home
from monitor.kept.heard import bit_at, bits_over_time
from monitor.kept.keeping import material_of, shelved
from monitor.kept.labels import is_labelled, labels, misses
from monitor.rehear.again import tape_of
from monitor.rehear.going_on import Kept, go_on, marks_of
from monitor.rehear.ledger import LEDGER, Ledger
from monitor.rehear.many import Workers, for_each
from monitor.rehear.runs_at import RunsAt
from monitor.shelf.bits import Entry, same_name
from monitor.shelf.references import read_book
from monitor.trouble import one_line, warn

# An alarm so long, s, before a fault is said to have begun is that fault's.
_EARLY = 1.0


def labelled_runs(place: RunsAt, entry: Entry, material: str | None) -> list[str]:
    """
    Return the names of runs, labelled or accepted, that the bit cut this material in, the oldest first.

    Raises
    ------
    JournalError
        When there are none.
    """
    wanted = material or entry.material
    accepted = {step.run for step in read_book(home(), entry.bit.name).accepted()}
    found = []
    for name in place.names():
        try:
            with place.opened(name, sound=False) as run:
                if _is_of(run, entry, wanted) and is_labelled(run, accepted=run.id in accepted):
                    found.append((run.started.timestamp(), run.id))
        except JournalError as error:
            warn(f"{name} is passed over: {one_line(error)}")
    if not found:
        raise JournalError(
            f"no run with '{entry.bit.name}'{f' in {wanted}' if wanted else ''} is labelled: "
            f"say of runs what they were with `chipsong label`"
        )
    return [name for _, name in sorted(found)]


def _is_of(run: Run, entry: Entry, material: str | None) -> bool:
    cut = (material_of(run, number) for number in _numbers(run, entry))
    return any(same_name(each or "", material or "") for each in cut)


def _numbers(run: Run, entry: Entry) -> list[int]:
    return [number for number, name in shelved(run).items() if same_name(name, entry.bit.name)]


@dataclass(frozen=True)
class How:
    """
    How labelled runs are heard.

    Attributes
    ----------
    place
        Where they lie.
    workers
        Who does it.
    afresh
        Whether those are heard too of which is known what they tell.
    """

    place: RunsAt
    workers: Workers = field(default_factory=Workers)
    afresh: bool = False


def hear_runs(
    entry: Entry, names: Sequence[str], factors: Sequence[float], settings: Settings, how: How
) -> tuple[Told, ...]:
    """
    Hear runs again, and return what each tells of each limit; one that can't be heard is passed over.

    What each tells is kept with what it follows from, so that work that was stopped goes on.

    Raises
    ------
    JournalError
        When none tells anything.
    """
    tried = [_with_factor(settings, factor) for factor in factors]
    marks = marks_of(how.place, names, repr((entry, tried)).encode())
    kept = Kept(Ledger(home() / LEDGER), f"tune {entry.bit.name}", _to_plain, _from_plain, _is_told)
    heard: list[Told] = []
    telling = go_on(names, marks, partial(_hear, entry, tried, how), kept, afresh=how.afresh)
    for name, found in zip(names, telling, strict=True):
        if isinstance(found, str):
            warn(f"{name} is passed over: {found}")
        else:
            heard.append(found)
    if not sum(told.hours for told in heard):
        raise JournalError(f"no labelled run of '{entry.bit.name}' tells how it sounds when nothing is wrong")
    return tuple(heard)


def _hear(entry: Entry, tried: Sequence[Settings], how: How, names: Sequence[str]) -> Iterator[Told | str]:
    return for_each(partial(_tell, how.place, entry, tried), names, how.workers, lambda _name, why: why)


def _to_plain(told: Told | str) -> dict[str, Any]:
    assert isinstance(told, Told)  # noqa: S101 - nothing else is kept
    return asdict(told)


def _from_plain(body: dict[str, Any]) -> Told | str:
    delays = body["delays"]
    return Told(body["run"], body["hours"], tuple(body["false"]), None if delays is None else tuple(delays))


def _is_told(told: Told | str) -> bool:
    return isinstance(told, Told)


def _with_factor(settings: Settings, factor: float) -> Settings:
    return Settings(false_alarms=settings.false_alarms, hours=settings.hours, factor=factor)


def _tell(place: RunsAt, entry: Entry, tried: Sequence[Settings], name: str) -> Told | str:
    """Return what a run tells, or why it can't be heard again: one bad run must not end all others."""
    try:
        with place.opened(name) as run:
            tape = tape_of(run)
            told = [_told_of(run, tape, number, tried) for number in _numbers(run, entry)]
    except ChipsongError as error:
        return one_line(error)
    except Exception as error:  # noqa: BLE001 - as above
        return f"it broke down: {one_line(error)}"
    # A run has the bit under one number, or under several when it was named for all of them.
    return _together(name, told)


def _told_of(run: Run, tape: Tape, number: int, tried: Sequence[Settings]) -> Told:
    onset = min(_faults(run, number), default=math.inf)
    heard = [tape.alarms(number, settings) for settings in tried]
    false = tuple(sum(alarm.at < onset - _EARLY for alarm in alarms) for alarms in heard)
    hours = tape.cut_seconds(number, onset) / 3600.0
    if onset == math.inf:
        return Told(run.id, hours, false)
    after = [[alarm.at for alarm in alarms if alarm.at >= onset - _EARLY] for alarms in heard]
    delays = tuple(max(0.0, at[0] - onset) if at else math.inf for at in after)
    return Told(run.id, hours, false, delays)


def _faults(run: Run, number: int) -> Iterator[float]:
    """Give when something is said to have begun to go wrong with the bit of a T number, s."""
    known, bits = labels(run), bits_over_time(run)
    for index, event in enumerate(run.events()):
        if known.get(index, "nothing") != "nothing" and bit_at(event.at, bits) == number:
            yield float(event.body["onset"])
    yield from (at for at in misses(run) if bit_at(at, bits) == number)


def _together(name: str, told: Sequence[Told]) -> Told:
    faults = [each.delays for each in told if each.delays is not None]
    false = tuple(map(sum, zip(*(each.false for each in told), strict=True)))
    return Told(name, sum(each.hours for each in told), false, faults[0] if faults else None)
