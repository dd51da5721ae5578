"""
What one hole of a drilling cycle does (NISTIR 6556, section 3.5.16; G73 is common practice).

A cycle works along the normal of its plane. Levels are coordinates on that axis, in mm.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from analysis.program.moves import Kind

BACKED_OFF = 0.254
"""mm (0.010 in); G83 stops its traverse that far above the bottom so far, and G73 backs off as far."""

PECKED = frozenset({730, 830})
"""Cycles that go down in steps of Q."""

DWELLS = frozenset({820, 860, 880, 890})
"""Cycles that wait P seconds at the bottom."""


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
        Q of G73 and G83, mm.
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
    if hole.code in PECKED:
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
    """
    Yield the pecks.

    G83 goes down by Q, out to R, and down again to just above the bottom so far; G73 only backs off.
    """
    reached = hole.clear - hole.step
    while reached > hole.bottom + 1e-9:
        yield Step(Kind.PECK, reached)
        if hole.code == 830:
            yield Step(Kind.RAPID, hole.clear)
        yield Step(Kind.RAPID, min(reached + BACKED_OFF, hole.clear))
        reached -= hole.step
    yield Step(Kind.PECK, hole.bottom)
