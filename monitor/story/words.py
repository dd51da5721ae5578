"""What is said of a run as a whole: what was heard of it, and what was not."""

import math
from collections.abc import Sequence
from typing import NamedTuple, cast

from analysis.events import Alarm, Deaf, Event, Heard, Summary, to_dict
from analysis.figures.clock import heard_for, lasting
from analysis.program.rewritten import counted_anew
from monitor.controls import PRESSED
from monitor.kept.doubts import doubts
from monitor.kept.labels import LABEL
from monitor.kept.spoiled import Spell
from monitor.review import beside, not_summed_up
from monitor.story.story import Story
from monitor.words import clock, count

_WHILE = {
    "deaf": "For {} nothing usable was heard.",
    "settle": "For {} nothing could be compared: no steady cut, or another sound covered it.",
    "learn": "For {} it learned how the cut sounds: a bit that was loose then was taken for normal.",
}


def not_heard(story: Story) -> tuple[str, ...]:
    """Return what nobody listened to, or could compare, a sentence each."""
    spent = dict.fromkeys(("settle", "learn", "deaf"), 0.0)
    for begin, end, state in story.states:
        if state in spent:
            spent[state] += end - begin
    told = [_WHILE[state].format(lasting(seconds)) for state, seconds in spent.items() if seconds]
    told += [
        f"{verdict.name} (lines {verdict.first} to {verdict.last}) was not heard all the way."
        for verdict in story.verdicts
        if verdict.verdict == "unheard"
    ]
    if not story.summary:
        told.append(not_summed_up(story.run))
    if not story.program:
        told.append("No program is kept with the run, so there are no parts to show.")
    elif anew := counted_anew(story.program):
        told.append(f"{anew.text}.")
    return tuple(told) or ("All of it was heard.",)


def said_since(story: Story) -> tuple[str, ...]:
    """Return what a person said afterwards that makes parts suspect which were thought to be good."""
    return tuple(_since(spell) for spell in story.spells if spell.what)


def _since(spell: Spell) -> str:
    when = clock(spell.since)
    was = (
        f"It was {spell.what} from {when} on, and nobody alarmed"
        if spell.missed
        else f"That the alarm about what began at {when} was nothing is taken back: it was {spell.what}"
    )
    over = "" if math.isinf(spell.until) else f", until it was found tight at {clock(spell.until)}"
    return f"{was}. What the bit cut from there on is suspect, whatever was thought of it{over}."


def to_recut(story: Story) -> tuple[str, ...]:
    """Return the names of the parts that are not good."""
    return tuple(verdict.name for verdict in story.verdicts if verdict.verdict != "good")


_BY_PEOPLE = (LABEL, PRESSED)


class Line(NamedTuple):
    """An event in a list: when, s, what it was, why, and whether it stands there however long that is."""

    at: float
    what: str
    why: str
    always: bool = False


def all_said(story: Story) -> tuple[Line, ...]:
    """Return all that was said in a run and of it, by the listener, by people and beside both, in time."""
    lines = [line_of(event) for event in story.events]
    lines += [Line(at, name, text, name in _BY_PEOPLE) for at, name, text in beside(story.run)]
    return tuple(sorted(lines, key=lambda line: line.at))


def listed(said: Sequence[Line], most: int) -> tuple[list[Line], int]:
    """Return what is listed, and how much is not: alarms, deafness and what people said always are."""
    free = most - sum(line.always for line in said)
    lines, left_out = [], 0
    for line in said:
        free -= not line.always
        if line.always or free >= 0:
            lines.append(line)
        else:
            left_out += 1
    return lines, left_out


def line_of(event: Event) -> Line:
    """Return an event as it stands in a list."""
    if isinstance(event, Summary):
        return Line(event.at, "the end", f"{count(event.alarms)}, {heard_for(event)}")
    body = to_dict(event)
    said = body.get("because", "")
    why = said if isinstance(said, str) else "; ".join(map(str, cast("list[object]", said)))
    kind = str(body.get("state") or body["event"])
    detail = body.get("cause") or body.get("verdict")
    always = isinstance(event, Alarm | Deaf | Heard)
    return Line(event.at, f"{kind}: {detail}" if detail else kind, why, always)


def headline(story: Story) -> str:
    """Return in a few words how a run went."""
    if not len(story.rows.at):
        return "nothing was heard"
    doubt = " and a bit in doubt" if doubts(story.run) else ""
    return f"{count(len(story.incidents))}{doubt} in {lasting(story.seconds)}"
