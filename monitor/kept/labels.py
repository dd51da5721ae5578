"""
What a person said afterwards of a run: of its alarms, of what was missed, or that nothing was wrong in it.

A label is an event of the run's journal, as the others; the last one given to an alarm is the one that holds.
"""

import json
import math
import sqlite3
from contextlib import closing
from typing import Any, Literal, get_args

from analysis.errors import JournalError
from analysis.events import Cause
from monitor.controls import ALARM, PRESSED
from monitor.journal import Event, Run
from monitor.journal.place import DATABASE
from monitor.journal.schema import connect
from monitor.journal.waiting import is_held
from monitor.words import clock

Label = Cause | Literal["nothing"]

LABEL = "label"
"""The name of the journal's event that holds a label."""

LABELS: tuple[Label, ...] = ("nothing", *get_args(Cause))
"""What may be said of an alarm: that it was nothing, or what it was."""


def label(run: Run, event_index: int, what: Label) -> None:
    """
    Say what an alarm was.

    Parameters
    ----------
    run
        A run that was kept, or still is.
    event_index
        Which of ``run.events()``, from 0.
    what
        One of `LABELS`.

    Raises
    ------
    JournalError
        When there is no such alarm or label, or it cannot be written.
    """
    if what not in LABELS:
        raise JournalError(f"'{what}' is no label: say one of {', '.join(LABELS)}")
    events = run.events()
    if not 0 <= event_index < len(events) or events[event_index].name != "alarm":
        raise JournalError(f"event {event_index} of run {run.id} is no alarm: only alarms get labels")
    _write(run, events[event_index].at, event_index, what)


def missed(run: Run, at: float, what: Label = "loose") -> None:
    """
    Say what was so from ``at`` s on and nobody alarmed.

    ``nothing`` takes back what is nearest to ``at``, for it is listed in whole seconds.

    Raises
    ------
    JournalError
        When there is no such label, the run is not that long, nothing is there to be taken back, or it cannot
        be written.
    """
    if what not in LABELS:
        raise JournalError(f"'{what}' is no label: say one of {', '.join(LABELS)}")
    length = _length(run)
    if not 0.0 <= at <= length:
        raise JournalError(f"{at:g} s is not in run {run.id}: it is {length:.1f} s long")
    _write(run, _nearest_miss(run, at) if what == "nothing" else at, _MISSED, what)


def _nearest_miss(run: Run, at: float) -> float:
    said = misses(run)
    nearest = min(said, key=lambda moment: abs(moment - at), default=math.inf)
    if abs(nearest - at) >= _LISTED:
        others = f": that is said from {', '.join(map(clock, said))} on" if said else ""
        raise JournalError(f"nothing is said to have been missed from {clock(at)} on in run {run.id}{others}")
    return nearest


def _length(run: Run) -> float:
    """Return how long a run is, s; of one that was not brought to its end, how far anything was kept."""
    if run.summary is not None:
        return float(run.summary["at"])
    last: list[float] = run.rows().at[-1:].tolist()
    return max([run.samples() / run.rate, *last])


def fine(run: Run) -> None:
    """
    Say that nothing was wrong in a run from its beginning to its end, and take back what was missed.

    `not_fine` takes all of it back.

    Raises
    ------
    JournalError
        When a person said what an alarm of it was: that is not lost by the way; while the run is being heard;
        or when it cannot be written.
    """
    refuse_while_heard(run)
    _refuse_if_known(run)
    for index, event in enumerate(run.events()):
        if event.name == "alarm":
            _write(run, event.at, index, "nothing", by=_RUN)
    for at in misses(run):
        _write(run, at, _MISSED, "nothing", by=_RUN)
    _write(run, 0.0, _RUN, "nothing", by=_RUN)


def not_fine(run: Run) -> None:
    """
    Take back that nothing was wrong in a run: what was said of it before holds again.

    Raises
    ------
    JournalError
        When nobody said so, or it cannot be written.
    """
    if not said_fine(run):
        raise JournalError(f"nobody said of run {run.id} that nothing was wrong in it")
    _write(run, 0.0, _RUN, "unknown")


def refuse_while_heard(run: Run) -> None:
    """
    Refuse what can be said of a whole run alone, as long as nobody knows what else comes.

    Raises
    ------
    JournalError
        While the run is being heard.
    """
    if run.is_going_on:
        raise JournalError(f"run {run.id} is being heard now: say this of it when it has ended")


def _refuse_if_known(run: Run) -> None:
    known = labels(run)
    alarms = [index for index, event in enumerate(run.events()) if event.name == "alarm"]
    for number, index in enumerate(alarms, start=1):
        if (what := known.get(index, "nothing")) != "nothing":
            raise JournalError(
                f"alarm {number} of run {run.id} is labelled {what}: if it was nothing after all, say "
                f"`chipsong label {run.id} {number} nothing` first"
            )


def is_fine(run: Run) -> bool:
    """Return whether a person said that nothing was wrong in a run, and nothing speaks against it since."""
    known = labels(run)
    alarms = (known.get(index) for index, event in enumerate(run.events()) if event.name == "alarm")
    return said_fine(run) and not misses(run) and all(what == "nothing" for what in alarms)


def said_fine(run: Run) -> bool:
    """Return whether a person said that nothing was wrong in a run, whatever was said since."""
    return any(of == _RUN for _, of, _ in _labels(run))


def labels(run: Run) -> dict[int, Label]:
    """
    Return the label of each alarm that has one, by the alarm's index in ``run.events()``.

    What was said to be nothing while it was heard is labelled so, unless something was said afterwards.
    """
    pressed: dict[int, Label] = dict.fromkeys(taken_back(run), "nothing")
    return pressed | {of: what for _, of, what in _labels(run) if isinstance(of, int)}


def taken_back(run: Run) -> tuple[int, ...]:
    """Return which of ``run.events()`` are alarms that a person said to be nothing while it was heard."""
    found: list[int] = []
    alarm: int | None = None
    lasts = False
    for index, event in enumerate(run.events()):
        if event.name == "alarm":
            alarm, lasts = index, True
        elif is_over(event):
            # One that has ended by itself may be said to be nothing later.
            alarm, lasts = alarm if event.name == "state" else None, False
        elif _is_nothing(event, lasts=lasts) and alarm is not None:
            found.append(alarm)
    return tuple(found)


def is_over(event: Event) -> bool:
    """Return whether no alarm lasts after an event: the bit was tightened, or sounds good again."""
    if event.name == "state":
        return event.body["state"] not in ("alarm", "deaf")
    tightened = event.name == PRESSED and event.body["kind"] == "tightened"
    return tightened or (event.name == "checked" and event.body["verdict"] == "tight")


def _is_nothing(event: Event, *, lasts: bool) -> bool:
    """Return whether an alarm was said to be nothing; where an old run does not tell, one that ``lasts``."""
    of = event.body.get("of", ALARM if lasts else None)
    return event.name == PRESSED and event.body["kind"] == "nothing" and of == ALARM


def misses(run: Run) -> dict[float, Label]:
    """Return what was missed, by since when it was so, s."""
    said = {at: what for at, of, what in _labels(run) if of == _MISSED}
    return {at: what for at, what in said.items() if what != "nothing"}


def is_labelled(run: Run, *, accepted: bool = False) -> bool:
    """
    Return whether all is known of a run.

    Each alarm has a label, and a person said something of it that holds, or ``accepted`` it.
    """
    alarms = {index for index, event in enumerate(run.events()) if event.name == "alarm"}
    known = labels(run)
    is_told = accepted or known or misses(run) or said_fine(run)
    return bool(is_told) and alarms <= known.keys()


# How exactly a moment is listed, s.
_LISTED = 1.0

# What a label is of, where it is of no alarm.
_MISSED, _RUN = "missed", "run"


def _labels(run: Run) -> list[tuple[float, int | str, Label]]:
    """Return when, s, of what, and what a person said, unless all was fine and that was taken back."""
    said: list[dict[str, Any]] = []
    for event in run.events():
        if event.name != LABEL:
            continue
        if event.body["of"] == _RUN and event.body["what"] != "nothing":
            said = [body for body in said if _RUN not in (body["of"], body.get("by"))]
        else:
            said.append(event.body)
    return [(body["at"], body["of"], body["what"]) for body in said]


def _write(run: Run, at: float, of: int | str, what: Label, **more: str) -> None:
    body = {"event": LABEL, "at": at, "of": of, "what": what, **more}
    try:
        with closing(connect(run.folder / DATABASE)) as db:
            db.execute("INSERT INTO events (at, name, json) VALUES (?, ?, ?)", (at, LABEL, json.dumps(body)))
    except sqlite3.Error as error:
        advice = "try again" if is_held(error) else f"let this user write {run.folder}, and make room there"
        raise JournalError(f"the label cannot be kept in run {run.id} ({error}): {advice}") from error
