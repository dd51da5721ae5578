"""
What goes wrong, from when on, and until when it must be said.

What a fault sounds like is the simulator's hypothesis; here is only which ones are tried, and how bad.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from analysis.events import Cause
from recordings_synthetic import (
    BrokenBit,
    Chatter,
    ChippedFlute,
    DullBit,
    Fault,
    LooseSheet,
    Slip,
    StalledAxis,
    StoppedSpindle,
)

Rng = np.random.Generator
# Until when an alarm counts: so many seconds from the onset, or half of the final change.
Within = float | Literal["half"]
# How kinds are put together where there is little room.
Group = Literal["slips, abrupt", "slips, subtle", "slips, creeping", "slips, other", "other faults"]
# On which lines a fault may begin: any cut, a cut sideways, a move in the air before a cut; or with the job.
Where = Literal["cut", "sideways", "air", "start"]


@dataclass(frozen=True)
class FaultKind:
    """
    A row of the table of faults.

    Attributes
    ----------
    number
        Its own for good: seeds follow from it.
    name
        What a person would call it.
    cause
        What the alarm should call it.
    make
        Draws one that begins on a line of the program.
    within
        Until when an alarm counts.
    group
        What it is counted with.
    share
        How many of the faulty runs are of this kind, against the others.
    where
        On which lines it may begin.
    learned, left
        Seconds of cutting with the same bit before the onset and after it, at the least.
    """

    number: int
    name: str
    cause: Cause
    make: Callable[[int, Rng], Fault]
    group: Group = "other faults"
    within: Within = 10.0
    share: int = 1
    where: Where = "cut"
    learned: float = 10.0
    left: float = 4.0


def _abrupt(line: int, rng: Rng) -> Fault:
    return Slip(line, severity=rng.uniform(0.4, 1.0), rise=rng.uniform(0.05, 0.4))


def _without_rocking(line: int, rng: Rng) -> Fault:
    return Slip(line, severity=rng.uniform(0.4, 1.0), rise=rng.uniform(0.05, 0.4), rocking=0.0)


def _subtle(line: int, rng: Rng) -> Fault:
    return Slip.subtle(at_line=line, severity=rng.uniform(0.25, 0.5))


def _over_a_pass(line: int, rng: Rng) -> Fault:
    return Slip.creeping(rng.uniform(12.0, 35.0), at_line=line, severity=rng.uniform(0.5, 1.0))


def _over_parts(line: int, rng: Rng) -> Fault:
    return Slip.creeping(rng.uniform(60.0, 150.0), at_line=line, severity=rng.uniform(0.7, 1.2))


def _now_and_then(line: int, rng: Rng) -> Fault:
    loose, held = rng.uniform(0.8, 3.0), rng.uniform(2.0, 6.0)
    return Slip.intermittent(loose, held, at_line=line, severity=rng.uniform(0.4, 1.0))


def _never_tight(line: int, rng: Rng) -> Fault:
    del line
    return Slip.from_the_start(severity=rng.uniform(0.4, 1.0))


def _chatter(line: int, rng: Rng) -> Fault:
    return Chatter(line, limit=rng.uniform(0.4, 0.7), size=rng.uniform(1.5, 4.0))


def _chipped(line: int, rng: Rng) -> Fault:
    return ChippedFlute(line, share=rng.uniform(0.4, 0.9))


def _dull(line: int, rng: Rng) -> Fault:
    return DullBit(line, wear=rng.uniform(3.0, 6.0), over=rng.uniform(40.0, 120.0))


def _stopped(line: int, rng: Rng) -> Fault:
    return StoppedSpindle(line, within=rng.uniform(0.4, 1.5))


def _sheet(line: int, rng: Rng) -> Fault:
    return LooseSheet(line, severity=rng.uniform(0.4, 1.0))


_KINDS = (
    FaultKind(51, "slip, abrupt", "loose", _abrupt, "slips, abrupt", share=8),
    FaultKind(52, "slip, subtle", "loose", _subtle, "slips, subtle", share=5, left=10.0),
    FaultKind(
        53, "slip, creeping over a pass", "loose", _over_a_pass, "slips, creeping", "half", share=4, left=15.0
    ),
    FaultKind(
        54, "slip, creeping over parts", "loose", _over_parts, "slips, creeping", "half", share=2, left=30.0
    ),
    FaultKind(55, "slip, intermittent", "loose", _now_and_then, "slips, other", share=2, left=8.0),
    FaultKind(56, "slip, from the first second", "loose", _never_tight, "slips, other", 20.0, where="start"),
    FaultKind(57, "slip, while in the air", "loose", _abrupt, "slips, other", share=2, where="air"),
    FaultKind(58, "chatter", "chatter", _chatter, where="sideways", share=2),
    FaultKind(59, "broken bit", "broken", lambda line, _: BrokenBit(line)),
    FaultKind(60, "chipped flute", "broken", _chipped),
    FaultKind(61, "dull bit", "dull", _dull, within="half", left=25.0),
    FaultKind(62, "stalled axis", "stalled", lambda line, _: StalledAxis(line), where="sideways"),
    FaultKind(63, "stopped spindle", "spindle", _stopped),
    FaultKind(64, "loose sheet", "unknown", _sheet),
    FaultKind(65, "slip, abrupt, that does not rock", "loose", _without_rocking, "slips, other", share=4),
)
FAULTS = {kind.number: kind for kind in _KINDS}
GROUPS: tuple[Group, ...] = get_args(Group)
