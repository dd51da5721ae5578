"""
Passes above Z 0: what a program feeds there in the work, where its zero lies below the top.

Over a zero on top of the sheet the bit comes down at feed to a height above it only to lead in to what it
cuts below, in the same go. Over a zero on the spoilboard it cuts pockets that end above Z 0, and goes over
its ways once more, lower.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Kind, lowest
from analysis.program.paths import sampled
from analysis.program.traverses import SAME_LEVEL, Ways, around, squares

LEAD_IN = 2.0
"""mm above Z 0; what is fed lower may be a way in, above a sheet whose top is Z 0."""

JUST_ABOVE = 1.0
"""mm above Z 0; what is fed across lower, and no deeper in the same go, may be in the air for all that."""

RAMP_IN = 3.0
"""mm above Z 0; ramps and helices begin lower, above a sheet whose top is Z 0."""

THROUGH = 2.0
"""mm; a hole that is hardly deeper than this is not drilled in pecks."""

LEAST = 1.0
"""mm; a shorter way across is no pass."""

AGAIN = 0.25
"""From this share on, what is fed above Z 0 and again below it is a pass above another, not the air."""

ENOUGH = 0.1
"""So many times what is fed below Z 0 must be gone over again where it may be a way in."""

INTO_BOARD = 3.0
"""mm; nobody cuts across so deep into a spoilboard: below a zero that lies on it only drills go so deep."""

OF_THE_BOARD = 0.5
"""mm; who cuts through into the spoilboard goes round at one height below Z 0, and not at others above it."""

BESIDE = 0.5
"""mm; ways not much farther apart are one."""

_MOST_LEVELS = 50


def above_zero(ways: Ways, limit: float) -> NDArray[np.bool_]:
    """Return which passes lie above Z 0, and below where the bit is surely above the work, mm."""
    return np.asarray(ways.passes & (ways.low > SAME_LEVEL) & (ways.low < limit - SAME_LEVEL))


def lie_above_zero(ways: Ways, limit: float) -> bool:
    """
    Whether the bit is fed in the work above Z 0, so that this lies below the work's top.

    Parameters
    ----------
    ways
        How the moves go.
    limit
        mm; from here on the bit is surely above the work.
    """
    under = ways.low < limit - SAME_LEVEL
    if cuts_deep(ways):
        return _faces(ways, under) or _mostly_above(ways, under)
    return (
        _ends_above(ways, under)
        or _faces(ways, under)
        or _mostly_above(ways, under)
        or _gone_over_again(ways, under)
        or _winds_down(ways, under)
    )


def cuts_deep(ways: Ways) -> bool:
    """Whether it cuts across so far below Z 0 that this is no spoilboard: what is fed above it is air."""
    return _length(ways, ways.feeds & ways.across & (ways.low <= SAME_LEVEL - INTO_BOARD)) >= LEAST


def may_be_air(ways: Ways, limit: float) -> str:
    """
    Return why the work may not reach above Z 0 though something is fed there, in words; else nothing.

    Whoever cuts through to a spoilboard does so in one round below Z 0, hardly below it, and what tells that
    the work reaches higher is no trifle beside that.
    """
    across = ways.feeds & ways.across
    below = ways.low[across & (ways.low < -SAME_LEVEL)]
    if not len(below):
        return ""
    if below.min() < -OF_THE_BOARD and below.max() - below.min() > OF_THE_BOARD:
        return f"it cuts across at several heights below Z0, down to Z{below.min():.3f} mm"
    above = across & (ways.low > SAME_LEVEL) & (ways.low < limit - SAME_LEVEL)
    above |= _holes(ways) & (ways.low >= -SAME_LEVEL)
    if _length(ways, above) < AGAIN * _length(ways, across & (ways.low <= SAME_LEVEL)):
        return "little is fed above Z0 beside what is fed below it"
    return ""


def level_below(ways: Ways, level: float) -> float:
    """Return the highest level, mm, at which a good share of the passes at a level is gone over; else NaN."""
    upper = ways.passes & (np.abs(ways.low - level) <= SAME_LEVEL)
    lower = ways.passes & (ways.low < level - SAME_LEVEL)
    for below in np.unique(ways.low[lower])[::-1][:_MOST_LEVELS]:
        again = _over(ways, upper, lower & (ways.low >= below - SAME_LEVEL))
        if _length(ways, again) >= AGAIN * _length(ways, upper):
            return float(below)
    return np.nan


def _ends_above(ways: Ways, under: NDArray[np.bool_]) -> bool:
    """Whether the bit goes in at feed and comes out again, all of it above Z 0."""
    inside = ways.feeds & ways.fed_down & under & (ways.low > SAME_LEVEL)
    stays = inside & (ways.deepest >= -SAME_LEVEL)
    far = ways.across & (ways.passes & (ways.low > JUST_ABOVE + SAME_LEVEL) | (ways.deepest > LEAD_IN))
    if _length(ways, stays & far) >= LEAST or (stays & _holes(ways)).any():
        return True
    pecked = ways.feeds & under & (ways.moves.kind == Kind.PECK) & (ways.low > LEAD_IN)
    return bool((pecked & (ways.deepest >= -THROUGH)).any())


def _holes(ways: Ways) -> NDArray[np.bool_]:
    """Return which moves drill: those of a cycle, and those straight down that are followed by a lift."""
    lifts = (ways.moves.kind == Kind.RETRACT) & ~ways.fed
    plunges = (ways.moves.kind == Kind.PLUNGE) & np.append(lifts[1:], False)
    return np.asarray((ways.moves.kind == Kind.PECK) | plunges)


def _faces(ways: Ways, under: NDArray[np.bool_]) -> bool:
    """Whether a bit that is never fed lower cuts across at Z 0."""
    deeper = np.unique(ways.moves.bit[ways.feeds & (lowest(ways.moves) < -SAME_LEVEL)])
    at_zero = ways.passes & ways.fed_down & under & (np.abs(ways.low) <= SAME_LEVEL)
    return _length(ways, at_zero & ~np.isin(ways.moves.bit, deeper)) >= LEAST


def _mostly_above(ways: Ways, under: NDArray[np.bool_]) -> bool:
    """Whether more of the way fed lies above Z 0, in the work perhaps, than at or below it."""
    feeds = ways.feeds & ways.across & np.isin(ways.moves.kind, (Kind.CUT, Kind.RAMP))
    holes = np.isin(ways.moves.kind, (Kind.PLUNGE, Kind.PECK))
    below = (feeds & (ways.low <= SAME_LEVEL)) | (holes & (ways.low < 0))
    above = (feeds & ways.came_down & (ways.low > SAME_LEVEL)) | (holes & (ways.deepest >= 0))
    return _length(ways, above & under) > _length(ways, below)


def _gone_over_again(ways: Ways, under: NDArray[np.bool_]) -> bool:
    """Whether a good share of the passes above Z 0 is gone over again, lower."""
    upper = ways.passes & (ways.low > SAME_LEVEL) & under
    again = _over(ways, upper, ways.feeds & ways.across)
    if _length(ways, again) < max(LEAST, AGAIN * _length(ways, upper)):
        return False
    below = _length(ways, ways.passes & (ways.low <= SAME_LEVEL))
    return bool(ways.low[again].max() > LEAD_IN) or _length(ways, again) >= ENOUGH * below


def _winds_down(ways: Ways, under: NDArray[np.bool_]) -> bool:
    """Whether much goes down while it goes across, higher than ramps begin, and is gone over again, lower."""
    winds = ways.feeds & (ways.moves.kind == Kind.RAMP) & (ways.low > RAMP_IN) & under
    below = _length(ways, ways.feeds & ways.across & (ways.low <= SAME_LEVEL))
    again = _over(ways, winds, ways.feeds & ways.across)
    return _length(ways, again) >= max(LEAST, AGAIN * below)


def _length(ways: Ways, rows: NDArray[np.bool_]) -> float:
    return float(ways.moves.length[rows].sum())


def _over(ways: Ways, upper: NDArray[np.bool_], lower: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return those of the upper moves most of whose way a lower one goes along, whatever their ends."""
    found = np.zeros(len(ways.moves), dtype=np.bool_)
    if not upper.any() or not lower.any():
        return found
    places, of = sampled(ways.moves, np.flatnonzero(upper), BESIDE)
    beneath, below = sampled(ways.moves, np.flatnonzero(lower), BESIDE)
    cells, which = np.unique(squares(beneath, BESIDE), return_inverse=True)
    floor = np.full(len(cells), np.inf)
    np.minimum.at(floor, which.ravel(), ways.low[below])
    again = np.zeros(len(of), dtype=np.bool_)
    for here in around(squares(places, BESIDE)):
        at = np.searchsorted(cells, here).clip(max=len(cells) - 1)
        again |= (cells[at] == here) & (floor[at] < ways.low[of] - SAME_LEVEL)
    gone, all_of_it = (np.bincount(of, weights=each, minlength=len(found)) for each in (again, None))
    return np.asarray(gone > 0.5 * all_of_it)
