"""The way of the bit's centre seen from above, as polylines."""

import math
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.program.moves import AXES_OF_PLANE, Moves

FLATNESS = 0.002
"""mm; how far a polyline may lie off its arc."""


MOST_PLACES = 10_000
"""Of one move, however far it goes."""


def flattened(moves: Moves, index: int) -> NDArray[np.float64]:
    """
    Return the points, shape (m, 3), mm, of one move: two for a straight one, more for an arc.

    The first is its start and the last its end, exactly.
    """
    start, end, sweep = moves.start[index], moves.end[index], float(moves.sweep[index])
    if sweep == 0:
        return np.array([start, end])
    first, second, normal = AXES_OF_PLANE[int(moves.plane[index])]
    centre = moves.centre[index]
    arms = [(p[first] - centre[first], p[second] - centre[second]) for p in (start, end)]
    radii = [math.hypot(*arm) for arm in arms]
    count = _pieces(max(radii), abs(sweep))
    share = np.linspace(0.0, 1.0, count + 1)
    angle = math.atan2(arms[0][1], arms[0][0]) + share * sweep
    radius = radii[0] + share * (radii[1] - radii[0])
    points = np.empty((count + 1, 3))
    points[:, first] = centre[first] + radius * np.cos(angle)
    points[:, second] = centre[second] + radius * np.sin(angle)
    points[:, normal] = start[normal] + share * (end[normal] - start[normal])
    points[0], points[-1] = start, end
    return points


def polyline(moves: Moves, indices: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return the points, shape (m, 2), mm, of consecutive moves seen from above, without repetitions."""
    pieces = [flattened(moves, int(i))[:, :2] for i in indices]
    points = np.concatenate([pieces[0][:1], *(piece[1:] for piece in pieces)])
    apart = np.abs(np.diff(points, axis=0)).max(axis=1) > 1e-9
    kept: NDArray[np.float64] = points[np.concatenate([[True], apart])]
    return kept


def undirected(pieces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return straight pieces, X, Y to X, Y, shape (m, 4), so that one is the same whichever way it goes."""
    return np.where(goes_back(pieces)[:, np.newaxis], pieces[:, [2, 3, 0, 1]], pieces)


def goes_back(pieces: NDArray[Any]) -> NDArray[np.bool_]:
    """Return which ways, X, Y to X, Y, shape (m, 4), go back: by X, and where that stays the same by Y."""
    x, y, to_x, to_y = pieces.T
    return np.asarray((x > to_x) | ((x == to_x) & (y > to_y)))


def lines(moves: Moves, rows: NDArray[np.intp]) -> NDArray[np.object_]:
    """Return the ways of some moves seen from above, shape (m,), mm: a point where one goes straight down."""
    ends = np.stack([moves.start[rows, :2], moves.end[rows, :2]], axis=1)
    found = np.asarray(shapely.points(ends[:, 1]), dtype=np.object_)
    across = (ends[:, 0] != ends[:, 1]).any(axis=1)
    found[across] = shapely.linestrings(ends[across])
    for i in np.flatnonzero(moves.sweep[rows]).tolist():
        found[i] = shapely.LineString(flattened(moves, int(rows[i]))[:, :2])
    return found


def sampled(
    moves: Moves, rows: NDArray[np.intp], step: float
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """
    Return places along the ways of some moves seen from above.

    Parameters
    ----------
    moves
        Of a program.
    rows
        Indices of the moves.
    step
        mm; no two places of a move lie farther apart, but for one of more than `MOST_PLACES` steps.

    Returns
    -------
    places, of
        (m, 2) mm, the ends of the moves among them, and (m,) the move that each belongs to.
    """
    count = np.ceil(moves.length[rows] / step).clip(1, MOST_PLACES).astype(np.intp)
    of = np.repeat(rows, count)
    share = (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + 1) / np.repeat(count, count)
    places = moves.start[of, :2] + share[:, None] * (moves.end - moves.start)[of, :2]
    bent = np.flatnonzero((moves.sweep[of] != 0) & (moves.plane[of] == 17))
    arm = (moves.start - moves.centre)[of[bent], :2]
    angle = np.arctan2(arm[:, 1], arm[:, 0]) + share[bent] * moves.sweep[of[bent]]
    radius = np.hypot(arm[:, 0], arm[:, 1])
    turned = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    places[bent] = moves.centre[of[bent], :2] + turned
    return places, of


def _pieces(radius: float, sweep: float) -> int:
    """Return into how many chords an arc goes so that none lies more than `FLATNESS` off it."""
    half = math.acos(max(1.0 - FLATNESS / max(radius, FLATNESS), -1.0))
    return max(math.ceil(sweep / (2 * half)), math.ceil(sweep / (math.pi / 4)), 1)
