"""
What a person said afterwards of the alarms of a run, kept with the run.

A label is an event of the run's journal, as the others; the last one given to an alarm is the one that holds.
"""

import json
import sqlite3
from contextlib import closing
from typing import Literal, get_args

from analysis.errors import JournalError
from analysis.events import Cause
from monitor.journal import Run
from monitor.journal.place import DATABASE
from monitor.journal.schema import connect

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
    at = events[event_index].at
    body = {"event": LABEL, "at": at, "of": event_index, "what": what}
    try:
        with closing(connect(run.folder / DATABASE)) as db:
            db.execute("INSERT INTO events (at, name, json) VALUES (?, ?, ?)", (at, LABEL, json.dumps(body)))
    except sqlite3.Error as error:
        raise JournalError(f"the label cannot be kept in run {run.id} ({error}): try again") from error


def labels(run: Run) -> dict[int, Label]:
    """Return the label of each alarm that has one, by the alarm's index in ``run.events()``."""
    return {event.body["of"]: event.body["what"] for event in run.events() if event.name == LABEL}
