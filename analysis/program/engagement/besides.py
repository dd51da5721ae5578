"""
What would be cut besides, were another sheet put in where the program stops.

After M0 or M1 another sheet may lie there, or the other face be up: what is reckoned as air would be wood
then, and nobody would have listened to it. Doubtful is what a bit goes again over its own work. With another
bit or speed, or along the same ways at the bottom, it is a pass for the finish.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.program.areas import NEAR, SAME_DEPTH
from analysis.program.engagement.measure import Engagement, engagement
from analysis.program.moves import Kind, Moves, lowest, stops_before
from analysis.program.paths import lines, sampled
from analysis.program.program import Program
from analysis.program.sheets import MOSTLY
from analysis.program.work import cutting

STEP = 1.0
"""mm; how finely a way is looked at."""


def besides(
    program: Program, bits: Mapping[int, Bit], met: Engagement, *, least: float
) -> NDArray[np.float64]:
    """
    Return how much farther each move would cut, mm, were another sheet put in at the stop before it.

    Parameters
    ----------
    program
        With n moves.
    bits
        Per T number, as in `engagement`.
    met
        What each move does as the program is reckoned.
    least
        mm; what cuts no deeper is air.

    Returns
    -------
    ndarray of float, shape (n,)
        Of its way; 0 for what cuts all along, and for what would be in the air all the same.
    """
    moves = program.moves
    over = _over_its_own_work(program)
    if not over.any():
        return np.zeros(len(moves))
    fresh = engagement(replace(program, sheets=_a_sheet_for_each_stop(program)), bits)
    more = np.where(over, _cut_along(moves, fresh, least) - _cut_along(moves, met, least), 0.0).clip(0.0)
    if not more.any():
        return more
    along = _along_what_was_cut(program, np.flatnonzero(more))
    if along.any():
        lower = engagement(replace(program, moves=_lowered(moves, along, SAME_DEPTH)), bits)
        more[along & (lower.depth > least)] = 0.0
    return more


def _cut_along(moves: Moves, met: Engagement, least: float) -> NDArray[np.float64]:
    """Return along how much of its way each move cuts, mm."""
    a_minute = met.rate * 1000.0
    return np.divide(met.volume * moves.feed, a_minute, out=np.zeros(len(moves)), where=met.depth > least)


def _over_its_own_work(program: Program) -> NDArray[np.bool_]:
    """Return which moves feed across in the work with what has cut the same sheet before a stop."""
    moves, stops = program.moves, stops_before(program.moves)
    cuts = cutting(moves, program.tops)
    # A bit that is put in by hand has no other number, but mostly another speed.
    same = np.stack([_sheets(program), moves.bit, np.rint(moves.speed).astype(np.intp)], axis=1)
    which = np.unique(same, axis=0, return_inverse=True)[1].ravel()
    first = np.full(int(which.max()) + 1, len(moves))
    np.minimum.at(first, which[cuts], stops[cuts])
    return np.asarray(cuts & np.isin(moves.kind, (Kind.CUT, Kind.RAMP)) & (stops > first[which]))


def _along_what_was_cut(program: Program, some: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Return which of some moves mostly go along ways that were cut as deep before a stop, shape (n,)."""
    moves, stops, low = program.moves, stops_before(program.moves), lowest(program.moves)
    cuts = np.flatnonzero(cutting(moves, program.tops))
    places, of = sampled(moves, some, STEP)
    place, by = shapely.STRtree(lines(moves, cuts)).query(
        shapely.points(places), predicate="dwithin", distance=NEAR
    )
    one, other = of[place], cuts[by]
    there = (_sheets(program)[one] == _sheets(program)[other]) & (moves.system[one] == moves.system[other])
    fits = there & (stops[other] < stops[one]) & (np.abs(low[other] - low[one]) <= SAME_DEPTH)
    on = of[np.unique(place[fits])]
    count = len(moves)
    return np.asarray(np.bincount(on, minlength=count) > MOSTLY * np.bincount(of, minlength=count))


def _sheets(program: Program) -> NDArray[np.intp]:
    return program.sheets if len(program.sheets) else np.zeros(len(program.moves), dtype=np.intp)


def _a_sheet_for_each_stop(program: Program) -> NDArray[np.intp]:
    pairs = np.stack([_sheets(program), stops_before(program.moves)], axis=1)
    return np.unique(pairs, axis=0, return_inverse=True)[1].ravel()


def _lowered(moves: Moves, some: NDArray[np.bool_], by: float) -> Moves:
    """Return the moves with some of them laid lower by so many mm."""
    down = np.zeros((len(moves), 3))
    down[some, 2] = by
    return replace(moves, start=moves.start - down, end=moves.end - down, centre=moves.centre - down)
