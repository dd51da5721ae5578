"""
A sheet of material, as a map of how much has been taken off its top, and a flat-ended bit that cuts it.

The bit's end sweeps, along a straight piece, an area with round ends. A cell of the map at `along` (the
way, counted from the piece's start) and `aside` (off the way) is reached when the rim first comes over
it, at ``along - half``, and left at ``along + half``, with ``half = sqrt(radius² - aside²)``: no small
steps are needed, and which step of the measuring a cell belongs to follows from when it is first reached.
Cells reached after the start are taken by the rim (the *front*); those under the bit at the start can
only be cut by its end, on the way down.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.program.engagement.pieces import Pieces

THINNEST = 1e-4
"""mm; what is thinner stays until more has to go: the map is in single precision."""

TURN = math.atan(1 / (5 + 2 / (1 + math.sqrt(5))))
"""rad; the map is turned against the axes by an angle whose tangent no fraction comes near. Ways along an
axis would else lie on or between the same two rows of cells from end to end, and a narrow side pass would
be too wide or too narrow by up to a cell; so the errors of neighbouring cells cancel."""


@dataclass(frozen=True, eq=False)
class Taken:
    """
    What was taken off per step.

    Attributes
    ----------
    front_area, front_volume
        (s,) mm², mm³ taken by the rim.
    area, volume
        (s,) mm², mm³ taken in all.
    """

    front_area: NDArray[np.float64]
    front_volume: NDArray[np.float64]
    area: NDArray[np.float64]
    volume: NDArray[np.float64]


class Stroke(NamedTuple):
    """
    One straight piece in the axes of the map; lengths across are in cells, heights in mm below the top.

    `left` to `upper` bound the part of the map that it may reach.
    """

    left: int
    right: int
    lower: int
    upper: int
    x: float
    y: float
    cos: float
    sin: float
    far: float
    radius: float
    begin: float
    finish: float
    step: int
    steps: int


def cell_for(pieces: Pieces, diameter: float, cells: int, most: int) -> float:
    """
    Return the side of a cell, mm.

    Parameters
    ----------
    pieces
        What is cut.
    diameter
        mm, of the smallest bit.
    cells
        How many to a diameter.
    most
        How many cells the map may have: large sheets get coarser ones.
    """
    low, high = _bounds(pieces)
    return max(diameter / cells, math.sqrt(float(np.prod(high - low)) / most))


def cut(pieces: Pieces, top: float, cell: float) -> Taken:
    """
    Cut all pieces, in order, out of an unbounded sheet.

    Parameters
    ----------
    pieces
        m pieces, with s steps.
    top
        Z of the sheet's top, mm.
    cell
        Side of a cell, mm.
    """
    low, high = _bounds(pieces)
    columns, rows = np.ceil((high - low) / cell).astype(int) + 2
    # Zeros that nobody has written to take no memory: only what is cut does.
    removed = np.zeros((rows, columns), dtype=np.float32)
    sums = np.zeros((4, len(pieces.way)))
    for stroke in _strokes(pieces, low - cell, top, cell):
        _cut_one(removed, sums, stroke)
    sums *= cell * cell
    return Taken(front_area=sums[0], front_volume=sums[1], area=sums[2], volume=sums[3])


def _cut_one(removed: NDArray[np.float32], sums: NDArray[np.float64], stroke: Stroke) -> None:
    """Cut one piece, and add cells and mm x cells to the sums of its steps."""
    strip = removed[stroke.lower : stroke.upper, stroke.left : stroke.right]
    x = np.arange(stroke.left, stroke.right) - stroke.x
    y = (np.arange(stroke.lower, stroke.upper) - stroke.y)[:, None]
    half = stroke.radius**2 - np.square(y * stroke.cos - x * stroke.sin)
    deepest = max(stroke.begin, stroke.finish)
    near = np.flatnonzero((half > 0) & (strip < deepest - THINNEST))
    if not len(near):
        return
    half = np.sqrt(half.ravel()[near])
    along = (y * stroke.sin + x * stroke.cos).ravel()[near]
    first = along - half
    row, column = np.divmod(near, stroke.right - stroke.left)
    gain = _depths(stroke, along, half) - strip[row, column].astype(np.float64)
    cuts = (first < stroke.far) & (along + half > 0) & (gain > THINNEST)
    gain, first = gain[cuts], first[cuts]
    strip[row[cuts], column[cuts]] += gain
    _count(sums[:, stroke.step : stroke.step + stroke.steps], gain, first, stroke)


def _depths(stroke: Stroke, along: NDArray[np.float64], half: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how deep the bit gets over each cell: it is deepest there when it comes, or when it goes."""
    if stroke.begin == stroke.finish or not stroke.far:
        return np.full_like(along, max(stroke.begin, stroke.finish))
    moment = along + half if stroke.finish > stroke.begin else along - half
    slope = (stroke.finish - stroke.begin) / stroke.far
    return np.asarray(stroke.begin + slope * moment.clip(0.0, stroke.far))


def _count(
    sums: NDArray[np.float64], gain: NDArray[np.float64], first: NDArray[np.float64], stroke: Stroke
) -> None:
    """Add what was gained, mm, in cells first reached at `first`, to the sums of the steps."""
    front = first > 0
    if stroke.steps == 1:
        sums[0] += np.count_nonzero(front)
        sums[1] += gain[front].sum(dtype=np.float64)
        sums[2] += len(gain)
        sums[3] += gain.sum(dtype=np.float64)
        return
    of = (first.clip(0.0) * (stroke.steps / stroke.far)).astype(np.intp).clip(0, stroke.steps - 1)
    for row, weights in enumerate((front, gain * front, None, gain)):
        sums[row] += np.bincount(of, weights, stroke.steps)


def _strokes(pieces: Pieces, low: NDArray[np.float64], top: float, cell: float) -> Iterator[Stroke]:
    """Yield the pieces in the axes of a map whose corner is `low`, mm."""
    start, end = ((_turned(points) - low) / cell - 0.5 for points in (pieces.start, pieces.end))
    radius = pieces.radius / cell
    way = end - start
    far = np.hypot(way[:, 0], way[:, 1])
    heading = np.where(far[:, None] > 0, way, [1.0, 0.0]) / np.where(far > 0, far, 1.0)[:, None]
    first = np.floor(np.minimum(start, end) - radius[:, None]).astype(np.intp)
    last = np.ceil(np.maximum(start, end) + radius[:, None]).astype(np.intp) + 1
    columns = (
        *(first[:, 0], last[:, 0], first[:, 1], last[:, 1]),
        *(start[:, 0], start[:, 1], heading[:, 0], heading[:, 1]),
        *(far, radius, top - pieces.start[:, 2], top - pieces.end[:, 2]),
        *(pieces.step, pieces.steps),
    )
    return map(Stroke._make, zip(*(column.tolist() for column in columns), strict=True))


def _turned(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return X and Y, (m, 2) mm, in the axes of the map."""
    cos, sin = math.cos(TURN), math.sin(TURN)
    return np.asarray(points[:, :2] @ np.array([[cos, sin], [-sin, cos]]))


def _bounds(pieces: Pieces) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the corners, (2,) mm, of what the bit reaches, in the axes of the map."""
    start, end = _turned(pieces.start), _turned(pieces.end)
    reach = pieces.radius[:, None]
    return (np.minimum(start, end) - reach).min(axis=0), (np.maximum(start, end) + reach).max(axis=0)
