"""
What one hole of a drilling cycle does (NISTIR 6556, section 3.5.16).

A cycle works along the normal of its plane. Levels are coordinates on that axis, in mm.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from analysis.program.moves import Kind

BACKED_OFF = 0.254
"""mm; how far above the bottom reached so far G83 stops its traverse (0.010 in)."""

DWELLS = frozenset({820, 860, 880, 890})
"""Cycles that wait P seconds at the bottom."""

MEANING = {
    810: "drill",
    820: "drill with a wait",
    830: "drill in steps",
    840: "tap",
    850: "bore, feed out",
    860: "bore, stop, traverse out",
    880: "bore, stop, out by hand",
    890: "bore with a wait, feed out",
}


class Step(NamedTuple):
    """One motion along the normal axis, or a stop there: `kind`, the level it ends at, seconds to wait."""

    kind: Kind
    level: float
    seconds: float = 0.0


@dataclass(frozen=True)
class Hole:
    """
    One hole.

    Attributes
    ----------
    code
        Ten times the G number.
    clear
        R, the level down to which the bit traverses.
    bottom
        Z, the level of the hole's bottom.
    out
        The level at which the bit leaves: R with G99, the initial level with G98 if that is higher.
    step
        Q of G83, mm.
    pause
        P, s.
    """

    code: int
    clear: float
    bottom: float
    out: float
    step: float = 0.0
    pause: float = 0.0


def steps(hole: Hole) -> Iterator[Step]:
    """Yield what happens once the bit stands at the R level above the hole."""
    if hole.code == 830:
        yield from _in_steps(hole)
    else:
        yield Step(Kind.PECK, hole.bottom)
    if hole.code in DWELLS and hole.pause > 0:
        yield Step(Kind.DWELL, hole.bottom, hole.pause)
    if hole.code == 880:
        yield Step(Kind.PAUSE, hole.bottom)
    if hole.code in (840, 850, 890):
        yield Step(Kind.CUT, hole.clear)
    yield Step(Kind.RAPID, hole.out)


def _in_steps(hole: Hole) -> Iterator[Step]:
    """Yield the pecks of G83: down by Q, out to R, down again to just above the bottom so far."""
    reached = hole.clear - hole.step
    while reached > hole.bottom + 1e-9:
        yield Step(Kind.PECK, reached)
        yield Step(Kind.RAPID, hole.clear)
        yield Step(Kind.RAPID, min(reached + BACKED_OFF, hole.clear))
        reached -= hole.step
    yield Step(Kind.PECK, hole.bottom)
