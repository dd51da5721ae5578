"""The bit's ways seen from above, as matplotlib paths."""

import numpy as np
from matplotlib.path import Path
from numpy.typing import NDArray

from analysis.program import Moves
from analysis.program.paths import FLATNESS, flattened, undirected


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
    arcs = {int(at): _piece(moves, int(indices[at])) for at in np.flatnonzero(moves.sweep[indices])}
    count = np.full(len(indices), 2)
    count[list(arcs)] = [len(piece) for piece in arcs.values()]
    first = np.cumsum(count) - count
    points = np.empty((int(count.sum()), 2))
    points[first], points[first + count - 1] = moves.start[indices, :2], moves.end[indices, :2]
    for at, piece in arcs.items():
        points[first[at] : first[at] + len(piece)] = piece
    jumps = np.abs(moves.start[indices[1:], :2] - moves.end[indices[:-1], :2]).max(axis=1) > 1e-6
    codes = np.full(len(points), Path.LINETO, dtype=np.uint8)
    codes[first[np.concatenate([[True], jumps])]] = Path.MOVETO
    return Path(points, codes)


def once(path: Path, grid: float) -> Path:
    """
    Return a way without what it goes a second time, in whatever direction.

    Passes that lie over one another would fill the gaps of one another's dashes.

    Parameters
    ----------
    path
        Of straight pieces, as `way` gives it.
    grid
        mm; ends that are no farther apart are one.
    """
    if path.codes is None:
        return path
    corner = np.rint(np.asarray(path.vertices) / grid).astype(np.int64)
    goes = (np.asarray(path.codes)[1:] == Path.LINETO) & (corner[1:] != corner[:-1]).any(axis=1)
    on = np.flatnonzero(goes)
    ends = undirected(np.hstack([corner[on], corner[on + 1]]))
    kept = on[np.sort(np.unique(ends, axis=0, return_index=True)[1])]
    return _joined(corner[kept], corner[kept + 1], grid)


def _joined(start: NDArray[np.int64], end: NDArray[np.int64], grid: float) -> Path:
    """Return straight pieces as one path, broken where one does not begin where the last ended."""
    fresh = np.concatenate([[True], (start[1:] != end[:-1]).any(axis=1)])[: len(start)]
    at = np.arange(len(start)) + np.cumsum(fresh)
    points = np.empty((len(start) + int(fresh.sum()), 2))
    codes = np.full(len(points), Path.LINETO, dtype=np.uint8)
    points[at], points[at[fresh] - 1] = grid * end, grid * start[fresh]
    codes[at[fresh] - 1] = Path.MOVETO
    return Path(points, codes)


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
    if moves.plane[index] != 17:
        return flattened(moves, index)[:, :2]
    return _arc(moves.start[index, :2], moves.end[index, :2], moves.centre[index, :2], moves.sweep[index])


def _arc(
    start: NDArray[np.float64], end: NDArray[np.float64], centre: NDArray[np.float64], sweep: float
) -> NDArray[np.float64]:
    """
    Return an arc as chords whose ends lie at fixed angles about its centre.

    So arcs that lie over one another have the same chords, wherever each begins.
    """
    (x, y), radius = start - centre, np.hypot(*(start - centre))
    growth = np.hypot(*(end - centre)) - radius
    step = 2 * np.pi / np.ceil(np.pi / np.arccos(max(1 - FLATNESS / max(radius, FLATNESS), 0.0)))
    begin, turn = np.arctan2(y, x), np.sign(sweep)
    first = np.floor(begin * turn / step + 1e-6) + 1
    last = np.ceil((begin + sweep) * turn / step - 1e-6)
    angle = np.arange(first, last) * step * turn
    reach = radius + growth * (angle - begin) / sweep
    inner = centre + reach[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.concatenate([[start], inner, [end]])
