"""
Which parts of a run are thought otherwise of than was summed up at its end.

What a person says of a run afterwards, that an alarm was one after all or that a fault was missed, tells of
parts that were thought to be good; that nothing was wrong, of those that were suspect. Of alarms in a run
that was broken off nobody summed up anything. And parts may have been counted otherwise when it was heard.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from analysis.events import PartVerdict, Verdict
from analysis.program import Part, Program
from monitor.controls import PRESSED
from monitor.journal import Event, Run
from monitor.kept.followed import heard_all
from monitor.kept.heard import bit_at, bit_of, bits_over_time
from monitor.kept.labels import is_fine, is_over, labels, misses, taken_back
from monitor.kept.places import Passed, WasCut


@dataclass(frozen=True)
class Spell:
    """
    A time in which what a bit cut was spoiled.

    Attributes
    ----------
    since, until
        s from the first sample; ``until`` is infinite where it never was found to be over.
    bit
        The bit's T number; 0 where none was told, and then it may be any.
    lines
        First and last line of the file that its alarm wants cut again; ``None`` where nobody told them.
    missed
        Whether nobody alarmed.
    what
        What it was, in a word; empty where nobody has said it.
    """

    since: float
    until: float
    bit: int
    lines: tuple[int, int] | None
    missed: bool
    what: str


def spells(run: Run) -> tuple[Spell, ...]:
    """Return when bits spoiled what they cut, as far as nobody has reckoned with that at the run's end."""
    events, bits = run.events(), bits_over_time(run)
    return (*_alarms(run, events, bits), *_missed(run, events, bits))


def _alarms(run: Run, events: Sequence[Event], bits: Sequence[tuple[float, int]]) -> Iterator[Spell]:
    known, back = labels(run), taken_back(run)
    for index, event in enumerate(events):
        what = known.get(index)
        if event.name != "alarm" or what == "nothing":
            continue
        bit = bit_at(event.at, bits)
        if index in back:
            until = _tight_again(events, event.at, bit, bits)
        elif run.summary is None:
            until = next((later.at for later in events[index + 1 :] if is_over(later)), math.inf)
        else:
            continue
        onset = float(event.body["onset"])
        yield Spell(onset, until, bit, _lines(event), missed=False, what=what or "")


def _lines(alarm: Event) -> tuple[int, int] | None:
    line, resume = alarm.body["line"], alarm.body["resume"]
    return None if line is None or resume is None else (resume["file"], line["to"])


def _missed(run: Run, events: Sequence[Event], bits: Sequence[tuple[float, int]]) -> Iterator[Spell]:
    for at, what in misses(run).items():
        bit = bit_at(at, bits)
        yield Spell(at, _tight_again(events, at, bit, bits), bit, None, missed=True, what=what)


def _tight_again(events: Sequence[Event], since: float, bit: int, bits: Sequence[tuple[float, int]]) -> float:
    """
    Return when a bit was found tight once somebody had tightened it, s; infinite where it was not.

    Without that it was as it had been, whatever was found: it was taken for normal.
    """
    tightened = False
    for event in events:
        if event.at >= since and event.name in (PRESSED, "checked"):
            is_of_it = bit_of(event, bits) == bit
            tightened |= is_of_it and event.body.get("kind") == "tightened"
            if tightened and is_of_it and event.body.get("verdict") == "tight":
                return event.at
    return math.inf


class Judged(NamedTuple):
    """What is thought of the parts of a run, and why that is otherwise than at its end, in sentences."""

    parts: tuple[PartVerdict, ...]
    remarks: tuple[str, ...]


def judged_since(run: Run, was: WasCut, told: Sequence[PartVerdict] | None, found: Sequence[Spell]) -> Judged:
    """
    Return what is thought of the parts of a run, as they are counted today, by all that is known since.

    Parameters
    ----------
    run, was
        The run, and what was cut in it.
    told
        What was thought of its parts before, as they were counted then; ``None`` where nobody summed that up.
    found
        When bits spoiled what they cut.
    """
    remarks = []
    parts = tuple(unheard(was.parts) if told is None else told)
    if was.program is not None and _lines_of(parts) != _lines_of(unheard(was.parts)):
        parts = tuple(_worst(part, parts) for part in unheard(was.parts))
        remarks.append(_OTHERWISE)
    if is_fine(run) and (suspect := [part.name for part in parts if part.verdict == "suspect"]):
        whole = heard_all(run, was)
        parts = tuple(_settled(part, whole) for part in parts)
        remarks.append(_FINE.format(", ".join(suspect)))
    return Judged(_spoiled(parts, found, was), tuple(remarks))


_OTHERWISE = (
    "Parts are counted otherwise now than when this run was heard: each has the worst of what was thought "
    "then of any that shares lines with it."
)
_FINE = (
    "A person said that nothing was wrong in this run. Without that these would be suspect: {}. "
    "What of them was heard all the way is good."
)


def unheard(parts: Iterable[Part]) -> tuple[PartVerdict, ...]:
    """Return what is thought of parts of which nobody knows anything."""
    return tuple(PartVerdict(part.name, part.first_line, part.last_line, "unheard") for part in parts)


def _lines_of(parts: Iterable[PartVerdict]) -> set[tuple[str, int, int]]:
    return {(part.name, part.first, part.last) for part in parts}


def _worst(part: PartVerdict, told: Iterable[PartVerdict]) -> PartVerdict:
    """Return a part with the worst of what was told of those with which it shares lines."""
    known = {other.verdict for other in told if other.first <= part.last and part.first <= other.last}
    worst: Verdict = next((verdict for verdict in _WORST_FIRST if verdict in known), "unheard")
    return replace(part, verdict=worst)


_WORST_FIRST: tuple[Verdict, ...] = ("suspect", "unheard", "good")


def _settled(part: PartVerdict, whole: frozenset[str]) -> PartVerdict:
    """Return a part of a run in which nothing was wrong; ``whole`` were heard all the way."""
    if part.verdict != "suspect":
        return part
    now: Verdict = "good" if part.name in whole else "unheard"
    return replace(part, verdict=now)


def _spoiled(told: tuple[PartVerdict, ...], found: Sequence[Spell], was: WasCut) -> tuple[PartVerdict, ...]:
    """
    Return verdicts on parts with those suspect that were spoiled.

    Without the program nobody knows what a part was cut with, or when: none is good then. Where places were
    not kept no part is good that comes after.
    """
    if was.program is None:
        return tuple(_suspect(part) if found and part.verdict == "good" else part for part in told)
    cut: set[str] = set()
    perhaps: set[str] = set()
    for spell in found:
        cut |= _cut(spell, _ways(spell, was.places), was.program, was.parts)
        if not was.places:
            ways = [(spell.lines[0] if spell.lines else 0, math.inf)]
            perhaps |= _cut(spell, ways, was.program, was.parts)
    # Where it began is not known: what nobody has heard may have been cut then.
    astray = any(spell.lines is None and _at(spell.since, was.places) is None for spell in found)

    def is_suspect(part: PartVerdict) -> bool:
        doubted = part.name in perhaps if part.verdict == "good" else astray and part.verdict == "unheard"
        return doubted or part.name in cut

    return tuple(_suspect(part) if is_suspect(part) else part for part in told)


def _suspect(part: PartVerdict) -> PartVerdict:
    return replace(part, verdict="suspect")


def _at(moment: float, places: Sequence[Passed]) -> Passed | None:
    return next((place for place in reversed(places) if place.at <= moment), None)


def _cut(
    spell: Spell, ways: Iterable[tuple[float, float]], program: Program, parts: Sequence[Part]
) -> set[str]:
    """Return the names of the parts that the bit cut on its ways from one line of the file to another."""
    lines, bits = program.moves.file_line, program.moves.bit
    found = np.zeros(len(lines), dtype=np.bool_)
    for first, last in ways:
        found |= (lines >= first) & (lines <= last)
    if spell.bit:
        found &= bits == spell.bit
    return {part.name for part in parts if found[part.cut_by].any()}


def _ways(spell: Spell, places: Sequence[Passed]) -> Iterator[tuple[float, float]]:
    """Give lines of the file, from one to another, that were passed over meanwhile."""
    if spell.lines is not None:
        yield spell.lines
    begun = _at(spell.since, places)
    passed = [place for place in places if spell.since < place.at <= spell.until]
    for place in (begun, *passed[:1]) if spell.missed else ():
        # A person says about when it was so.
        if place is not None:
            yield place.first, place.last
    way = [*([begun] if begun else []), *passed]
    yield from ((place.line, place.line) for place in way)
    # Whoever goes back begins anew there.
    yield from ((one.line, other.line) for one, other in pairwise(way) if one.line <= other.line)
