"""``chipsong runs``: what was kept."""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any, NamedTuple

from analysis.errors import JournalError
from analysis.events import Event, Summary, from_dict
from monitor.actions.telling import ACTION, kept_text
from monitor.controls import PRESSED
from monitor.journal import Event as Kept
from monitor.journal import Run, home, open_run, sorted_out
from monitor.kept.heard import BIT, GAP, NOTICE, hearing
from monitor.kept.labels import LABEL
from monitor.kept.places import PLACES, was_cut
from monitor.kept.spoiled import judged_since, spells
from monitor.linefeed.kept import LINES
from monitor.words import clock, count, event_text, how_long, part_text

SAID_OTHERWISE = frozenset({ACTION, BIT, GAP, LABEL, LINES, NOTICE, PLACES, PRESSED})
"""Events of the journal that do not come from the listener."""

# Those among them that a person is not told of.
_SILENT = frozenset({BIT, GAP, PLACES})

_SAID = {
    "nothing": "a person said: that was nothing",
    "tightened": "a person said: tightened, carry on",
    "mark": "a person said: line {line} is being cut",
}


def list_text() -> str:
    """Return the runs that were kept, the newest first, a line each."""
    kept, others = sorted_out(home())
    left_out = [f"passed over: {why}" for why in others]
    if not kept:
        return "\n".join([f"No runs are kept in {home()} yet.", *left_out])
    return "\n".join([*map(_line, kept), *left_out, *_heard_otherwise(kept)])


def _heard_otherwise(kept: Sequence[Run]) -> list[str]:
    """Return what to say of runs that another version heard: it may have decided otherwise."""
    others = sum(run.meta.get("hearing", hearing()) != hearing() for run in kept)
    if not others:
        return []
    said = f"{others} of these were heard by another version, which may have decided otherwise"
    return [f"{said}: `chipsong rehear --all` tells what would change."]


def run_text(name: str) -> str:
    """
    Return what was heard in a run, in words.

    Raises
    ------
    JournalError
        When there is no such run, or it cannot be understood.
    """
    run = open_run(home(), name)
    return "\n".join([_line(run), *_told(run)])


def _told(run: Run) -> list[str]:
    """Return in words what was heard, what became of actions, and what people said of it, in order."""
    told = [_kept_text(run, kept) for kept in run.events() if _is_told(kept)]
    return told if any(kept.name == "summary" for kept in run.events()) else [*told, *_left_open(run)]


def _left_open(run: Run) -> list[str]:
    """Return what is known of the parts of a run that nobody has summed up; nothing without a program."""
    judged = judged_since(run, was_cut(run), None, spells(run))
    return [not_summed_up(run), *map(part_text, judged.parts)] if judged.parts else []


def not_summed_up(run: Run) -> str:
    """Return why nobody has summed up what became of the parts of a run."""
    if run.is_going_on:
        return "The run is being heard now: what became of the parts is summed up at its end."
    return "The run was not brought to its end: nobody summed up what became of the parts."


def _is_told(kept: Kept) -> bool:
    return "said" in kept.body if kept.name == LINES else kept.name not in _SILENT


def _kept_text(run: Run, kept: Kept) -> str:
    if kept.name in SAID_OTHERWISE:
        return f"{clock(kept.at):>8}  {_beside_text(kept)}"
    event = event_of(run, kept)
    return _end_text(run, event) if isinstance(event, Summary) else event_text(event)


def _beside_text(kept: Kept) -> str:
    if kept.name == ACTION:
        return kept_text(kept.body)
    if kept.name == LABEL:
        return label_text(kept.body)
    if kept.name == PRESSED:
        return _SAID[kept.body["kind"]].format(**kept.body)
    return str(kept.body["said"])


def _end_text(run: Run, summary: Summary) -> str:
    """Return the end of a run with what is thought of its parts by all that is known since."""
    judged = judged_since(run, was_cut(run), summary.parts, spells(run))
    return "\n".join([event_text(replace(summary, parts=judged.parts)), *judged.remarks])


class Beside(NamedTuple):
    """What a person is told of a run that the listener did not say: when, s, what kind, and what."""

    at: float
    name: str
    text: str


def beside(run: Run) -> tuple[Beside, ...]:
    """Return what people said of a run, what became of actions, and trouble that is no deafness, in order."""
    kept = (kept for kept in run.events() if kept.name in SAID_OTHERWISE and _is_told(kept))
    return tuple(Beside(each.at, each.name, _beside_text(each)) for each in kept)


def label_text(body: Mapping[str, Any]) -> str:
    """Return what a label says."""
    match body["of"]:
        case "run" if body["what"] != "nothing":
            return "that nothing was wrong in the run was taken back"
        case "run":
            return "the run was labelled: nothing was wrong"
        case "missed" if body["what"] == "nothing":
            return "that something was missed from here on was taken back"
        case "missed":
            return f"missed, from here on it was: {body['what']}"
    return f"the alarm at this time was labelled: {body['what']}"


def events_of(run: Run) -> tuple[Event, ...]:
    """
    Return what was heard in a run.

    Raises
    ------
    JournalError
        When an event in it cannot be understood.
    """
    return tuple(event_of(run, kept) for kept in run.events() if kept.name not in SAID_OTHERWISE)


def event_of(run: Run, kept: Kept) -> Event:
    """
    Return an event of a run as the listener said it.

    Raises
    ------
    JournalError
        When it cannot be understood.
    """
    try:
        return from_dict(kept.body)
    except ValueError as error:
        raise JournalError(f"run {run.id} cannot be understood: {error}") from error


def alarms_of(run: Run) -> int:
    """Return how many alarms there were, also in a run that nobody summed up; 0 where it can't be read."""
    if run.summary is not None:
        return int(run.summary["alarms"])
    with suppress(JournalError):
        return sum(event.name == "alarm" for event in run.events())
    return 0


def _line(run: Run) -> str:
    title = " ".join(run.title.split())  # a line each, whatever a file is called
    if run.summary is None:
        how = "being heard now" if run.is_going_on else "not brought to its end"
        alarms = alarms_of(run)
        return f"{run.id}  {title}: {how}" + (f", {count(alarms)}" if alarms else "")
    return f"{run.id}  {title}: {how_long(float(run.summary['at']))}, {count(run.summary['alarms'])}"
