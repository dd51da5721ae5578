"""
What the bit meets: a map of the sheet's height that each move cuts into.

From the map come depth, angles of engagement and so slots and side cuts, climb and conventional, tabs, air
between passes, and what a bit that has pulled out still finds to cut in a second pass. Nothing of it is
written into the program by hand.
"""

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CELL = 0.4  # mm
STRIDE = 0.8  # mm along the path from one look to the next
DOWNWARDS = 4.0  # up and down the looks are closer by this
RIM = 36  # looks along the half circle ahead of the bit
LEAST = 0.05  # mm; less depth than this is a rounding of the map


@dataclass(frozen=True, eq=False)
class Engagement:
    """
    What the bit meets at each of n moments.

    Attributes
    ----------
    depth
        (n,) mm, mean over the engaged part of the rim; 0 in air.
    entry, leave
        (n,) rad, where a tooth enters and leaves the material (see ``force``).
    bottom
        (n,) share of the bit's end face that meets material.
    """

    depth: Floats
    entry: Floats
    leave: Floats
    bottom: Floats

    @property
    def cutting(self) -> NDArray[np.bool_]:
        """(n,) whether the bit meets material at all."""
        return (self.depth > 0.0) | (self.bottom > 0.0)

    def until(self, moment: int, other: "Engagement") -> "Engagement":
        """Return this engagement up to and with ``moment``, and ``other`` after it."""
        early = np.arange(len(self.depth)) <= moment
        pairs = ((getattr(self, f.name), getattr(other, f.name)) for f in fields(self))
        return Engagement(*(np.where(early, mine, theirs) for mine, theirs in pairs))


@dataclass(frozen=True, eq=False)
class Sheet:
    """
    A map of heights.

    Attributes
    ----------
    height
        (rows, columns) mm; changed in place as the bit cuts.
    corner
        X and Y of the first cell, mm.
    """

    height: Floats
    corner: tuple[float, float]


def blank(points: Floats, margin: float, top: float) -> Sheet:
    """Return an uncut sheet under ``points`` (n, 2) mm and ``margin`` mm around them."""
    low, high = points.min(axis=0) - margin, points.max(axis=0) + margin
    columns, rows = (math.ceil(extent / CELL) + 1 for extent in high - low)
    return Sheet(np.full((rows, columns), top), (float(low[0]), float(low[1])))


def engage(position: Floats, heading: Floats, radius: Floats, top: float) -> Engagement:
    """
    Cut along a path and return what the bit met.

    Parameters
    ----------
    position
        (n, 3) mm, the middle of the bit's end.
    heading
        (n,) rad, the direction of motion in the sheet's plane.
    radius
        (n,) mm of the bit; 0 where there is none.
    top
        mm, Z of the uncut sheet.

    Returns
    -------
    Engagement
        Between two looks depth and angles are interpolated; the bit's end meets what the next look finds.
    """
    low = (position[:, 2] < top) & (radius > 0.0)
    met = np.zeros((len(position), 4))
    if low.any():
        sheet = blank(position[low, :2], float(radius.max()) + 2.0, top)
        for first, last in _runs(low):
            looks = _looks(position[first:last]) + first
            seen = _cut(sheet, position[looks], heading[looks], brush(float(radius[first])))
            ticks = np.arange(first, last)
            for column in range(3):
                met[first:last, column] = np.interp(ticks, looks, seen[:, column])
            met[first:last, 3] = seen[np.searchsorted(looks, ticks), 3]
    met[met[:, 0] < LEAST, 0] = 0.0
    return Engagement(met[:, 0], met[:, 1], met[:, 2], met[:, 3])


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return first and one-past-last index of each stretch where ``mask`` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def _looks(position: Floats) -> NDArray[np.intp]:
    """Return where the path has gone on by another stride; the first and last points are among them."""
    parts = np.diff(position, axis=0) * (1.0, 1.0, DOWNWARDS)
    gone = np.concatenate([[0.0], np.cumsum(np.linalg.norm(parts, axis=1))])
    wanted = np.arange(0.0, gone[-1] + STRIDE, STRIDE)
    return np.unique(np.append(np.searchsorted(gone, wanted).clip(0, len(gone) - 1), len(gone) - 1))


@dataclass(frozen=True, eq=False)
class Brush:
    """
    The outline of a bit, as the map sees it.

    Attributes
    ----------
    disc
        (k, k) which cells around the middle it covers.
    ahead, aside
        (RIM,) mm forward and to the left, places just ahead of the rim from its left to its right.
    """

    disc: NDArray[np.bool_]
    ahead: Floats
    aside: Floats


def brush(radius: float) -> Brush:
    """Return the outline of a bit of ``radius`` mm; the looks ahead stay within the width that it clears."""
    cells = math.ceil(radius / CELL)
    offset = np.arange(-cells, cells + 1) * CELL
    disc = offset[None, :] ** 2 + offset[:, None] ** 2 <= radius**2
    angle = (np.arange(RIM) + 0.5) * math.pi / RIM
    aside = max(radius - 0.75 * CELL, 0.5 * radius) * np.cos(angle)
    return Brush(disc, np.sqrt(radius**2 - aside**2) + 0.6 * CELL, aside)


def _cut(sheet: Sheet, points: Floats, heading: Floats, bit: Brush) -> Floats:
    """
    Cut from point to point, in place.

    Returns
    -------
    (n, 4) depth, entry and leave of what was ahead at each point, and the share of the bit's end that met
    material, before it was cut there.
    """
    rim, corner = _rim(sheet, points, heading, bit), _corner(sheet, points, bit)
    flat, size, whole = sheet.height.reshape(-1), len(bit.disc), np.count_nonzero(bit.disc)
    ahead = np.empty(rim.shape)
    under = np.empty(len(points))
    for i, (row, column) in enumerate(corner.tolist()):
        flat.take(rim[i], out=ahead[i], mode="clip")
        patch = sheet.height[row : row + size, column : column + size]
        cut = bit.disc & (patch > points[i, 2])
        np.copyto(patch, points[i, 2], where=cut)
        under[i] = np.count_nonzero(cut) / whole
    return np.column_stack([_engaged(ahead - points[:, 2:]), under])


def _rim(sheet: Sheet, points: Floats, heading: Floats, bit: Brush) -> NDArray[np.intp]:
    """Return (n, RIM) the cells of the flattened map that lie ahead, from the left round to the right."""
    cos, sin = np.cos(heading)[:, None], np.sin(heading)[:, None]
    column = (points[:, :1] - sheet.corner[0] + cos * bit.ahead - sin * bit.aside) / CELL + 0.5
    row = (points[:, 1:2] - sheet.corner[1] + sin * bit.ahead + cos * bit.aside) / CELL + 0.5
    return np.asarray(row.astype(np.intp) * sheet.height.shape[1] + column.astype(np.intp))


def _corner(sheet: Sheet, points: Floats, bit: Brush) -> NDArray[np.intp]:
    """Return (n, 2) row and column of the first cell that the bit may cover."""
    across = np.rint((points[:, :2] - sheet.corner) / CELL).astype(np.intp) - len(bit.disc) // 2
    return np.asarray(across[:, ::-1])


def _engaged(above: Floats) -> Floats:
    """Return (n, 3) depth, entry and leave from (n, RIM) how far the material ahead stands above the bit."""
    hit = above > LEAST
    found = np.tile([0.0, 0.0, math.pi], (len(above), 1))
    some = np.flatnonzero(hit.any(axis=1))
    step = math.pi / RIM
    found[some, 0] = [above[i, hit[i]].sum() for i in some] / hit[some].sum(axis=1)
    found[some, 1] = hit[some].argmax(axis=1) * step
    found[some, 2] = (RIM - hit[some, ::-1].argmax(axis=1)) * step
    return found
