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
from analysis.program.engagement.summary import Cuts, summary
from analysis.program.moves import Kind, Moves
from analysis.program.one_sheet import on_one_sheet
from analysis.program.program import Program
from analysis.program.sheets import sheets_apart
from analysis.program.work import cutting

CELLS_PER_DIAMETER = 24
# How far a straight piece may lie off its arc, in cells.
_OFF_ARC = 0.02


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
    r"""
    Return how deep and how wide each move of a program cuts.

    Parameters
    ----------
    program
        With n moves.
    bits
        Per T number; entry 0 stands for those not listed.
    cell
        Side, mm, of the cells to divide the sheet into; by default a 24th of the smallest diameter in
        use. Very large sheets or jobs get coarser ones (`analysis.program.engagement.sheet.cell_for`).

    Returns
    -------
    Engagement

    Raises
    ------
    ShelfError
        If a bit that cuts is not known, or has no diameter.
    ValueError
        If `cell` is not above 0.

    Notes
    -----
    The bit is taken to have a flat end, and the sheet to have no edges: a way along an edge counts as a
    full slot unless a traverse below the top shows that there is air. What is narrower than about a third
    of a cell is not told from air, and of a lone move shorter than an eighth of the diameter the
    neighbourhood is measured.

    Examples
    --------
    A slot 6 mm wide and 3 mm deep, and its second pass:

    >>> from analysis.program import read
    >>> slot = "G1 Z-3 F600\nG1 X100 F2400\nG1 Z-6 F600\nG1 X0 F2400\n"
    >>> program = read("G21 G90 S18000 M3\nG0 Z5\nG0 X0 Y0\n" + slot)
    >>> cuts = engagement(program, {0: Bit("6 mm", diameter=6.0, flutes=2)})
    >>> cuts.depth[1:].round(1).tolist(), cuts.width[1:].round(1).tolist()
    ([3.0, 3.0, 3.0, 3.0], [1.0, 1.0, 1.0, 1.0])
    """
    if cell is not None and not (math.isfinite(cell) and cell > 0):
        raise ValueError(f"cell={cell} must be a length in mm above 0")
    program = on_one_sheet(sheets_apart(program))
    moves = program.moves
    cuts = cutting(moves, program.top)
    chosen = np.flatnonzero(cuts | _clears(moves, program.top))
    does, cell = _cut(program, chosen, _diameters(moves.bit[chosen], bits), cell)
    real = cuts[chosen]

    def every(values: NDArray[np.float64]) -> NDArray[np.float64]:
        whole = np.zeros(len(moves))
        whole[chosen[real]] = values[real]
        return whole

    return Engagement(
        depth=every(does.depth),
        width=every(does.width),
        steady=every(np.where(does.steady, 0.0, 1.0)) == 0,
        rate=every(does.per_length * moves.feed[chosen] / 1000.0),
        chip=_chip_loads(moves, bits),
        volume=every(does.volume),
        cell=cell,
    )


def _cut(
    program: Program, chosen: NDArray[np.intp], diameter: NDArray[np.float64], cell: float | None
) -> tuple[Cuts, float]:
    """Cut the chosen moves out of the sheet; return what each does, and the side of a cell, mm."""
    moves = program.moves
    if not len(chosen):
        nothing = np.zeros(0)
        return Cuts(nothing, nothing, nothing > 0, nothing, nothing), cell or 0.0
    wanted = cell or float(diameter.min()) / CELLS_PER_DIAMETER
    pieces = pieces_of(moves, chosen, diameter, _OFF_ARC * wanted)
    cell = cell_for(pieces, wanted)
    if cell > wanted:
        pieces = pieces_of(moves, chosen, diameter, _OFF_ARC * cell)
    return summary(pieces, cut(pieces, program.top, cell), moves.length[chosen]), cell


def _clears(moves: Moves, top: float) -> NDArray[np.bool_]:
    """
    Return which traverses go below the top: where they do, the program takes the way to be free.

    Those whose height is not known are left out.
    """
    low = np.minimum(moves.start[:, 2], moves.end[:, 2]) < top - 1e-6
    return np.asarray((moves.kind == Kind.RAPID) & low & moves.z_known)


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
