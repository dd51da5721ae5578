"""
What the machine really does with a program: when each move begins, and where the bit is at each moment.

It is a plan of its own, not that of ``analysis.program``: a listener's clock must not be checked against
itself. Speeds at the joints follow the junction-deviation rule, the moves between them trapezoids of speed
(both common practice of controllers); acceleration differs from what a listener would assume, and how long
a person takes to change a bit is anyone's guess.
"""

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.program import Kind, Moves
from recordings_synthetic.spindle import Spindle

Floats = NDArray[np.float64]

AXES = {17: (0, 1), 18: (2, 0), 19: (1, 2)}
"""First and second axis of a plane, so that an angle grows anticlockwise seen from its + side."""


@dataclass(frozen=True)
class Gantry:
    """
    A gantry router.

    Attributes
    ----------
    acceleration, top_speed
        Of X, Y and Z, mm/s² and mm/s.
    corner
        Junction deviation, mm.
    lead
        Shortest and longest time from the recording's start to the program's, s.
    tail
        How long the recording goes on after the program's end, s.
    stop
        Shortest and longest time that a bit change or a pause takes, s.
    steps
        Full motor steps per mm of X, Y and Z.
    spindle
        What turns the bit.
    """

    acceleration: tuple[float, float, float] = (440.0, 440.0, 260.0)
    top_speed: tuple[float, float, float] = (80.0, 80.0, 35.0)
    corner: float = 0.012
    lead: tuple[float, float] = (1.0, 2.5)
    tail: float = 1.5
    stop: tuple[float, float] = (8.0, 14.0)
    steps: tuple[float, float, float] = (20.0, 20.0, 40.0)
    spindle: Spindle = field(default_factory=Spindle)


@dataclass(frozen=True, eq=False)
class Timing:
    """
    When each move happens, and how fast.

    Attributes
    ----------
    begin, end
        (n,) s from the start of the recording.
    entry, top, leave
        (n,) mm/s along the path: at the beginning, at the most, at the end.
    rate
        (n,) mm/s² along the path.
    """

    begin: Floats
    end: Floats
    entry: Floats
    top: Floats
    leave: Floats
    rate: Floats


def timing(moves: Moves, gantry: Gantry, rng: np.random.Generator) -> Timing:
    """Return when and how fast each move happens; the lengths of stops are drawn from ``rng``."""
    rate, top = _limits(moves, gantry)
    entry, leave = _joints(moves, rate, top, gantry.corner)
    peak = np.minimum(top, np.sqrt((entry**2 + leave**2) / 2.0 + rate * moves.length))
    stopped = moves.length <= 0.0
    seconds = _standing(moves, gantry, rng)
    going = ~stopped
    seconds[going] = _trapezoid(moves.length[going], entry[going], peak[going], leave[going], rate[going])
    begin = rng.uniform(*gantry.lead) + np.concatenate([[0.0], np.cumsum(seconds)])
    return Timing(begin[:-1], begin[1:], entry, peak, leave, rate)


def _standing(moves: Moves, gantry: Gantry, rng: np.random.Generator) -> Floats:
    """Return how long each row lasts that does not move, s."""
    seconds = np.where(moves.length > 0.0, 0.0, moves.seconds)
    stops = np.flatnonzero(np.isin(moves.kind, (Kind.PAUSE, Kind.BIT_CHANGE)))
    seconds[stops] = rng.uniform(*gantry.stop, size=len(stops))
    return seconds


def _trapezoid(length: Floats, entry: Floats, peak: Floats, leave: Floats, rate: Floats) -> Floats:
    """Return the duration, s, of moves that speed up, run and slow down."""
    ramps = (2.0 * peak**2 - entry**2 - leave**2) / (2.0 * rate)
    return (2.0 * peak - entry - leave) / rate + np.maximum(length - ramps, 0.0) / peak


def _limits(moves: Moves, gantry: Gantry) -> tuple[Floats, Floats]:
    """Return acceleration and greatest speed along the path of each move."""
    share = np.abs(moves.end - moves.start) / np.maximum(moves.length, 1e-9)[:, None]
    for move in np.flatnonzero(moves.sweep):
        share[move, list(AXES[int(moves.plane[move])])] = 1.0
    share = np.maximum(share, 1e-9)
    rate = np.min(np.array(gantry.acceleration) / share, axis=1)
    top = np.min(np.array(gantry.top_speed) / share, axis=1)
    top = np.fmin(top, _asked(moves))
    # On an arc half of the acceleration is kept for going round it.
    radius = np.linalg.norm(np.nan_to_num(moves.start - moves.centre), axis=1)
    round_it = np.where(moves.sweep != 0.0, np.sqrt(rate / 2.0 * radius), np.inf)
    return rate, np.minimum(top, round_it)


def _asked(moves: Moves) -> Floats:
    """Return the speed the program asks for, mm/s; NaN for rapids."""
    timed = (moves.seconds > 0.0) & (moves.length > 0.0)
    inverse = moves.length / np.where(timed, moves.seconds, 1.0)
    return np.where(timed, inverse, moves.feed / 60.0)


def _joints(moves: Moves, rate: Floats, top: Floats, corner: float) -> tuple[Floats, Floats]:
    """Return the speed at the beginning and at the end of each move, mm/s."""
    first, last = tangents(moves)
    count = len(moves)
    going = moves.length > 0.0
    joint = np.zeros(count + 1)  # joint i lies before move i
    for i in range(1, count):
        if going[i - 1] and going[i]:
            fastest = min(float(top[i - 1]), float(top[i]))
            turn = _corner_speed(last[i - 1], first[i], min(rate[i - 1], rate[i]), corner)
            joint[i] = min(fastest, turn)
    for i in range(count - 1, 0, -1):
        joint[i] = min(joint[i], math.sqrt(joint[i + 1] ** 2 + 2.0 * rate[i] * moves.length[i]))
    for i in range(1, count):
        joint[i] = min(joint[i], math.sqrt(joint[i - 1] ** 2 + 2.0 * rate[i - 1] * moves.length[i - 1]))
    return joint[:-1], joint[1:]


def _corner_speed(before: Floats, after: Floats, rate: float, corner: float) -> float:
    """Return the junction-deviation speed, mm/s, between two unit directions."""
    half = math.sqrt(max(0.0, (1.0 + float(before @ after)) / 2.0))
    return math.inf if half > 0.999999 else math.sqrt(rate * corner * half / (1.0 - half))


def tangents(moves: Moves) -> tuple[Floats, Floats]:
    """Return the unit directions at the beginning and at the end of each move; 0 where it stands."""
    straight = (moves.end - moves.start) / np.maximum(moves.length, 1e-9)[:, None]
    first, last = straight.copy(), straight.copy()
    for move in np.flatnonzero(moves.sweep):
        for where, point in ((first, moves.start[move]), (last, moves.end[move])):
            where[move] = _around(moves, int(move), point)
    return first, last


def _around(moves: Moves, move: int, point: Floats) -> Floats:
    """Return the unit direction of an arc or helix at a point of it."""
    a, b = AXES[int(moves.plane[move])]
    arm = point - moves.centre[move]
    along = moves.end[move] - moves.start[move]
    sweep = float(moves.sweep[move])
    along[a], along[b] = -arm[b] * sweep, arm[a] * sweep
    return np.asarray(along / np.linalg.norm(along))


@dataclass(frozen=True, eq=False)
class Path:
    """
    Where the bit is at each of ``n`` moments, all ``step`` seconds apart.

    Attributes
    ----------
    move
        (n,) which move; -1 before the first and after the last.
    position
        (n, 3) mm.
    """

    step: float
    move: NDArray[np.intp]
    position: Floats

    @cached_property
    def velocity(self) -> Floats:
        """(n, 3) mm/s."""
        return np.diff(self.position, axis=0, append=self.position[-1:]) / self.step

    @cached_property
    def across(self) -> Floats:
        """(n,) mm/s in the plane of the sheet."""
        velocity = self.velocity
        return np.hypot(velocity[:, 0], velocity[:, 1])

    @cached_property
    def heading(self) -> Floats:
        """(n,) rad, the direction of motion in the sheet's plane, continuous; kept while the bit stands."""
        velocity = self.velocity
        moving = np.hypot(velocity[:, 0], velocity[:, 1]) > 0.05
        last = np.maximum.accumulate(np.where(moving, np.arange(len(moving)), 0))
        return np.unwrap(np.arctan2(velocity[last, 1], velocity[last, 0]))


def path(moves: Moves, when: Timing, gantry: Gantry, step: float) -> Path:
    """Return where the bit is, every ``step`` seconds from the start to ``gantry.tail`` after the end."""
    now: Floats = step * np.arange(
        math.ceil((float(when.end[-1]) + gantry.tail) / step) + 1, dtype=np.float64
    )
    index = np.searchsorted(when.begin, now, side="right") - 1
    held = np.clip(index, 0, len(moves) - 1)
    share = _share(moves, when, held, now)
    position = moves.start[held] + share[:, None] * (moves.end - moves.start)[held]
    for move in np.flatnonzero(moves.sweep):
        on = slice(*np.searchsorted(held, (move, move + 1)))
        _bend(position[on], share[on], moves, int(move))
    outside = (index < 0) | (now >= when.end[-1])
    return Path(step, np.where(outside, -1, held), position)


def _share(moves: Moves, when: Timing, move: NDArray[np.intp], now: Floats) -> Floats:
    """Return how much of its move the bit has done at each moment, 0 to 1."""
    past = np.clip(now, when.begin[move], when.end[move]) - when.begin[move]
    left = (when.end - when.begin)[move] - past
    rate, top, length = when.rate[move], when.top[move], moves.length[move]
    up = (top - when.entry[move]) / rate
    down = (top - when.leave[move]) / rate
    rising = past * (when.entry[move] + rate * past / 2.0)
    falling = length - left * (when.leave[move] + rate * left / 2.0)
    even = (when.entry[move] + top) / 2.0 * up + top * (past - up)
    done = np.where(past < up, rising, np.where(left < down, falling, even))
    return np.clip(done / np.maximum(length, 1e-9), 0.0, 1.0)


def _bend(position: Floats, share: Floats, moves: Moves, move: int) -> None:
    """Put points of a straight line onto its arc, in place."""
    a, b = AXES[int(moves.plane[move])]
    centre, arm = moves.centre[move], moves.start[move] - moves.centre[move]
    angle = share * moves.sweep[move]
    position[:, a] = centre[a] + arm[a] * np.cos(angle) - arm[b] * np.sin(angle)
    position[:, b] = centre[b] + arm[a] * np.sin(angle) + arm[b] * np.cos(angle)
