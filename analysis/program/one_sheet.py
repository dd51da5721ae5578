"""
Several coordinate systems seen on one sheet.

The same places cut in G54 and in G55 are two pieces of work, and only the zeros tell how far they lie apart.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Kind, Moves
from analysis.program.program import Program

GAP = 50.0
"""mm; how far beside all others a system is laid whose zero the program does not tell."""


def on_one_sheet(program: Program) -> Program:
    """
    Lay all coordinate systems of a program on one sheet.

    X and Y are told from the zero of the first system. Where the program tells the zeros (G10) the others
    lie as they do on the machine, else beside, to the right, so that nothing lies on anything else. Z is told
    so that the top of the work is the program's `top` in all of them.

    Parameters
    ----------
    program
        As read.

    Returns
    -------
    Program
        The same with other moves; the program itself where it keeps to one system. Lengths are kept.
    """
    moves = program.moves
    systems = list(dict.fromkeys(moves.system.tolist()))
    if len(systems) < 2:
        return program
    shift = np.zeros((len(moves), 3))
    shift[:, 2] = program.top - program.tops
    right = -np.inf
    for system in systems:
        rows = moves.system == system
        beside = _left_and_right(moves, rows)
        by = _told(program, systems[0], system)
        if by is None:
            by = (right + GAP - beside[0] if np.isfinite(right) else 0.0, 0.0)
        shift[rows, :2] = by
        right = max(right, beside[1] + by[0])
    return replace(program, moves=_shifted(moves, shift), levels={})


def _told(program: Program, first: int, system: int) -> tuple[float, float] | None:
    """Return how far the zero of a system lies from that of the first, where the program tells."""
    if system == first:
        return 0.0, 0.0
    nowhere = (None, None, None)
    here, there = program.zeros.get(first, nowhere), program.zeros.get(system, nowhere)
    if here[0] is None or here[1] is None or there[0] is None or there[1] is None:
        return None
    return there[0] - here[0], there[1] - here[1]


def _left_and_right(moves: Moves, rows: NDArray[np.bool_]) -> tuple[float, float]:
    """Return between which X the moves of one system lie."""
    radius = np.where(
        moves.sweep != 0, np.linalg.norm(np.nan_to_num(moves.start - moves.centre), axis=1), 0.0
    )
    middle = np.where(moves.sweep != 0, np.nan_to_num(moves.centre[:, 0]), moves.end[:, 0])
    left = np.minimum(moves.end[:, 0], middle - radius)[rows]
    right = np.maximum(moves.end[:, 0], middle + radius)[rows]
    return float(left.min()), float(right.max())


def _shifted(moves: Moves, shift: NDArray[np.float64]) -> Moves:
    """Return the moves laid elsewhere; a traverse that comes over from another system begins there."""
    start, end, centre = moves.start + shift, moves.end + shift, moves.centre + shift
    comes_over = 1 + np.flatnonzero((np.diff(moves.system) != 0) & (moves.kind[1:] == Kind.RAPID))
    start[comes_over, :2] = end[comes_over - 1, :2]
    return replace(moves, start=start, end=end, centre=centre)
