"""
From what each step took away to what each move does.

Along a way across, depth and width are those of what the rim takes. A rim that is immersed over a width w
newly sweeps w x way, so width is that area over diameter x way: 1 in a full slot, the step-over of a
straight side pass. On a circle of radius r it is s (r + R - s/2) / r for a step-over s and a bit of radius
R: more than s, as is the angle over which its edges are in the material.

A plunge cuts with the whole end: its area is that under the bit, its depth what it takes off.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.program.engagement.pieces import Pieces
from analysis.program.engagement.sheet import Taken
from analysis.program.moves import STEEP, TINY

SURELY_CUT = 1 / 60
"""Of the diameter; what a step and its neighbours cut together has to be wider, else it is a few cells that
the cells' own error left standing."""

SHORT = 0.125
"""Of the diameter; a step shorter than that, standing alone, is measured with its neighbours."""

STEADY_WIDTH = 0.2
"""Of the diameter; how much the width of a steady cut may vary from step to step."""

STEADY_DEPTH = 0.15
"""How much the depth of a steady cut may vary, as share of it; at least `STEADY_LEVEL`."""

STEADY_LEVEL = 0.1
"""mm; how much it may vary however shallow the cut is."""

END_STEPS = 2
"""So many steps (half a diameter) at either end of a long move do not count against its being steady: the
round end of what was cut before lies there."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Steps:
    """
    What each of s steps does.

    Attributes
    ----------
    cuts
        Whether it takes anything off.
    plunge
        Whether it goes down rather than across.
    area, volume
        mm², mm³ that depth and width are told by; 0 in air.
    swept
        mm² that a full cut would have taken.
    removed
        mm³ in all.
    length
        mm of the way in the material.
    down
        mm that it goes down.
    """

    cuts: NDArray[np.bool_]
    plunge: NDArray[np.bool_]
    area: Floats
    volume: Floats
    swept: Floats
    removed: Floats
    length: Floats
    down: Floats

    @property
    def depth(self) -> Floats:
        """Return mm per step, 0 in air."""
        return _ratio(self.volume, self.area)

    @property
    def width(self) -> Floats:
        """Return the share of the diameter per step, 0 in air."""
        return _ratio(self.area, self.swept).clip(0.0, 1.0)


@dataclass(frozen=True, eq=False)
class Cuts:
    """What each of k moves does: see `analysis.program.engagement.Engagement`; rate in mm³ per mm."""

    depth: Floats
    width: Floats
    steady: NDArray[np.bool_]
    per_length: Floats
    volume: Floats


def summary(pieces: Pieces, taken: Taken, length: Floats) -> Cuts:
    """
    Return what each move does.

    Parameters
    ----------
    pieces
        Of k moves.
    taken
        By their steps.
    length
        (k,) mm, of the moves, by which those that were measured together share what was taken.
    """
    steps = _steps(pieces, taken)
    area, swept = (_totals(pieces, np.where(steps.cuts, each, 0.0)) for each in (steps.area, steps.swept))
    removed, way = (
        _totals(pieces, np.where(steps.cuts, each, 0.0)) for each in (steps.removed, steps.length)
    )
    together = np.bincount(pieces.first, length, len(pieces.way)).astype(np.float64)[pieces.first]
    return Cuts(
        depth=_ratio(_totals(pieces, steps.volume), area),
        width=_ratio(area, swept).clip(0.0, 1.0),
        steady=_steady(pieces, steps),
        per_length=_ratio(removed, way),
        volume=_totals(pieces, taken.volume) * np.where(together > 0, _ratio(length, together), 1.0),
    )


def _steps(pieces: Pieces, taken: Taken) -> Steps:
    plunge = pieces.down >= STEEP * np.maximum(pieces.way, TINY)
    short = ~plunge & (pieces.way < SHORT * pieces.width)

    def gathered(values: Floats) -> Floats:
        return np.where(short, values + _beside(pieces, np.where(plunge, 0.0, values)), values)

    swept = pieces.width * pieces.way + np.where(plunge, np.pi / 4 * pieces.width**2, 0.0)
    area = np.where(plunge, taken.area, taken.front_area)
    volume = np.where(plunge, taken.volume, taken.front_volume)
    area, volume, swept = gathered(area), gathered(volume), gathered(swept)
    around, full = area + _beside(pieces, area), swept + _beside(pieces, swept)
    cuts = (area > 0) & (around > SURELY_CUT * full)
    area, volume = np.where(cuts, area, 0.0), np.where(cuts, volume, 0.0)
    # A plunge from above is in the material for that part of its way that is as long as the cut is deep.
    within = np.where(plunge & cuts, _ratio(_ratio(volume, area), pieces.down).clip(0.0, 1.0), 1.0)
    return Steps(
        cuts=cuts,
        plunge=plunge,
        area=area,
        volume=volume,
        swept=swept,
        removed=gathered(taken.volume),
        length=gathered(pieces.length * within),
        down=pieces.down,
    )


def _beside(pieces: Pieces, values: Floats) -> Floats:
    """Return the sum of the values of the steps before and after, where the bit goes on between them."""
    sums = np.zeros_like(values)
    sums[1:] += np.where(pieces.linked[1:], values[:-1], 0.0)
    sums[:-1] += np.where(pieces.linked[1:], values[1:], 0.0)
    return sums


def _steady(pieces: Pieces, steps: Steps) -> NDArray[np.bool_]:
    """Return whether all steps of a move, but for those at the ends of a long one, do about the same."""
    spared = np.where(pieces.count > 4 * END_STEPS, END_STEPS, 0)
    first, count = pieces.first + spared, pieces.count - 2 * spared
    of = np.repeat(first, count) + np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    begins = np.cumsum(count) - count

    def most(values: Floats) -> Floats:
        return np.asarray(np.maximum.reduceat(values[of], begins))

    def spread(values: Floats) -> Floats:
        return most(values) + most(-values)

    from_air = steps.plunge & steps.cuts & (steps.depth < (1 - STEADY_DEPTH) * steps.down)
    return np.asarray(
        (spread(steps.cuts.astype(np.float64)) == 0)
        & (spread(steps.width) <= STEADY_WIDTH)
        & (spread(steps.depth) <= np.maximum(STEADY_LEVEL, STEADY_DEPTH * most(steps.depth)))
        & (most(from_air.astype(np.float64)) == 0)
    )


def _totals(pieces: Pieces, values: Floats) -> Floats:
    """Return, per move, the sum over its steps."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(sums[pieces.first + pieces.count] - sums[pieces.first])


def _ratio(above: Floats, below: Floats) -> Floats:
    """Return the ratio, 0 where there is nothing below."""
    return np.divide(above, below, out=np.zeros_like(above), where=below > TINY)
