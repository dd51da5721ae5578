"""Where the work's top is, and which moves cut."""

from collections.abc import Mapping
from dataclasses import fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Kind, Moves, lowest
from analysis.program.passes import (
    LEAD_IN,
    above_zero,
    cuts_deep,
    level_below,
    lie_above_zero,
    may_be_air,
)
from analysis.program.traverses import SAME_LEVEL, Ways

SPOILBOARD = 2.0
"""mm; hardly anybody cuts deeper than this into the board below the work."""

OVERCUT = 4.0
"""mm; so deep into the spoilboard go the points of drills, and who wants to be sure."""

FROM_HIGH = 8.0
"""mm; who cuts little below a zero on the sheet comes nearer than this before the bit is fed."""

LINK = 2.0
"""mm; above a pass that lies above Z 0 a traverse nearer than this is a link within the work."""

SAME_PLACE = 0.01
"""mm; ends nearer than this are one."""

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
        From which Z on, mm, the bit is surely above it, whatever Z 0 is: as high as the program traverses, or
        at its highest where it does not say at which height.
    doubt
        Why `top` may be wrong, in words; empty where it is told or estimated.
    """

    top: float
    clear: float
    doubt: str = ""


def levels(moves: Moves, top: float | None = None) -> dict[int, Level]:
    """
    Return how high the work is in each coordinate system that moves name: each has a zero of its own.

    `top` is Z of its top in all of them, mm, where somebody said so.
    """
    systems = np.unique(moves.system).tolist()
    if len(systems) < 2:
        return {system: _level(moves, top) for system in systems}
    return {system: _level(_of_rows(moves, moves.system == system), top) for system in systems}


def clears_of(moves: Moves, known: Mapping[int, Level]) -> NDArray[np.float64]:
    """Return from which Z on, mm, the bit is surely above the work in each move, shape (n,)."""
    return _each(moves, {system: level.clear for system, level in known.items()})


def tops_of(moves: Moves, known: Mapping[int, Level]) -> NDArray[np.float64]:
    """Return the top of the work for each move, mm, shape (n,), given the level in each system."""
    return _each(moves, {system: level.top for system, level in known.items()})


def _each(moves: Moves, heights: Mapping[int, float]) -> NDArray[np.float64]:
    """Return the height, mm, of its own system for each move, shape (n,)."""
    systems, which = np.unique(moves.system, return_inverse=True)
    return np.asarray(np.array([heights[system] for system in systems.tolist()], dtype=np.float64)[which])


def taken_as_air(moves: Moves, known: Mapping[int, Level]) -> NDArray[np.intp]:
    """Return the moves that feed across above the top as if in the work, where it may be higher."""
    found = []
    for system, level in known.items():
        if level.doubt:
            rows = moves.system == system
            ways = Ways(_of_rows(moves, rows))
            found.append(np.flatnonzero(rows)[_in_doubt(ways, _limit(ways))])
    return np.concatenate(found) if found else np.zeros(0, dtype=np.intp)


def _level(moves: Moves, said: float | None) -> Level:
    ways = Ways(moves)
    if said is not None:
        return Level(said, _clear(ways, said, sure=True))
    limit = _limit(ways)
    top = _top(ways, limit)
    sure = top == 0 and not zero_may_be_below(moves)
    return Level(top, _clear(ways, top, sure=sure), _doubt(ways, top, limit))


def _doubt(ways: Ways, top: float, limit: float) -> str:
    """Return why the top may lie elsewhere than it is taken to, in words."""
    if top != 0:
        air = "it cuts across deep below Z0" if cuts_deep(ways) else may_be_air(ways, limit)
        return f"Z0 is taken to lie below the sheet's top, but {air}" if top > 0 and air else ""
    taken = "Z0 is taken for the sheet's top, but"
    perhaps = _in_doubt(ways, limit)
    if perhaps.any():
        at = float(ways.low[perhaps].max())
        return f"{taken} it feeds across at Z{max(at, 0.0):.3f} mm, which would be in the air"
    cuts = cutting(ways.moves, 0.0)
    # Drills go through by their points, so that they tell little where something else is cut.
    told = cuts & ways.across if (cuts & ways.across).any() else cuts
    low = lowest(ways.moves)
    deepest = float(low[told].min(initial=0.0))
    if deepest == 0 or deepest < -OVERCUT or (deepest < -SPOILBOARD and limit < FROM_HIGH):
        return ""
    fed = "fed across" if low[cuts].min() < deepest - SAME_LEVEL else "fed"
    return f"{taken} nothing is {fed} deeper than Z{deepest:.3f} mm"


def _in_doubt(ways: Ways, limit: float) -> NDArray[np.bool_]:
    """
    Return what is fed across at Z 0 or above as if in the work: no lead-in, nor surely above it.

    Where others cut deep below Z 0 that is so only of a bit that cuts nothing there.
    """
    stays = (ways.deepest >= -SAME_LEVEL) | (ways.low > LEAD_IN)
    under = (ways.low >= -SAME_LEVEL) & (ways.low < limit - SAME_LEVEL)
    found = ways.passes & ways.across & stays & under
    if cuts_deep(ways):
        found &= ~np.isin(ways.moves.bit, np.unique(ways.moves.bit[cutting(ways.moves, 0.0)]))
    return np.asarray(found)


def _clear(ways: Ways, top: float, *, sure: bool) -> float:
    """
    Return from which Z on, mm, the bit is surely above the work.

    Where the top is `sure`, also that counts to which it comes down at traverse over what is not cut yet.
    """
    moves, height = ways.moves, clear_height(ways, top)
    if sure:
        came = moves.end[ways.surely_down, 2]
        height = min(height, float(came[came > max(_highest(ways), top)].min(initial=np.inf)))
    named = np.maximum(moves.start, moves.end)[moves.z_known, 2].max(initial=top)
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
    ways = Ways(moves)
    return np.flatnonzero(ways.over & (ways.low < tops - SAME_LEVEL))


def zero_may_be_below(moves: Moves) -> bool:
    """Whether the bit is fed so little below Z 0 that the zero may lie on the spoilboard."""
    return bool(lowest(moves)[cutting(moves, 0.0)].min(initial=0.0) >= -SPOILBOARD)


def clear_height(ways: Ways, least: float = -np.inf) -> float:
    """
    Return the lowest Z, mm, at which the program itself traverses across clear of the work; else infinity.

    Traverses at a height that is not known are left out, and so are those that are not above ``least`` and
    all levels that the bit comes down to at feed, and feeds across: these are links within what has been
    cut. Where it feeds across above Z 0, links may lie higher than what they link. Then only those count that
    lead to where nothing has been cut yet, or that are a step of depth above; else the highest.
    """
    highest = max(_highest(ways), least)
    heights = ways.low[ways.over & (ways.low > highest + SAME_LEVEL)]
    if highest <= SAME_LEVEL:
        return float(heights.min(initial=np.inf))
    surely = ways.low[ways.surely_over & (ways.low > highest + SAME_LEVEL)]
    below = level_below(ways, highest)
    if not np.isnan(below):
        step = max(highest - below, LINK)
        surely = np.append(surely, heights[heights >= highest + step - SAME_LEVEL])
    return float(surely.min() if len(surely) else heights.max(initial=-np.inf)) if len(heights) else np.inf


def _highest(ways: Ways) -> float:
    """Return the highest level, mm, below a traverse that the bit comes down to and feeds across."""
    limit = float(ways.low[ways.over].max(initial=-np.inf))
    cut = ways.feeds & ways.fed_down & ways.across & (ways.low <= SAME_LEVEL) & (ways.low < limit)
    return float(ways.low[cut | above_zero(ways, limit)].max(initial=-np.inf))


def _top(ways: Ways, limit: float) -> float:
    """
    Return the Z of the work's top, mm; `limit` is the lowest at which the bit is surely above it.

    Z 0, where the program traverses above Z 0 (or not at all) and nothing tells that the work reaches above
    it (`analysis.program.passes`). How deep the deepest hole goes tells nothing: a drill goes through by its
    point. But nobody cuts across deep in a spoilboard: where that is done Z 0 is on top, unless most of what
    is cut lies above it. That is the usual zero on top of the work.

    Else the zero lies somewhere else, mostly on the spoilboard, and the top is estimated between the
    highest level at which the bit feeds across and the lowest at which it surely is above the work, for the
    first pass cuts and a traverse does not. Between the two, one step of depth above the highest level is
    taken (passes are mostly of one depth), or half way where there is only one level. It is never below the
    highest level that is cut across, so that the first pass counts as cutting.
    """
    heights = ways.moves.end[ways.over, 2]
    if (not len(heights) or heights.max() > 0) and not lie_above_zero(ways, limit):
        return 0.0
    feeds = ways.feeds & ways.across & np.isin(ways.moves.kind, (Kind.CUT, Kind.RAMP))
    cut = ways.low[(feeds | (ways.moves.kind == Kind.PECK)) & (ways.low < limit - SAME_LEVEL)]
    if not len(cut):
        return 0.0 if np.isinf(limit) else limit
    return _estimate(cut, level_below(ways, float(cut.max())), limit)


def _limit(ways: Ways) -> float:
    """Return the lowest Z, mm, at which the bit is surely above the work; else infinity."""
    heights = np.append(ways.moves.end[ways.surely_over | ways.surely_down, 2], clear_height(ways))
    return float(heights[heights > _highest(ways) + SAME_LEVEL].min(initial=np.inf))


def _estimate(cut: NDArray[np.float64], below: float, limit: float) -> float:
    """
    Return a top between the levels that are cut and where the bit is surely above them.

    `below` is the level at which the highest is gone over again; NaN where it is not.
    """
    highest = float(cut.max())
    lower = cut[cut < highest - SAME_LEVEL] if np.isnan(below) else np.array([below])
    room = limit - highest
    step = highest - float(lower.max()) if len(lower) else room / 2
    if np.isinf(step):
        return highest + SAME_LEVEL
    # A top at which the bit stands clear is none: nothing could be carried on with from there.
    return highest + (step if step < room - SAME_LEVEL else room / 2)
