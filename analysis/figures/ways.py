"""The bit's ways seen from above, as matplotlib paths."""

import numpy as np
from matplotlib.path import Path
from numpy.typing import NDArray

from analysis.program import Moves
from analysis.program.paths import flattened


def way(moves: Moves, indices: NDArray[np.intp]) -> Path:
    """
    Return the way of some moves; it is broken where one does not begin where the last ended.

    Arcs are followed to within 0.002 mm. A move straight down is a point.

    Parameters
    ----------
    moves
        All moves.
    indices
        Which are wanted, in the order of execution, shape (k,).
    """
    if not len(indices):
        return Path(np.empty((0, 2)))
    pieces = [_piece(moves, int(index)) for index in indices]
    jumps = np.abs(moves.start[indices[1:], :2] - moves.end[indices[:-1], :2]).max(axis=1) > 1e-6
    codes = [np.full(len(piece), Path.LINETO, dtype=np.uint8) for piece in pieces]
    for code, jump in zip(codes, [True, *jumps.tolist()], strict=True):
        code[0] = Path.MOVETO if jump else Path.LINETO
    return Path(np.concatenate(pieces), np.concatenate(codes))


def straight_down(moves: Moves, indices: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Return which of some moves go neither along X nor along Y, shape of ``indices``."""
    across = np.abs(moves.end[indices, :2] - moves.start[indices, :2]).max(axis=1, initial=0.0)
    return np.asarray((across < 1e-6) & (moves.sweep[indices] == 0))


def midpoint(moves: Moves, index: int) -> tuple[float, float]:
    """Return the point in the middle of a move's way, mm."""
    points = _piece(moves, index)
    if len(points) % 2:
        x, y = points[len(points) // 2]
    else:
        x, y = points[len(points) // 2 - 1 : len(points) // 2 + 1].mean(axis=0)
    return float(x), float(y)


def _piece(moves: Moves, index: int) -> NDArray[np.float64]:
    if moves.sweep[index] == 0:
        return np.stack([moves.start[index, :2], moves.end[index, :2]])
    return flattened(moves, index)[:, :2]
