"""Which cells of the map the bit comes over along straight pieces, when, and how deep it is there."""

import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.program.engagement.pieces import Pieces

BY_ROW = (1 + math.sqrt(5)) / 2
BY_COLUMN = math.sqrt(2)
"""
A cell is taken where its point is: so far to the right in its row and so far up in its column.

Were it the middle, a way along an axis or a diagonal would lie on or between the same two rows of cells from
end to end, and what it cuts be too wide or too narrow by most of a cell. The squares of whole numbers by an
irrational one are scattered evenly (Weyl), so along any way the errors of neighbouring cells cancel.
"""

GRAIN = 6
"""cells; windows are rounded up to multiples of it, so that many pieces share one shape."""

Floats = NDArray[np.float32]
Integers = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Strokes:
    """
    m straight pieces in the axes of the map. Lengths across are in cells, heights in mm below the top.

    Single precision does, for places are counted from the corner of each piece's own window.

    Attributes
    ----------
    left, lower, columns, rows
        (m,) the window of the map that holds all cells that a piece may reach.
    x, y, cos, sin, far
        (m,) start, counted from the window's corner; heading; way across.
    radius, begin, finish
        (m,) of the bit; depth at the start and at the end.
    least
        (m,) cells first reached at or before this need no look: 0 where the piece goes on, without going
        down, from where the piece before ended, for what lies under the bit is cut already.
    step, steps
        (m,) see `Pieces`.
    """

    left: Integers
    lower: Integers
    columns: Integers
    rows: Integers
    x: Floats
    y: Floats
    cos: Floats
    sin: Floats
    far: Floats
    radius: Floats
    begin: Floats
    finish: Floats
    least: Floats
    step: Integers
    steps: Integers

    def part(self, which: slice | Integers) -> "Strokes":
        """Return some of the pieces."""
        return Strokes(*(getattr(self, field.name)[which] for field in fields(self)))


@dataclass(frozen=True, eq=False)
class Footprints:
    """
    The cells that m pieces reach, those of one piece side by side.

    Attributes
    ----------
    begin, end
        (m,) where the cells of a piece stand in the following.
    cell, first, step
        (c,) flat index into the map; when the rim reaches it, in cells along the piece; the step then.
    rim, depth
        (c,) mm below the top: of the rim when it reaches the cell, and of the deepest that gets there.
    """

    begin: Integers
    end: Integers
    cell: Integers
    first: Floats
    step: Integers
    rim: Floats
    depth: Floats


def goes_on(pieces: Pieces) -> NDArray[np.bool_]:
    """
    Return which pieces go on from where the one before ended, without going down.

    What lies under the bit at their start is cut already: they can only cut ahead.
    """
    on = np.zeros(len(pieces.start), dtype=np.bool_)
    on[1:] = (pieces.start[1:] == pieces.end[:-1]).all(axis=1) & (pieces.radius[1:] == pieces.radius[:-1])
    return on & (pieces.end[:, 2] >= pieces.start[:, 2])


def boxes(pieces: Pieces) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Return the corners, (m, 2) mm, of the boxes that hold what each of m pieces may cut.

    Behind the diameter across its way a piece that goes on cuts nothing, so its box ends there.
    """
    start, end = pieces.start[:, :2], pieces.end[:, :2]
    way = end - start
    far = np.hypot(way[:, 0], way[:, 1])[:, None]
    reach = np.broadcast_to(pieces.radius[:, None], way.shape)
    aside = reach * np.abs(way[:, ::-1]) / np.where(far > 0, far, 1.0)
    back = np.where(goes_on(pieces)[:, None] & (far > 0), aside, reach)
    low = np.where(way >= 0, start - back, end - reach)
    high = np.where(way > 0, end + reach, start + back)
    return low, high


def strokes_of(pieces: Pieces, corner: NDArray[np.float64], top: float, cell: float) -> Strokes:
    """
    Return pieces in the axes of the map.

    Parameters
    ----------
    pieces
        m pieces.
    corner
        (2,) mm, of the map.
    top
        mm, Z of the sheet's top.
    cell
        mm, side of a cell.
    """
    start, end = pieces.start[:, :2] - corner, pieces.end[:, :2] - corner
    low, high = boxes(pieces)
    first = np.floor((low - corner) / cell).astype(np.intp).clip(0)
    size = np.floor((high - corner) / cell).astype(np.intp) + 1 - first
    far = np.hypot(*(end - start).T)
    cos, sin = np.where(far > 0, (end - start).T, [[1.0], [0.0]]) / np.where(far > 0, far, 1.0)
    x, y = (start / cell - first).T
    columns = (
        x,
        y,
        cos,
        sin,
        far / cell,
        pieces.radius / cell,
        top - pieces.start[:, 2],
        top - pieces.end[:, 2],
    )
    x, y, cos, sin, far, radius, begin, finish = (each.astype(np.float32) for each in columns)
    return Strokes(
        left=first[:, 0],
        lower=first[:, 1],
        columns=size[:, 0].clip(1),
        rows=size[:, 1].clip(1),
        x=x,
        y=y,
        cos=cos,
        sin=sin,
        far=far,
        radius=radius,
        begin=begin,
        finish=finish,
        least=np.where(goes_on(pieces), 0.0, -np.inf).astype(np.float32),
        step=pieces.step,
        steps=pieces.steps,
    )


def footprints(strokes: Strokes, columns: int) -> Footprints:
    """
    Return the cells that pieces reach.

    Parameters
    ----------
    strokes
        m pieces.
    columns
        Of the whole map.
    """
    high, wide = -(-strokes.rows // GRAIN), -(-strokes.columns // GRAIN)
    shape, of = np.unique(high * (wide.max() + 1) + wide, return_inverse=True)
    order = np.argsort(of, kind="stable")
    parts = np.split(order, np.searchsorted(of[order], np.arange(1, len(shape))))
    counts, *found = zip(*(_alike(strokes.part(part), columns) for part in parts), strict=True)
    count = np.empty(len(of), dtype=np.intp)
    count[order] = np.concatenate(counts)
    end = np.empty_like(count)
    end[order] = np.cumsum(count[order])
    return Footprints(end - count, end, *(np.concatenate(each) for each in found))


def _alike(strokes: Strokes, columns: int) -> tuple[NDArray[Any], ...]:
    """Return how many cells each piece reaches, and which, when, how deep, for windows of about one size."""
    wide, high = int(strokes.columns.max()), int(strokes.rows.max())
    x = np.arange(wide, dtype=np.float32) - strokes.x[:, None]
    y = np.arange(high, dtype=np.float32) - strokes.y[:, None]
    right = _scattered(strokes.lower[:, None] + np.arange(high), BY_ROW)
    up = _scattered(strokes.left[:, None] + np.arange(wide), BY_COLUMN)
    cos, sin = strokes.cos[:, None], strokes.sin[:, None]
    along = (y * sin + right * cos)[:, :, None] + (x * cos + up * sin)[:, None, :]
    half = (y * cos - right * sin)[:, :, None] - (x * sin - up * cos)[:, None, :]
    np.multiply(half, half, out=half)
    np.subtract((strokes.radius**2)[:, None, None], half, out=half)
    under = half > 0
    np.sqrt(half, out=half, where=under)
    first = along - half
    under &= first < strokes.far[:, None, None]
    under &= first > strokes.least[:, None, None]
    along += half
    under &= along > 0
    count = np.count_nonzero(under.reshape(len(under), -1), axis=1)
    at = np.flatnonzero(under)
    piece = np.repeat(np.arange(len(count)), count)
    place = (np.arange(high)[:, None] * columns + np.arange(wide)).ravel()
    cell = place[at - piece * len(place)] + (strokes.lower * columns + strokes.left)[piece]
    first, last = first.ravel()[at], along.ravel()[at]
    return count, cell, first, _steps(strokes, piece, first), *_depths(strokes, piece, first, last)


def _scattered(index: Integers, ratio: float) -> Floats:
    """Return numbers from 0 to 1 that follow no pattern along any direction of the map."""
    return np.mod(index * (index * ratio), 1.0).astype(np.float32)


def _depths(strokes: Strokes, piece: Integers, first: Floats, last: Floats) -> tuple[Floats, Floats]:
    """
    Return how deep the rim is when it reaches each cell, and how deep the bit gets there.

    Going down, a cell is cut deeper until the bit leaves it; going up, it is deepest when the rim comes.
    """
    deepest = np.maximum(strokes.begin, strokes.finish)[piece]
    sloped = (strokes.begin != strokes.finish) & (strokes.far > 0)
    if not sloped.any():
        return deepest, deepest
    at = np.flatnonzero(sloped[piece])
    of = piece[at]
    begin, change, far = strokes.begin[of], (strokes.finish - strokes.begin)[of], strokes.far[of]
    rim, depth = deepest.copy(), deepest
    rim[at] = begin + change * (first[at] / far).clip(0.0, 1.0)
    depth[at] = begin + change * (np.where(change > 0, last[at], first[at]) / far).clip(0.0, 1.0)
    return rim, depth


def _steps(strokes: Strokes, piece: Integers, first: Floats) -> Integers:
    """Return the step in which each cell is first reached."""
    per_cell = strokes.steps / np.maximum(strokes.far, np.float32(1e-6))
    step = (first.clip(0.0) * per_cell[piece].astype(np.float32)).astype(np.intp)
    return np.asarray(strokes.step[piece] + np.minimum(step, strokes.steps[piece] - 1))
