"""Depth, width, removal rate and chip load of every move."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.errors import ShelfError
from analysis.program.engagement.pieces import pieces_of
from analysis.program.engagement.sheet import cell_for, cut
from analysis.program.engagement.summary import summary
from analysis.program.moves import Kind, Moves
from analysis.program.program import Program
from analysis.program.work import cutting

CELLS_PER_DIAMETER = 20
MOST_CELLS = 40_000_000
"""The map may grow to 160 MB where all of it is cut."""

FLATNESS = 0.1
"""cells; how far a straight piece may lie off its arc."""


@dataclass(frozen=True, eq=False)
class Engagement:
    """
    How each of n moves cuts.

    Attributes
    ----------
    depth
        (n,) mm, thickness of what is removed, mean over the move where it cuts; 0 in air.
    width
        (n,) radial width as share of the diameter, 0 to 1 (1 is a full slot), mean over where it cuts.
    steady
        (n,) whether depth and width stay about the same along the move.
    rate
        (n,) cm³/min removed where it cuts, at the move's feed.
    chip
        (n,) mm per tooth, NaN where nothing turns or nothing is fed.
    volume
        (n,) mm³ removed.
    cell
        Side, mm, of the cells that the sheet was divided into: what is smaller cannot be told.
    """

    depth: NDArray[np.float64]
    width: NDArray[np.float64]
    steady: NDArray[np.bool_]
    rate: NDArray[np.float64]
    chip: NDArray[np.float64]
    volume: NDArray[np.float64]
    cell: float


def engagement(program: Program, bits: Mapping[int, Bit], *, cell: float | None = None) -> Engagement:
    """
    Return how deep and how wide each move of a program cuts.

    Parameters
    ----------
    program
        With n moves.
    bits
        Per T number; entry 0 stands for those not listed.
    cell
        Side, mm, of the cells to divide the sheet into; else a twentieth of the smallest diameter in use,
        or more for large sheets (`MOST_CELLS`).

    Returns
    -------
    Engagement

    Raises
    ------
    ShelfError
        If a bit that cuts is not known, or has no diameter.
    """
    moves = program.moves
    cuts = cutting(moves, program.top)
    chosen = np.flatnonzero(cuts | _clears(moves, program.top))
    n = len(moves)
    chip = _chip_loads(moves, bits)
    depth, width, rate, volume = (np.zeros(n) for _ in range(4))
    steady = np.ones(n, dtype=np.bool_)
    if len(chosen):
        diameter = _diameters(moves.bit[chosen], bits)
        coarse = pieces_of(moves, chosen, diameter, float(diameter.min()))
        cell = cell or cell_for(coarse, float(diameter.min()), CELLS_PER_DIAMETER, MOST_CELLS)
        pieces = pieces_of(moves, chosen, diameter, FLATNESS * cell)
        taken = cut(pieces, program.top, cell)
        does = summary(pieces, taken, moves.length[chosen])
        depth[chosen], width[chosen], steady[chosen] = does.depth, does.width, does.steady
        rate[chosen], volume[chosen] = does.per_length * moves.feed[chosen] / 1000.0, does.volume
    for values in (depth, width, rate, volume):
        values[~cuts] = 0.0
    steady[~cuts] = True
    return Engagement(
        depth=depth, width=width, steady=steady, rate=rate, chip=chip, volume=volume, cell=cell or 0.0
    )


def _clears(moves: Moves, top: float) -> NDArray[np.bool_]:
    """
    Return which traverses go below the top: where they do, the program takes the way to be free.

    Those before the first that says a Z are left out: their height is not known.
    """
    low = np.minimum(moves.start[:, 2], moves.end[:, 2]) < top - 1e-6
    said = np.cumsum(moves.end[:, 2] != moves.start[:, 2])
    known = np.concatenate([[0], said])[: len(moves)] > 0
    return np.asarray((moves.kind == Kind.RAPID) & low & known)


def _diameters(numbers: NDArray[np.int32], bits: Mapping[int, Bit]) -> NDArray[np.float64]:
    known = {}
    for number in np.unique(numbers).tolist():
        bit = bits.get(number, bits.get(0))
        if bit is None:
            raise ShelfError(f"the program cuts with T{number}, whose diameter is not known; state it")
        if not (math.isfinite(bit.diameter) and bit.diameter > 0):
            raise ShelfError(f"bit {bit.name} has the diameter {bit.diameter} mm; state one above 0")
        known[number] = bit.diameter
    return np.array([known[number] for number in numbers.tolist()])


def _chip_loads(moves: Moves, bits: Mapping[int, Bit]) -> NDArray[np.float64]:
    """Return feed per tooth; a program that never states a speed runs at its bits' own."""
    flutes, speed = np.full(len(moves), np.nan), moves.speed.copy()
    for number in np.unique(moves.bit).tolist():
        bit = bits.get(number, bits.get(0))
        if bit is not None:
            flutes[moves.bit == number] = bit.flutes
            if not moves.speed.any():
                speed[moves.bit == number] = bit.speed or 0.0
    teeth = speed * flutes
    return moves.feed / np.where(teeth > 0, teeth, np.nan)
