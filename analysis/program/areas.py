"""The ways of the bit's centre seen from above as lines, and the areas between them."""

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.program.paths import undirected

GRID = 0.001
"""mm; points nearer than this are one."""

NEAR = 0.05
"""mm; lines nearer than this touch."""

SAME_DEPTH = 0.1
"""mm; ways whose depths differ by less are of one depth."""

LEAST_AREA = 0.5
"""mm²; what encloses less is a rounding error."""


def shape_of(points: NDArray[np.float64]) -> shapely.Geometry:
    """Return a way, (m, 2) mm, as a line on the grid, or as a point."""
    if len(points) == 1:
        return shapely.Point(points[0])
    return shapely.set_precision(
        shapely.simplify(shapely.LineString(points), GRID / 2), GRID, mode="pointwise"
    )


def faces_of(lines: list[shapely.Geometry]) -> NDArray[np.object_]:
    """Return the areas between lines."""
    ways = _once(lines)
    if not len(ways):
        return ways
    found: NDArray[np.object_] = shapely.get_parts(
        shapely.polygonize(shapely.get_parts(shapely.unary_union(ways)))
    )
    return found


def _once(lines: list[shapely.Geometry]) -> NDArray[np.object_]:
    """Return the pieces of all lines, each way only once however often it is cut."""
    corners = [np.rint(shapely.get_coordinates(line) / GRID).astype(np.int64) for line in lines]
    pieces = [np.hstack([points[:-1], points[1:]]) for points in corners if len(points) > 1]
    if not pieces:
        return np.empty(0, dtype=np.object_)
    every = undirected(np.concatenate(pieces))
    moved = (every[:, :2] != every[:, 2:]).any(axis=1)
    found: NDArray[np.object_] = shapely.linestrings(np.unique(every[moved], axis=0).reshape(-1, 2, 2) * GRID)
    return found
