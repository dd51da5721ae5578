"""``chipsong rehear``: runs that were kept, heard again with today's thresholds and code; what changed."""

import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from analysis.errors import ChipsongError
from analysis.events import Alarm, Checked, Event, Place, ResumeLine, Summary
from monitor.journal import Run, home
from monitor.kept.heard import hearing
from monitor.kept.places import was_cut
from monitor.kept.spoiled import judged_since, spells
from monitor.rehear.again import Again, hear_again
from monitor.rehear.going_on import Kept, go_on, marks_of
from monitor.rehear.ledger import LEDGER, Ledger
from monitor.rehear.many import Workers, for_each
from monitor.rehear.runs_at import RunsAt, runs_at
from monitor.rehear.today import judged_today
from monitor.review import events_of
from monitor.setup import SHELF
from monitor.shelf.bits import read_shelf
from monitor.status import Status
from monitor.trouble import one_line, warn
from monitor.words import clock

# Alarms so near one another, s, are the same one.
_SAME = 1.0


@dataclass(frozen=True)
class Change:
    """
    What changed in a run that was heard again.

    Attributes
    ----------
    run
        Its name.
    changes
        A sentence each; empty where all is as it was.
    other
        Whether it was heard by another version of the code that decides.
    failed
        Why it could not be heard again; empty when it could.
    """

    run: str
    changes: tuple[str, ...] = ()
    other: bool = False
    failed: str = ""


@dataclass(frozen=True)
class Rehearing:
    """
    How runs are heard again.

    Attributes
    ----------
    workers
        Who does it.
    place
        Where they lie; ``None`` for where they are kept here.
    afresh
        Whether those are heard too of which is known what comes of it.
    as_json
        Whether that is written as JSON.
    """

    workers: Workers = field(default_factory=Workers)
    place: str | None = None
    afresh: bool = False
    as_json: bool = False


def rehear(names: Sequence[str], how: Rehearing) -> Status:
    """
    Hear runs again, all of them where none is named; write what changed, and return the exit status.

    What came of each is kept with what it follows from, so that the same work, stopped and begun again, goes
    on where it stopped.
    """
    place = runs_at(how.place, home())
    chosen = [place.whole(name) for name in names] or place.names()
    marks = marks_of(place, chosen, *_rules())
    kept = Kept(Ledger(home() / LEDGER), "rehear", asdict, _from_plain, lambda found: not found.failed)
    work = partial(_hear, place, how.workers)
    failed = False
    for found in go_on(chosen, marks, work, kept, afresh=how.afresh):
        failed |= bool(found.failed)
        sys.stdout.write(f"{json.dumps(asdict(found)) if how.as_json else _text(found)}\n")
        sys.stdout.flush()
    return Status.FAILED if failed else Status.FINE


def _hear(place: RunsAt, workers: Workers, names: Sequence[str]) -> Iterator[Change]:
    return for_each(partial(_change, home(), place), names, workers, _failed)


def _rules() -> Iterator[bytes]:
    """Give what runs are judged by beside the code: the shelf and all references."""
    for path in (home() / SHELF, *sorted((home() / "references").glob("*.json"))):
        yield path.read_bytes() if path.exists() else b""


def _from_plain(body: dict[str, Any]) -> Change:
    return Change(**body | {"changes": tuple(body["changes"])})


def _change(folder: Path, place: RunsAt, name: str) -> Change:
    try:
        with place.opened(name) as run:
            again = hear_again(run, judged_today(run, read_shelf(folder / SHELF), folder))
            return Change(run.id, tuple(changes(run, again)), other=run.meta.get("hearing") != hearing())
    except ChipsongError as error:
        return Change(name, failed=one_line(error))
    except Exception as error:  # noqa: BLE001 - one bad run must not end all others
        return Change(name, failed=f"it broke down: {one_line(error)}")


def _failed(name: str, why: str) -> Change:
    return Change(name, failed=why)


def changes(run: Run, again: Again) -> Iterator[str]:
    """Give what is otherwise than it was when the run was heard, a sentence each."""
    before = events_of(run)
    yield from _alarm_changes(before, again.events)
    yield from _check_changes(before, again.events)
    yield from _part_changes(run, before, again.summary)


def _alarm_changes(before: Sequence[Event], after: Sequence[Event]) -> Iterator[str]:
    new = [event for event in after if isinstance(event, Alarm)]
    for old in (event for event in before if isinstance(event, Alarm)):
        same = min(new, key=lambda alarm: abs(alarm.onset - old.onset), default=None)
        if same is None or min(abs(same.onset - old.onset), abs(same.at - old.at)) > _SAME:
            yield f"no alarm any more at {clock(old.at)} ({old.cause})"
            continue
        new.remove(same)
        if same.cause != old.cause:
            yield f"the alarm at {clock(old.at)} is {same.cause}, it was {old.cause}"
        if abs(same.at - old.at) > 0.1:
            yield f"the alarm at {clock(old.at)} comes {_by(same.at - old.at)}"
        yield from _place_changes(old, same)
    yield from (f"an alarm at {clock(alarm.at)} ({alarm.cause}) that was none" for alarm in new)


def _place_changes(old: Alarm, new: Alarm) -> Iterator[str]:
    before, now = (f"on {_line(alarm.line)}" for alarm in (old, new))
    if before != now:
        yield f"the alarm at {clock(old.at)} began {now}, it was {before}"
    before, now = (f"from {_line(alarm.resume)}" for alarm in (old, new))
    if before != now:
        yield f"after the alarm at {clock(old.at)} the cut goes on {now}, it was {before}"


def _line(place: Place | ResumeLine | None) -> str:
    return "no known line" if place is None else f"line {place.file}"


def _by(seconds: float) -> str:
    return f"{abs(seconds):.1f} s {'later' if seconds > 0 else 'sooner'}"


def _check_changes(before: Sequence[Event], after: Sequence[Event]) -> Iterator[str]:
    old, new = (
        [(event.against, event.verdict) for event in events if isinstance(event, Checked)]
        for events in (before, after)
    )
    if old != new:
        yield f"the first seconds are {_verdicts(new)}, they were {_verdicts(old)}"


def _verdicts(checks: Sequence[tuple[str, str]]) -> str:
    return ", ".join(f"{verdict} (against {against})" for against, verdict in checks) or "not compared"


def _part_changes(run: Run, before: Sequence[Event], after: Summary) -> Iterator[str]:
    """Give what is thought otherwise of parts: what a person said of the run holds however it is judged."""
    end = next((event for event in reversed(before) if isinstance(event, Summary)), None)
    found, cut = spells(run), was_cut(run)
    before_that = judged_since(run, cut, end.parts if end else None, found)
    old = {part.name: part.verdict for part in before_that.parts}
    for part in judged_since(run, cut, after.parts, [spell for spell in found if spell.what]).parts:
        was = old.get(part.name, part.verdict)
        if end is None:
            known = "and nobody had said" if was == "unheard" else f"and it was {was}"
            yield f"{part.name} is {part.verdict}: the run was not brought to its end, {known}"
        elif was != part.verdict:
            yield f"{part.name} is {part.verdict}, it was {was}"


def _text(found: Change) -> str:
    if found.failed:
        warn(f"{found.run}: {found.failed}")
        return f"{found.run}: passed over"
    code = " (heard by another version before)" if found.other else ""
    if not found.changes:
        return f"{found.run}: all is as it was{code}"
    return "\n".join([f"{found.run}:{code}", *(f"  {change}" for change in found.changes)])
