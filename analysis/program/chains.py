"""
Cutting taken apart into chains: the bit goes in, cuts along, comes out.

A chain ends where the bit traverses across, or feeds across farther than a tab is wide without cutting,
or the coordinate system changes. A lift straight up, a short hop over a tab and a change of depth do not
end it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Kind, Moves
from analysis.program.paths import polyline
from analysis.program.program import Program
from analysis.program.work import cutting

TAB = 20.0
"""mm; the widest gap along an outline that is taken as a tab."""

STRAIGHT_ON = 0.8
"""Cosine of the angle up to which a gap carries on in the direction of the cut."""

CLOSED = 0.05
"""mm; ends nearer than this meet."""


@dataclass(frozen=True, eq=False)
class Chain:
    """
    One chain.

    Attributes
    ----------
    moves
        Indices of its moves that cut.
    points
        (m, 2) mm, the way of the bit's centre seen from above; one point for a drilled hole.
    bit
        T number.
    """

    moves: NDArray[np.intp]
    points: NDArray[np.float64]
    bit: int

    @property
    def closed(self) -> bool:
        """Whether it ends where it begins."""
        gap = np.hypot(*(self.points[-1] - self.points[0]))
        return bool(len(self.points) > 3 and gap <= CLOSED)


def chains(program: Program) -> list[Chain]:
    """Return the chains of a program in the order in which they are cut."""
    return chains_of(program.moves, program.tops)


def chains_of(moves: Moves, tops: NDArray[np.float64]) -> list[Chain]:
    """Return the chains of some moves, given Z of the work's top for each, mm, shape (n,)."""
    cuts = cutting(moves, tops)
    found = []
    for begin, end in _runs(moves, cuts):
        inside = np.arange(begin, end)
        across = inside[~np.isin(moves.kind[inside], (Kind.DWELL, Kind.PAUSE))]
        found.append(Chain(inside[cuts[inside]], polyline(moves, across), int(moves.bit[begin])))
    return found


def _runs(moves: Moves, cuts: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return begin and end of each run of moves that stays together."""
    way = np.hypot(moves.end[:, 0] - moves.start[:, 0], moves.end[:, 1] - moves.start[:, 1])
    idle = np.where(cuts, 0.0, np.maximum(way, np.where(moves.sweep != 0, moves.length, 0.0)))
    ends_it = ((moves.kind == Kind.RAPID) & (way > CLOSED)) | (moves.kind == Kind.BIT_CHANGE)
    ends_it[1:] |= np.diff(moves.system) != 0
    runs: list[tuple[int, int]] = []
    begin, last, gap = -1, -1, 0.0
    for i in range(len(moves)):
        gap = 0.0 if cuts[i] else gap + float(idle[i])
        if begin >= 0 and (ends_it[i] or gap > TAB):
            runs.append((begin, last + 1))
            begin = -1
        if cuts[i]:
            begin, last = (i if begin < 0 else begin), i
    if begin >= 0:
        runs.append((begin, last + 1))
    return runs


def bridged(pieces: list[Chain]) -> list[NDArray[np.float64]]:
    """Return closed outlines, (m, 2) mm each, made of open chains in a row with tabs between them."""
    joined = [np.concatenate([chain.points for chain in row]) for row in rows(pieces)]
    return [np.concatenate([points, points[:1]]) for points in joined]


def rows(pieces: list[Chain]) -> list[list[Chain]]:
    """
    Return the open chains in a row that make closed outlines with tabs between them.

    A gap is taken as a tab if it is at most `TAB` wide, lies in the direction of the cut before and after
    it, and the row comes back to where it began in the same way.
    """
    found = []
    row: list[Chain] = []
    for piece in pieces:
        if piece.closed or len(piece.points) < 2:
            row = []
            continue
        row = [*row, piece] if row and carries_on(row[-1].points, piece.points) else [piece]
        points = np.concatenate([chain.points for chain in row])
        if len(points) > 3 and carries_on(points, points):
            found.append(row)
            row = []
    return found


def carries_on(before: NDArray[np.float64], after: NDArray[np.float64]) -> bool:
    """
    Whether the gap from the end of one way, (m, 2) mm, to the begin of another is none, or a tab's.

    Parameters
    ----------
    before, after
        May be the same: does the way come back to where it began?
    """
    if len(before) < 2 or len(after) < 2:
        return False
    gap = after[0] - before[-1]
    width = float(np.hypot(*gap))
    if width <= CLOSED:
        return True
    if width > TAB:
        return False
    leaving, arriving = before[-1] - before[-2], after[1] - after[0]
    return all(float(gap @ way) >= STRAIGHT_ON * width * float(np.hypot(*way)) for way in (leaving, arriving))
