"""The events of a run as other machines get them: numbered from 1, and which of them were sent."""

import json
import secrets
import time
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from analysis.errors import JournalError
from monitor.journal import Run, open_run
from monitor.journal.place import runs_folder

TOLD = ("alarm", "deaf", "heard", "checked", "summary")
"""The events that are told to other machines."""

# Beside a kept run: to whom it is told, and how far.
_FILE = "shop.json"

# For how long, s, and how many at most, runs that are over are told of.
_BEFORE_S, _BEFORE_RUNS = 2 * 86_400, 20

# What stands between a run's name and what no other run of that name has.
_APART = "~"


def run_apart(run: str) -> str:
    """Return what a run is called in a shop, where another machine may have one of the same name."""
    return f"{run}{_APART}{secrets.token_hex(3)}"


@dataclass
class Told:
    """
    What was told of a run so far, kept beside it.

    Attributes
    ----------
    folder
        Of the run; ``None`` where it is not kept.
    to, machine, run
        The shop's name, this machine's, and what the run is called there.
    sent
        How many of its events the broker has.
    over
        Whether the broker has all that there will be.
    total
        How many there are, of a run that is over.
    """

    folder: Path | None
    to: str
    machine: str
    run: str
    sent: int = 0
    over: bool = False
    total: int | None = None

    def arrived(self, seq: int) -> None:
        """Note that the broker has an event, and so all before it."""
        self.sent = max(self.sent, seq)
        self.over = self.over or self.sent == self.total
        self.save()

    def save(self) -> None:
        """Keep it; where that fails events may be sent again, which does no harm."""
        if self.folder is None:
            return
        keys = ("to", "machine", "run", "sent", "over")
        body = {key: getattr(self, key) for key in keys}
        half = self.folder / f".{_FILE}"
        with suppress(OSError):
            half.write_text(json.dumps(body), encoding="utf-8")
            half.replace(self.folder / _FILE)


@dataclass(frozen=True)
class Message:
    """
    An event on its way.

    Attributes
    ----------
    run, seq
        Which run, and which event of it, counted from 1.
    body
        All of it but whether it comes late.
    born
        When it was told, by the monotonic clock, s; long ago for one of an earlier run.
    told
        Where it is noted that it was sent; ``None`` for one that was sent before and is asked for.
    late
        Whether it comes late in any case.
    """

    run: str
    seq: int
    body: Mapping[str, Any]
    born: float = float("-inf")
    told: Told | None = field(default=None, compare=False)
    late: bool = False

    def again(self) -> "Message":
        """Return it as it is sent to who asks for it."""
        return replace(self, told=None, late=True)


def message(machine: str, run: str, seq: int, when: datetime, event: Mapping[str, Any]) -> dict[str, Any]:
    """Return the body of an event's message."""
    said = when.isoformat(timespec="milliseconds")
    return {"machine": machine, "run": run, "seq": seq, "time": said, **event}


def kept_messages(home: Path, name: str, to: str, machine: str) -> list[Message]:
    """Return the events of a run that this machine told, or was to tell, in this shop; none of any other."""
    folder = name.partition(_APART)[0]
    if Path(folder).name != folder:  # who asks may write anything
        return []
    told = _told(runs_folder(home) / folder)
    if told is None or (told.to, told.machine, told.run) != (to, machine, name):
        return []
    try:
        return list(_messages(open_run(home, folder), told))
    except (JournalError, ValueError, TypeError, OverflowError):  # damaged runs must not hold up the others
        return []


def unsent(home: Path, to: str, machine: str, *, but: str) -> Iterator[Message]:
    """Give the events of earlier runs that never reached this shop; ``but`` is the run that goes on."""
    folder = runs_folder(home)
    names = sorted(path.parent.name for path in folder.glob(f"*/{_FILE}"))
    for name in names:
        told = _told(folder / name)
        if told is None or told.over or told.run == but:
            continue
        yield from (kept for kept in kept_messages(home, told.run, to, machine) if kept.seq > told.sent)


def told_before(home: Path, to: str, machine: str, *, but: str) -> dict[str, int]:
    """
    Return how many events there are of each of the latest runs that were told in this shop.

    That a broker took them does not mean that anybody who hears the shop was there; ``but`` is the run that
    goes on.
    """
    since = time.time() - _BEFORE_S
    found = [(path.stat().st_mtime, path.parent) for path in runs_folder(home).glob(f"*/{_FILE}")]
    counts: dict[str, int] = {}
    for changed, folder in sorted(found, reverse=True)[:_BEFORE_RUNS]:
        told = _told(folder)
        if changed < since or told is None or told.run == but:
            continue
        if messages := kept_messages(home, told.run, to, machine):
            counts[told.run] = len(messages)
    return counts


def _told(folder: Path) -> Told | None:
    try:
        body = json.loads((folder / _FILE).read_text(encoding="utf-8"))
        to, machine, run = str(body["to"]), str(body["machine"]), str(body.get("run", folder.name))
        return Told(folder, to, machine, run, int(body["sent"]), bool(body["over"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _messages(run: Run, told: Told) -> Iterator[Message]:
    events = [event for event in run.events() if event.name in TOLD]
    told.total = len(events)
    for seq, event in enumerate(events, 1):
        body = message(told.machine, told.run, seq, run.started + timedelta(seconds=event.at), event.body)
        yield Message(told.run, seq, body, told=told, late=True)
