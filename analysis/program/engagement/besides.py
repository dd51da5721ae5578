"""
What would be cut besides, were another sheet put in where the program stops.

After M0 or M1 another sheet may lie there, or the other face be up: what is reckoned as air would be wood
then, and nobody would have listened to it. Doubtful is what a bit goes again over its own work, above where
that was cut to. At the bottom, or with another bit or speed, it is a pass for the finish.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.program.areas import SAME_DEPTH
from analysis.program.engagement.measure import Engagement, engagement
from analysis.program.moves import Kind, Moves
from analysis.program.program import Program
from analysis.program.work import cutting


def besides(
    program: Program, bits: Mapping[int, Bit], met: Engagement, *, least: float
) -> NDArray[np.float64]:
    """
    Return what each move would remove besides, mm³, were another sheet put in at the stop before it.

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
        0 for what cuts, and for what would be in the air all the same.
    """
    moves = program.moves
    over = _over_its_own_work(program) & (met.depth <= least)
    if over.any():
        over &= engagement(replace(program, moves=_lowered(moves, SAME_DEPTH * over)), bits).depth <= least
    if not over.any():
        return np.zeros(len(moves))
    fresh = engagement(replace(program, sheets=_a_sheet_for_each_stop(program)), bits)
    return np.where(over & (fresh.depth > least), fresh.volume, 0.0)


def _over_its_own_work(program: Program) -> NDArray[np.bool_]:
    """Return which moves feed across in the work with what has cut the same sheet before a stop."""
    moves, stops = program.moves, _stops_before(program.moves)
    cuts = cutting(moves, program.tops)
    # A bit that is put in by hand has no other number, but mostly another speed.
    same = np.stack([_sheets(program), moves.bit, np.rint(moves.speed).astype(np.intp)], axis=1)
    which = np.unique(same, axis=0, return_inverse=True)[1].ravel()
    first = np.full(int(which.max()) + 1, len(moves))
    np.minimum.at(first, which[cuts], stops[cuts])
    return np.asarray(cuts & np.isin(moves.kind, (Kind.CUT, Kind.RAMP)) & (stops > first[which]))


def _stops_before(moves: Moves) -> NDArray[np.intp]:
    return np.cumsum(moves.kind == Kind.PAUSE)


def _sheets(program: Program) -> NDArray[np.intp]:
    return program.sheets if len(program.sheets) else np.zeros(len(program.moves), dtype=np.intp)


def _a_sheet_for_each_stop(program: Program) -> NDArray[np.intp]:
    pairs = np.stack([_sheets(program), _stops_before(program.moves)], axis=1)
    return np.unique(pairs, axis=0, return_inverse=True)[1].ravel()


def _lowered(moves: Moves, by: NDArray[np.float64]) -> Moves:
    """Return the moves laid lower, by so many mm each."""
    down = np.zeros((len(moves), 3))
    down[:, 2] = by
    return replace(moves, start=moves.start - down, end=moves.end - down, centre=moves.centre - down)
