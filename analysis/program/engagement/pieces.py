"""
The way of the bit as short straight pieces, and the steps over which its cut is measured.

A long move is measured in steps of a quarter of the bit's diameter. Moves shorter than that, following
one another, are measured together, else a cut of a few cells would say more about the cells than about
the cut.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import AXES_OF_PLANE, STEEP, TINY, Moves

STEPS_PER_DIAMETER = 4
STEPS_PER_PIECE = 8
"""A straight piece covers at most so many steps: two diameters, for a window that hugs it."""

MOST_STEPS = 2_000_000
"""On a way of more than so many quarters of the diameter (three kilometres, with 6 mm) steps get longer."""

WIDEST_CHORD = np.pi / 6
"""rad; the most that one piece of an arc may turn."""


@dataclass(frozen=True, eq=False)
class Pieces:
    """
    Straight pieces, in the order in which they are cut, and what the steps measured on them are.

    Attributes
    ----------
    start, end
        (m, 3) mm.
    radius
        (m,) mm, of the bit.
    step
        (m,) the first step that a piece belongs to.
    steps
        (m,) how many steps it covers, in equal shares.
    first, count
        (k,) per move looked at: its first step and how many it has. Moves measured together share one.
    way, length, down, width
        (s,) per step, mm: way across, way in space, way down, diameter of the bit.
    linked
        (s,) whether a step carries on from the one before.
    """

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    radius: NDArray[np.float64]
    step: NDArray[np.intp]
    steps: NDArray[np.intp]
    first: NDArray[np.intp]
    count: NDArray[np.intp]
    way: NDArray[np.float64]
    length: NDArray[np.float64]
    down: NDArray[np.float64]
    width: NDArray[np.float64]
    linked: NDArray[np.bool_]


def pieces_of(
    moves: Moves, chosen: NDArray[np.intp], diameter: NDArray[np.float64], flatness: float
) -> Pieces:
    """
    Return the pieces and steps of some moves.

    Parameters
    ----------
    moves
        n moves.
    chosen
        (k,) which of them, rising.
    diameter
        (k,) mm, of the bit that makes each.
    flatness
        mm; how far a piece may lie off its arc.
    """
    group, wanted = _groups(moves, chosen, diameter)
    chords = np.ceil(np.abs(moves.sweep[chosen]) / _chord(moves, chosen, flatness)).astype(np.intp)
    straight = np.maximum(chords, -(-wanted // STEPS_PER_PIECE))
    # Either a piece holds several steps, or a step of an arc several chords.
    per_piece = -(-wanted // straight)
    per_step = np.rint(straight / wanted).astype(np.intp).clip(1)
    parts = -(-straight // per_step)
    number, count = parts * per_step, parts * per_piece
    first = _first_steps(group, count)
    move = np.repeat(np.arange(len(chosen)), number)
    place = np.arange(len(move)) - np.repeat(np.cumsum(number) - number, number)
    start = _points(moves, chosen[move], place / number[move])
    end = _points(moves, chosen[move], (place + 1) / number[move])
    step = first[move] + place // per_step[move] * per_piece[move]
    way = Way(start, end, diameter[move], step, per_piece[move])
    return _with_steps(way, first, count, first[np.flatnonzero(np.diff(chosen, prepend=-2) != 1)])


class Way(NamedTuple):
    """The pieces before what is told per step: see `Pieces`."""

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    diameter: NDArray[np.float64]
    step: NDArray[np.intp]
    steps: NDArray[np.intp]


def _with_steps(
    pieces: Way, first: NDArray[np.intp], count: NDArray[np.intp], fresh: NDArray[np.intp]
) -> Pieces:
    """Share the ways of the pieces out among their steps, of which the `fresh` follow no other."""
    start, end, diameter, step, steps = pieces
    piece = np.repeat(np.arange(len(step)), steps)
    of = step[piece] + np.arange(len(piece)) - np.repeat(np.cumsum(steps) - steps, steps)
    total = int((first + count).max(initial=0))
    part = (end - start)[piece] / steps[piece, None]
    width = np.zeros(total)
    width[of] = diameter[piece]
    linked = np.ones(total, dtype=np.bool_)
    linked[fresh] = False

    def sums(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.bincount(of, values, total), dtype=np.float64)

    return Pieces(
        start=start,
        end=end,
        radius=diameter / 2,
        step=step,
        steps=steps,
        first=first,
        count=count,
        way=sums(np.hypot(part[:, 0], part[:, 1])),
        length=sums(np.sqrt((part**2).sum(axis=1))),
        down=sums(-part[:, 2]),
        width=width,
        linked=linked,
    )


def _groups(
    moves: Moves, chosen: NDArray[np.intp], diameter: NDArray[np.float64]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return, per chosen move, which group it is measured with, and how many steps it wants itself."""
    length = moves.length[chosen]
    step = np.maximum(diameter / STEPS_PER_DIAMETER, length.sum() / MOST_STEPS)
    travel = moves.end[chosen] - moves.start[chosen]
    across = np.hypot(travel[:, 0], travel[:, 1])
    straight = moves.sweep[chosen] == 0
    plunge = straight & (-travel[:, 2] >= STEEP * across)
    wanted = np.where(plunge, 1, np.ceil(length / step - 1e-6)).astype(np.intp).clip(1)
    short = (wanted == 1) & ((across > TINY) | ~straight)
    same = np.diff(chosen) == 1
    for what in (moves.kind == 0, moves.bit):
        same &= what[chosen][1:] == what[chosen][:-1]
    new = np.concatenate([[True], ~(same & short[1:] & short[:-1])])[: len(chosen)]
    run = np.cumsum(new) - 1
    total = np.bincount(run, length)
    parts = np.maximum(np.floor(total / step[new]), 1)
    middle = np.cumsum(length) - length / 2 - (np.cumsum(total) - total)[run]
    share = np.floor(middle / np.maximum(total, TINY)[run] * parts[run]).clip(0, parts[run] - 1)
    begins = new | np.concatenate([[True], np.diff(share) > 0])[: len(chosen)]
    return np.cumsum(begins) - 1, wanted


def _first_steps(group: NDArray[np.intp], count: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the first step of each move: moves of one group share theirs."""
    begins = np.concatenate([[True], np.diff(group) > 0])[: len(group)]
    each = count[begins]
    return np.asarray((np.cumsum(each) - each)[group])


def _chord(moves: Moves, chosen: NDArray[np.intp], flatness: float) -> NDArray[np.float64]:
    """Return how far, rad, one straight piece may go around each arc."""
    arm = moves.start[chosen] - moves.centre[chosen]
    radius = np.sqrt((np.where(np.isnan(arm), 0.0, arm) ** 2).sum(axis=1))
    angle = 4 * np.arcsin(np.sqrt(flatness / (2 * np.maximum(radius, flatness))))
    return np.asarray(np.minimum(angle, WIDEST_CHORD))


def _points(moves: Moves, index: NDArray[np.intp], share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the points, (m, 3) mm, at a share of the way along moves."""
    start, end = moves.start[index], moves.end[index]
    points: NDArray[np.float64] = start + share[:, None] * (end - start)
    points[share >= 1] = end[share >= 1]
    for code, (first, second, _) in AXES_OF_PLANE.items():
        at = np.flatnonzero(
            (moves.sweep[index] != 0) & (moves.plane[index] == code) & (share > 0) & (share < 1)
        )
        centre = moves.centre[index[at]][:, [first, second]]
        arms = [p[at][:, [first, second]] - centre for p in (start, end)]
        near, far = (np.hypot(arm[:, 0], arm[:, 1]) for arm in arms)
        radius = near + share[at] * (far - near)
        angle = np.arctan2(arms[0][:, 1], arms[0][:, 0]) + share[at] * moves.sweep[index[at]]
        points[at, first] = centre[:, 0] + radius * np.cos(angle)
        points[at, second] = centre[:, 1] + radius * np.sin(angle)
    return points
