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
        From which Z on, mm, the bit is surely above it, where Z 0 may not be its top; else -infinity.
    """

    top: float
    clear: float


def levels(moves: Moves, top: float) -> dict[int, Level]:
    """
    Return how high the work is in each coordinate system that moves name: each may have a zero of its own.

    Parameters
    ----------
    moves
        n moves.
    top
        Z of the top where there is one system only, mm, as `top_of_work` says.
    """
    systems = np.unique(moves.system).tolist()
    if len(systems) < 2:
        return {system: Level(top, _clear(moves, top)) for system in systems}
    found = {}
    for system in systems:
        there = _of_rows(moves, moves.system == system)
        own = top_of_work(there)
        found[system] = Level(own, _clear(there, own))
    return found


def tops_of(moves: Moves, top: float) -> NDArray[np.float64]:
    """Return the top of the work for each move, mm, shape (n,); the parameters are those of `levels`."""
    known = levels(moves, top)
    systems, which = np.unique(moves.system, return_inverse=True)
    tops: NDArray[np.float64] = np.array([known[system].top for system in systems.tolist()])[which]
    return tops


def level_of(known: Mapping[int, Level], system: int, top: float) -> Level:
    """Return the level in a system; where no move names it yet, the work's ``top``, mm."""
    return known.get(system) or Level(top, -np.inf)


def _clear(moves: Moves, top: float) -> float:
    height = clear_height(moves)
    doubtful = top != 0 or (np.isfinite(height) and zero_may_be_below(moves))
    return height - 1e-6 if doubtful else -np.inf


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


def traverses_in_work(moves: Moves, top: float) -> NDArray[np.intp]:
    """
    Return which moves traverse across below the top of the work.

    Parameters
    ----------
    moves
        n moves.
    top
        As for `levels`.
    """
    below = np.minimum(moves.start[:, 2], moves.end[:, 2]) < tops_of(moves, top) - SAME_LEVEL
    return np.flatnonzero((moves.kind == Kind.RAPID) & _across(moves) & _height_known(moves) & below)


def zero_may_be_below(moves: Moves) -> bool:
    """Whether the bit goes so little below Z 0 that the zero may lie on the spoilboard."""
    return bool(lowest(moves).min(initial=0.0) >= -SPOILBOARD)


def clear_height(moves: Moves) -> float:
    """
    Return the lowest Z, mm, at which the program itself traverses across; infinity if it never does.

    Traverses before the first move that says a Z are left out: their height is not known.
    """
    across = _across(moves) & (moves.kind == Kind.RAPID) & _height_known(moves)
    heights = np.minimum(moves.start[:, 2], moves.end[:, 2])[across]
    return float(heights.min()) if len(heights) else float("inf")


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
    level = np.minimum(moves.start[:, 2], moves.end[:, 2])
    clear = clear_height(moves)
    heights = moves.end[(moves.kind == Kind.RAPID) & _across(moves) & _height_known(moves), 2]
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


def _height_known(moves: Moves) -> NDArray[np.bool_]:
    """Return which moves come after the first that goes up or down."""
    return np.asarray(np.cumsum(moves.end[:, 2] != moves.start[:, 2]) > 0)
