"""
A sheet of material, as a map of how much has been taken off its top, and a flat-ended bit that cuts it.

The bit's end sweeps, along a straight piece, an area with round ends. A cell of the map at `along` (the
way, counted from the piece's start) and `aside` (off the way) is reached when the rim first comes over
it, at ``along - half``, and left at ``along + half``, with ``half = sqrt(radius² - aside²)``: no small
steps are needed, and which step of the measuring a cell belongs to follows from when it is first reached.
Cells reached after the start are taken by the rim (the *front*); those under the bit at the start can
only be cut by its end, on the way down.

Which cells a piece reaches, and how deep, does not depend on what was cut before: that is found for many
pieces at once (`footprint`). Only the comparison with the map has to go in order, piece by piece.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.program.engagement.footprint import Strokes, boxes, footprints, strokes_of
from analysis.program.engagement.pieces import Pieces

THINNEST = 1e-4
"""mm; what is thinner does not count as cut: the map is in single precision."""

MOST_CELLS = 40_000_000
"""The map may grow to 160 MB, where all of it is cut."""

MOST_LOOKS = 150_000_000
"""Cells looked at, each as often as the bit comes near: some seconds' work."""

BATCH = 250_000
"""Cells looked at together: few enough to stay in the processor's cache."""


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


def cell_for(pieces: Pieces, finest: float) -> float:
    """
    Return the side, mm, of the cells to divide the sheet into.

    Parameters
    ----------
    pieces
        What is cut.
    finest
        mm, what is wanted. Sheets that would need more than `MOST_CELLS`, and jobs that would look at more
        than `MOST_LOOKS`, get coarser ones: memory and time stay bounded.
    """
    low, high = boxes(pieces)
    sheet = (high.max(axis=0) - low.min(axis=0)).prod()
    looks = (high - low).prod(axis=1).sum()
    return max(finest, math.sqrt(sheet / MOST_CELLS), math.sqrt(looks / MOST_LOOKS))


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
    low, high = boxes(pieces)
    corner = low.min(axis=0)
    columns, rows = (int(side) + 1 for side in np.floor((high.max(axis=0) - corner) / cell))
    # Zeros that nobody has written to take no memory: only what is cut does.
    removed = np.zeros(rows * columns, dtype=np.float32)
    sums = np.zeros((4, len(pieces.way)))
    strokes = strokes_of(pieces, corner, top, cell)
    for batch in _batches(strokes):
        _cut_batch(removed, columns, strokes.part(batch), sums)
    sums *= cell * cell
    return Taken(front_area=sums[0], front_volume=sums[1], area=sums[2], volume=sums[3])


def _batches(strokes: Strokes) -> Iterator[slice]:
    """Yield slices of pieces that look at about as many cells."""
    total = np.cumsum(strokes.columns * strokes.rows)
    begin = 0
    while begin < len(total):
        before = total[begin - 1] if begin else 0
        end = max(int(np.searchsorted(total, before + BATCH)), begin + 1)
        yield slice(begin, end)
        begin = end


def _cut_batch(
    removed: NDArray[np.float32], columns: int, strokes: Strokes, sums: NDArray[np.float64]
) -> None:
    """Cut some pieces, and add cells and mm x cells to the sums of their steps."""
    prints = footprints(strokes, columns)
    before = np.empty_like(prints.depth)
    cells, depth = prints.cell, prints.depth
    for begin, end in zip(prints.begin.tolist(), prints.end.tolist(), strict=True):
        here = cells[begin:end]
        was = removed.take(here)
        before[begin:end] = was
        removed[here] = np.maximum(was, depth[begin:end])
    some = np.flatnonzero(depth > before)
    gain = (depth - before)[some].astype(np.float64)
    rim = np.where(prints.first[some] > 0, prints.rim[some] - before[some], 0.0).clip(0.0)
    low = int(strokes.step.min())
    step, count = prints.step[some] - low, int((strokes.step + strokes.steps).max()) - low
    for row, weights in enumerate((rim > THINNEST, rim, gain > THINNEST, gain)):
        sums[row, low : low + count] += np.bincount(step, weights, count)
