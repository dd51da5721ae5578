"""Closed loops out of the way of the bit, straight piece by straight piece, with its depth."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.program.chains import CLOSED, Chain, carries_on
from analysis.program.moves import Kind, Moves
from analysis.program.paths import flattened

SHORTEST = 1.0
"""mm; the shortest way around that is taken as a loop."""

_Cell = tuple[int, int]


@dataclass(frozen=True, eq=False)
class Segments:
    """
    Straight pieces of the bit's way that go across, in the order of execution.

    Attributes
    ----------
    start, end
        (n, 3) mm.
    move
        (n,) index of the move that each belongs to.
    cuts
        (n,) whether it cuts; a gap between two chains is a piece that does not.
    """

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    move: NDArray[np.intp]
    cuts: NDArray[np.bool_]

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.move)

    @property
    def length(self) -> NDArray[np.float64]:
        """Seen from above, mm."""
        way = self.end - self.start
        return np.asarray(np.hypot(way[:, 0], way[:, 1]))

    def take(self, index: NDArray[np.intp] | NDArray[np.bool_]) -> "Segments":
        """Return some of them."""
        return Segments(self.start[index], self.end[index], self.move[index], self.cuts[index])


def segments_of(moves: Moves, cuts: NDArray[np.bool_], row: Sequence[Chain]) -> Segments:
    """Return the pieces of chains that follow each other, gaps between and behind them included."""
    points: list[NDArray[np.float64]] = []
    owner: list[NDArray[np.intp]] = []
    for chain in row:
        for i in range(int(chain.moves[0]), int(chain.moves[-1]) + 1):
            if moves.kind[i] not in (Kind.DWELL, Kind.PAUSE):
                points.append(flattened(moves, i))
                owner.append(np.full(len(points[-1]), i))
    if carries_on(row[-1].points, row[0].points):
        points.append(points[0][:1])
        owner.append(np.array([-1]))
    every, move = np.concatenate(points), np.concatenate(owner)
    same = move[1:] == move[:-1]
    found = Segments(every[:-1], every[1:], np.where(same, move[1:], move[:-1]), cuts[move[1:]] & same)
    return found.take(found.length > 1e-9)


def joined(several: Sequence[Segments]) -> Segments:
    """Return the pieces of several ways as one."""
    return Segments(
        np.concatenate([way.start for way in several]),
        np.concatenate([way.end for way in several]),
        np.concatenate([way.move for way in several]),
        np.concatenate([way.cuts for way in several]),
    )


def loops(pieces: Segments, entries: NDArray[np.float64]) -> list[Segments]:
    """
    Return the closed loops that the way makes, in the order in which they are closed.

    Wherever the way comes back to a place that it has passed, what lies between is a loop, and is left out
    of what comes after it.

    Parameters
    ----------
    pieces
        The way.
    entries
        (m, 2) mm, places where the bit goes in: a pass may run on over the one where it began.
    """
    pieces = _split(pieces, entries)
    ends = pieces.end[:, :2].tolist()
    trail, found = _Trail(*pieces.start[0, :2].tolist()), []
    for i, (x, y) in enumerate(ends):
        closed = trail.go(i, x, y)
        if closed:
            found.append(pieces.take(np.array(closed)))
    return found


class _Trail:
    """The places that the way has passed since its last loop, and the pieces between them."""

    def __init__(self, x: float, y: float) -> None:
        self._places = [(x, y)]
        self._pieces: list[int] = []
        self._far = [0.0]
        self._at: dict[_Cell, list[int]] = {_cell(x, y): [0]}

    def go(self, piece: int, x: float, y: float) -> list[int]:
        """Go on to a place; return the pieces of the loop that this closes, or none."""
        self._pieces.append(piece)
        before = self._places[-1]
        far = self._far[-1] + math.hypot(x - before[0], y - before[1])
        met = self._met(x, y, far)
        if met is None:
            self._places.append((x, y))
            self._far.append(far)
            self._at.setdefault(_cell(x, y), []).append(len(self._pieces))
            return []
        closed = self._pieces[met:]
        for place in reversed(self._places[met + 1 :]):
            self._at[_cell(*place)].pop()
        del self._pieces[met:], self._places[met + 1 :], self._far[met + 1 :]
        return closed

    def _met(self, x: float, y: float, far: float) -> int | None:
        """Return which place this is again; what was passed a moment ago does not count."""
        for dx in (-CLOSED, CLOSED):
            for dy in (-CLOSED, CLOSED):
                for i in self._at.get(_cell(x + dx, y + dy), ()):
                    place = self._places[i]
                    near = math.hypot(x - place[0], y - place[1]) <= CLOSED
                    if near and far - self._far[i] >= SHORTEST:
                        return i
        return None


def _cell(x: float, y: float) -> _Cell:
    return int(x // (2 * CLOSED)), int(y // (2 * CLOSED))


def _split(pieces: Segments, entries: NDArray[np.float64]) -> Segments:
    """Return the pieces with a joint wherever one passes over an entry."""
    for entry in entries:
        a, way = pieces.start[:, :2], (pieces.end - pieces.start)[:, :2]
        square = (way**2).sum(axis=1)
        share = ((entry - a) * way).sum(axis=1) / square
        off = np.hypot(*(a + share[:, None] * way - entry).T)
        inside = share * np.sqrt(square)
        over = (off < CLOSED) & (inside > CLOSED) & (inside < np.sqrt(square) - CLOSED)
        for i in np.flatnonzero(over)[::-1]:
            joint = pieces.start[i] + share[i] * (pieces.end[i] - pieces.start[i])
            pieces = Segments(
                np.insert(pieces.start, i + 1, joint, axis=0),
                np.insert(pieces.end, i, joint, axis=0),
                np.insert(pieces.move, i, pieces.move[i]),
                np.insert(pieces.cuts, i, pieces.cuts[i]),
            )
    return pieces
