"""
A bit that was never tightened, told before it is known what is being cut.

A baseline takes some seconds of one kind of cut, and the first ones may pass before anybody knows which that
is, or that it is a cut: where the shop is loud, say. Meanwhile the last second is compared with the reference
again and again. That can only find the bit loose: the air, and whatever hides a cut, has none of its signs.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from analysis.baseline import Baseline, Sample, Unfit, learn
from analysis.cut import FAMILIES, LOST, MIXED, Context, Moment
from analysis.presence import Phase
from analysis.reference import SURE, Finding, Known, Reference, compare, turns_alike

# Somebody talks, or a radio plays, where foreign tones are this far above noise, dB, or were so many s ago:
# more than a cut ever has of its own. They may fall on the lines that tell, so nothing is told then.
MOST_FOREIGN, TALK_LASTS = 3.0, 0.2

# A spindle's speed is steady within this over so many s.
_STEADY, _STEADY_FOR = 1.03, 0.3

LEAST_ROWS = 20
"""Fewer rows than this tell too little of how much rows scatter."""

# So many s are compared at once, so many times in that time, until a cut was surely heard for so many s, or
# for so many whatever may have been one.
_AT_ONCE, _TIMES, _UNTIL, _AT_MOST = 1.0, 4, 5.0, 120.0

# Each second of cutting is a chance of its own to be wrong; what is no cut has no signs.
SURE_AT_ONCE = SURE + math.log(_UNTIL / _AT_ONCE)


class Clear:
    """
    Tells whether rows are of one steady spindle, over which nobody talks.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._tones: deque[float] = deque(maxlen=max(1, round(TALK_LASTS / seconds)))
        self._speeds: deque[float] = deque(maxlen=max(1, round(_STEADY_FOR / seconds)))

    def row(self, sample: Sample) -> bool:
        """Take in one row; where its speed jumps, it is another sound's."""
        self._tones.append(sample.foreign)
        self._speeds.append(sample.speed)
        return max(self._tones) <= MOST_FOREIGN and max(self._speeds) <= _STEADY * min(self._speeds)


@dataclass(frozen=True)
class Slip:
    """
    A bit that is loose already.

    Attributes
    ----------
    kind, known
        The kind of cut that it was compared with, and what is known of it.
    finding
        What came of that.
    fresh
        What was heard.
    since
        When the bit was first heard cutting, s from the first sample.
    """

    kind: str
    known: Known
    finding: Finding
    fresh: Baseline
    since: float


def is_surely_cut(context: Context) -> bool:
    """Return whether what is heard to cut is surely that kind of cut."""
    # At an unknown place of a program one steady sound is as likely the air before the first cut.
    return context.apart if context.kind == LOST else context.told or context.kind == "cut"


def known_of(reference: Reference | None, kind: str) -> Known | None:
    """Return what is known of a kind of cut; where the kind is not told, of cuts across."""
    if reference is None:
        return None
    kinds = (kind,) if kind in (*FAMILIES, MIXED) else (kind, "cut", LOST, FAMILIES[1])
    return next((reference.kinds[each] for each in kinds if each in reference.kinds), None)


class FirstSeconds:
    """
    Compares the last second with how its bit sounds when it is tight, while there is little else to go by.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    correlation
        Of a row with the one before.
    references
        How bits sound when they are tight, by T number.
    """

    def __init__(self, seconds: float, correlation: float, references: Mapping[int, Reference]) -> None:
        self._seconds, self._correlation = seconds, correlation
        self._references = references
        self._size = max(LEAST_ROWS, round(_AT_ONCE / seconds))
        self._clear = Clear(seconds)
        self._rows: deque[Moment] = deque(maxlen=self._size)
        self._bit, self._new = 0, 0
        self._cut: dict[int, float] = {}
        self._began: dict[int, float] = {}
        self._turned: dict[int, float] = {}

    def row(self, moment: Moment) -> Slip | None:
        """Take in one row, whatever the spindle seems to do; return a slip where it is certain."""
        bit = moment.context.bit
        if bit != self._bit:
            self._bit, self._new = bit, 0
            self._rows.clear()
        if moment.phase is not Phase.OFF:
            self._turned.setdefault(bit, moment.middle)
        known = known_of(self._references.get(bit), LOST)
        clear = self._clear.row(moment.sample)
        if known is None or not clear or moment.phase is Phase.OFF or self._cut.get(bit, 0.0) > _UNTIL:
            return None
        is_cut = moment.phase is Phase.CUT and is_surely_cut(moment.context)
        if is_cut:
            self._began.setdefault(bit, moment.middle)
        self._cut[bit] = self._cut.get(bit, 0.0) + self._seconds * (1.0 if is_cut else _UNTIL / _AT_MOST)
        if not self._is_like(moment, known.baseline.normal):
            return None
        self._rows.append(moment)
        self._new += 1
        if len(self._rows) < self._size or self._new < self._size // _TIMES:
            return None
        self._new = 0
        return self._compare(known)

    def good_until(self, bit: int) -> float:
        """Return when ``bit`` was first heard to turn, s: one that was never tightened was not good after."""
        return self._turned.get(bit, math.inf)

    def over(self, bit: int) -> None:
        """Look no longer whether ``bit`` is loose from the first second on: that was decided."""
        self._cut[bit] = math.inf

    def _is_like(self, moment: Moment, normal: Sample) -> bool:
        """Return whether a row may be of the cut that is known; straight down it sounds otherwise."""
        return turns_alike(moment.sample, normal) and moment.context.kind != FAMILIES[0]

    def _compare(self, known: Known) -> Slip | None:
        fresh = learn([each.sample for each in self._rows])
        if isinstance(fresh, Unfit):
            return None
        found = compare(fresh, known, self._correlation)
        if found.verdict != "loose" or found.nats < SURE_AT_ONCE:
            return None
        kind = "cut" if self._rows[-1].context.kind == "cut" else FAMILIES[1]
        return Slip(kind, known, found, fresh, self._began.get(self._bit, self._rows[0].middle))
