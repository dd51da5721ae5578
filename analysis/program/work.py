"""Where the work's top is, and which moves cut."""

from collections.abc import Mapping
from dataclasses import fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Kind, Moves, lowest

SAME_LEVEL = 1e-3
"""mm; levels closer than this are one."""

SPOILBOARD = 2.0
"""mm; nobody cuts deeper than this into the board below the work."""

LINK = 2.0
"""mm; where zero lies below the work, a traverse nearer than this above what is cut is a link within it."""

SAME_PLACE = 0.01
"""mm; ends nearer than this are one."""

AGAIN = 0.25
"""From this share on, what is fed above Z 0 and again below it is a pass above another, not the air."""

FEEDS = (Kind.PLUNGE, Kind.CUT, Kind.RAMP, Kind.PECK)
"""Kinds of moves at feed."""


class Level(NamedTuple):
    """
    How high the work is in one coordinate system.

    Attributes
    ----------
    top
        Z of its top, mm.
    clear
        From which Z on, mm, the bit is surely above it, where Z 0 may not be its top: as high as the program
        traverses, or at its highest where it does not say at which height. Else -infinity.
    """

    top: float
    clear: float


def levels(moves: Moves) -> dict[int, Level]:
    """Return how high the work is in each coordinate system that moves name: each has a zero of its own."""
    systems = np.unique(moves.system).tolist()
    if len(systems) < 2:
        return {system: _level(moves) for system in systems}
    return {system: _level(_of_rows(moves, moves.system == system)) for system in systems}


def tops_of(moves: Moves, known: Mapping[int, Level]) -> NDArray[np.float64]:
    """Return the top of the work for each move, mm, shape (n,), given the level in each system."""
    systems, which = np.unique(moves.system, return_inverse=True)
    tops: NDArray[np.float64] = np.array([known[system].top for system in systems.tolist()])[which]
    return tops


def _level(moves: Moves) -> Level:
    top = top_of_work(moves)
    return Level(top, _clear(moves, top))


def _clear(moves: Moves, top: float) -> float:
    if top == 0 and not zero_may_be_below(moves):
        return -np.inf
    height = clear_height(moves)
    named = np.maximum(moves.start, moves.end)[moves.z_known, 2].max(initial=-np.inf)
    return float(height if np.isfinite(height) else named) - 1e-6


def _of_rows(moves: Moves, rows: NDArray[np.bool_]) -> Moves:
    return Moves(**{field.name: getattr(moves, field.name)[rows] for field in fields(Moves)})


def cutting(moves: Moves, top: float | NDArray[np.float64]) -> NDArray[np.bool_]:
    """
    Return which moves cut: those that feed to below the top of the work.

    Parameters
    ----------
    moves
        n moves.
    top
        Z of the work's top, mm, or of each move's, shape (n,).

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    return np.isin(moves.kind, FEEDS) & (lowest(moves) < top - 1e-6)


def traverses_in_work(moves: Moves, tops: NDArray[np.float64]) -> NDArray[np.intp]:
    """
    Return which moves traverse across below the top of the work.

    Parameters
    ----------
    moves
        n moves.
    tops
        Z of the work's top for each, mm, shape (n,).
    """
    return np.flatnonzero(_traverses(moves) & (_low(moves) < tops - SAME_LEVEL))


def zero_may_be_below(moves: Moves) -> bool:
    """Whether the bit is fed so little below Z 0 that the zero may lie on the spoilboard."""
    return bool(lowest(moves)[cutting(moves, 0.0)].min(initial=0.0) >= -SPOILBOARD)


def clear_height(moves: Moves) -> float:
    """
    Return the lowest Z, mm, at which the program itself traverses across clear of the work; else infinity.

    Traverses at a height that is not known are left out, and so are those that are not above all levels that
    the bit comes down to at feed, and feeds across: these are links within what has been cut. So may be those
    less than one step of depth above, where zero lies below the work, unless there are no others.
    """
    low = _low(moves)
    heights = low[_traverses(moves)]
    cut = low[_comes_down(moves) & (low < heights.max(initial=-np.inf))]
    if len(cut):
        highest = cut.max()
        lower = cut[cut < highest - SAME_LEVEL]
        step = max(highest - lower.max() if len(lower) else 0.0, LINK) if highest > 0 else 0.0
        heights = heights[heights > highest + SAME_LEVEL]
        above = heights >= highest + step - SAME_LEVEL
        heights = heights[above] if above.any() else heights
    return float(heights.min(initial=np.inf))


def _comes_down(moves: Moves) -> NDArray[np.bool_]:
    """Return which moves feed across at a height that the bit has come down to at feed."""
    fed = np.isfinite(moves.feed)
    step = moves.end[:, 2] - moves.start[:, 2]
    last = np.maximum.accumulate(np.where(step != 0, np.arange(len(moves)), -1))
    came_down = (last >= 0) & fed[last] & (step[last] < 0)
    return fed & moves.z_known & _across(moves) & came_down


def top_of_work(moves: Moves) -> float:
    """
    Return the Z of the work's top, mm.

    Z 0, where more of the way fed lies at or below Z 0 than above it (feeds at the height of traverses left
    out, for they are in the air) and little of what lies above is gone over again below, as the passes over a
    sheet are; or where the bit goes deeper below Z 0 than anyone cuts into a spoilboard; and the program
    traverses above Z 0 (or not at all). That is the usual zero on top of the work.

    Else the zero lies somewhere else, mostly on the spoilboard, and the top is estimated between the
    highest level at which the bit feeds across and the lowest at which it traverses across, for the first
    pass cuts and a traverse does not. Between the two, one step of depth above the highest level is taken
    (passes are mostly of one depth), or half way where there is only one level.

    Parameters
    ----------
    moves
        n moves.

    Returns
    -------
    float
        Never below the highest level that is cut across, so that the first pass counts as cutting.
    """
    feeds = np.isin(moves.kind, (Kind.CUT, Kind.RAMP)) & _across(moves)
    holes = np.isin(moves.kind, (Kind.PLUNGE, Kind.PECK))
    level = _low(moves)
    clear = clear_height(moves)
    heights = moves.end[_traverses(moves), 2]
    below = moves.length[(feeds & (level <= 0)) | (holes & (level < 0))].sum()
    above = moves.length[(feeds & (level > 0) | (holes & (level >= 0))) & (level < clear)].sum()
    deepest = float(lowest(moves)[cutting(moves, 0.0)].min(initial=0.0))
    on_top = deepest < -SPOILBOARD or (below >= above and not _again_below(moves, feeds, level, clear))
    if on_top and (not len(heights) or heights.max() > 0):
        return 0.0
    return _estimate(level[feeds | (moves.kind == Kind.PECK)], clear)


def _again_below(moves: Moves, feeds: NDArray[np.bool_], level: NDArray[np.float64], clear: float) -> bool:
    """Whether a good share of the way fed above Z 0 is gone over again at Z 0 or below."""
    upper, lower = feeds & (level > 0) & (level < clear), feeds & (level <= 0)
    if not upper.any() or not lower.any():
        return False
    ends = [np.rint(np.stack([p[:, 0], p[:, 1]], axis=1) / SAME_PLACE) for p in (moves.start, moves.end)]
    ways = np.hstack([np.minimum(*ends), np.maximum(*ends)])
    _, way = np.unique(ways[upper | lower], axis=0, return_inverse=True)
    number = np.full(len(moves), -1)
    number[upper | lower] = way.ravel()
    again = upper & np.isin(number, number[lower])
    return bool(moves.length[again].sum() >= AGAIN * moves.length[upper].sum())


def _estimate(levels: NDArray[np.float64], clear: float) -> float:
    """Return a top between the levels that are cut and the height that is traversed."""
    cut = np.unique(levels)
    cut = cut[cut < clear - SAME_LEVEL]
    if not len(cut):
        return 0.0 if np.isinf(clear) else clear
    highest = float(cut[-1])
    lower = cut[cut < highest - SAME_LEVEL]
    room = clear - highest
    step = highest - float(lower[-1]) if len(lower) else room / 2
    if np.isinf(step):
        return highest + SAME_LEVEL
    return highest + min(step, room / 2 if room < step else step)


def _across(moves: Moves) -> NDArray[np.bool_]:
    """Return which moves go across, straight or in an arc."""
    way = np.hypot(moves.end[:, 0] - moves.start[:, 0], moves.end[:, 1] - moves.start[:, 1])
    return np.asarray((way > 1e-6) | (moves.sweep != 0))


def _traverses(moves: Moves) -> NDArray[np.bool_]:
    """Return which moves traverse across at a height that is known."""
    return np.asarray((moves.kind == Kind.RAPID) & _across(moves) & moves.z_known)


def _low(moves: Moves) -> NDArray[np.float64]:
    """Return the lower end of each move, mm."""
    return np.asarray(np.minimum(moves.start[:, 2], moves.end[:, 2]))
