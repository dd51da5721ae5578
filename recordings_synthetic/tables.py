"""
Tables of force over the bit's turn, one for each thing the bit meets, looked up by phase.

Computing each multiple of the spindle's frequency for each sample would take minutes. The force over a
turn depends on few things that change slowly, so one table a condition is made, cut off below half the
sample rate, and read at the spindle's phase with linear interpolation.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.force import (
    Edges,
    Runout,
    Teeth,
    TurnForce,
    Wood,
    edges,
    helix_lag,
    helix_weight,
    inside,
    plunge_chips,
    side_chips,
    teeth,
    weigh,
)

Key = TypeVar("Key")
Value = TypeVar("Value")

Floats = NDArray[np.float64]
Force = tuple[NDArray[np.complex64], NDArray[np.float32]]
"""Force in the plane (along the feed, to its left) and along the edges' paths, N."""

POINTS = 2048  # a turn
LEVELS = 5  # how finely a loose bit's eccentricity is tabulated
FEED_STEPS = 6.0  # steps of feed per tooth in a factor e
ANGLE_STEPS = 24  # steps of angle in half a turn
LAG_STEPS = 3.0  # steps of helix lag in one rad
BATCH = 16  # forces whose orders are weighed together


@dataclass(frozen=True)
class Condition:
    """
    What a bit meets, rounded so that few different ones occur.

    Attributes
    ----------
    bit
        T number.
    feed
        Feed per tooth in steps: ``exp(feed / FEED_STEPS)`` µm.
    entry, leave
        Engagement in steps of ``pi / ANGLE_STEPS``; both -1 for a plunge.
    lag
        Helix lag in steps of ``1 / LAG_STEPS`` rad.
    """

    bit: int
    feed: int
    entry: int
    leave: int
    lag: int


def feed_step(feed: Floats) -> NDArray[np.int64]:
    """Return feed per tooth, mm, in steps."""
    return np.rint(FEED_STEPS * np.log(np.clip(feed * 1000.0, 1.0, 2000.0))).astype(np.int64)


def angle_step(angle: Floats) -> NDArray[np.int64]:
    """Return an angle of engagement, rad, in steps."""
    return np.rint(angle / math.pi * ANGLE_STEPS).astype(np.int64)


def lag_step(depth: Floats, diameter: Floats) -> NDArray[np.int64]:
    """Return the helix lag for a depth in mm, in steps."""
    lag = helix_lag(1.0, 1.0) * depth / np.maximum(diameter, 0.1)
    return np.rint(np.minimum(lag, 2.0 * math.pi) * LAG_STEPS).astype(np.int64)


@dataclass(frozen=True, eq=False)
class Tool:
    """A bit as it sits in the spindle: teeth, diameter in mm, and how far out of true."""

    flutes: int
    diameter: float
    runout: Runout

    def with_runout(self, runout: Runout) -> "Tool":
        """Return the same bit, otherwise out of true."""
        return replace(self, runout=runout)


@dataclass(frozen=True, eq=False)
class Table:
    """
    Force over ``turns`` turns for several conditions.

    Attributes
    ----------
    plane
        (conditions, points + 1) N for each mm of depth (for a plunge: N); see ``TurnForce``.
    torque
        The same shape.
    turns
        How many turns the points span; the last point is the first again.
    """

    plane: NDArray[np.complex64]
    torque: NDArray[np.float32]
    turns: int

    def at(self, row: NDArray[np.intp], turn: Floats) -> Force:
        """Return the force for each condition ``row`` and phase ``turn``."""
        width = self.torque.shape[1]
        # x - floor(x) is x modulo 1 to the last bit, and much faster than numpy's.
        turn = turn / self.turns
        place = (turn - np.floor(turn)) * (width - 1)
        left = place.astype(np.intp)
        share = (place - left).astype(np.float32)
        left += row * width
        plane, torque = self.plane.reshape(-1), self.torque.reshape(-1)
        here, now = plane.take(left), torque.take(left)
        left += 1
        here += share * (plane.take(left) - here)
        now += share * (torque.take(left) - now)
        return here, now


class Maker:
    """
    Makes tables of force.

    Parameters
    ----------
    tools
        By T number.
    highest
        Highest order that the sample rate can carry.
    wood
        What is cut.
    """

    def __init__(self, tools: dict[int, Tool], highest: float, wood: Wood) -> None:
        self._tools, self._highest, self._wood = tools, highest, wood
        self._teeth: dict[tuple[int, int], tuple[Teeth, Edges]] = {}
        self._chips: dict[tuple[int, int, bool, Runout, int], Floats] = {}
        self._inside: dict[tuple[int, int, int, int], Floats] = {}
        self._weights: dict[tuple[int, int], Floats] = {}

    def held(self, whats: Sequence[Condition]) -> Table:
        """Return the force over one turn of a bit that is held, a row for each condition."""
        return self._table([(what, self._tools[what.bit].runout) for what in whats], turns=1)

    def loose(self, whats: Sequence[Condition], sizes: Floats, towards: float) -> tuple[Table, Table]:
        """
        Return the force of a bit that stands further out towards an angle, by each of ``sizes`` mm.

        A row for each size and, before that, each condition. The first table is over one turn, the same in
        each. The second is what a full alternation from turn to turn adds, over two turns: what it adds in
        the first it takes away in the second.
        """
        wanted = [
            (what, replace(self._tools[what.bit].runout, loose=float(size), towards=towards))
            for what in whats
            for size in sizes
        ]
        rocking = [(what, replace(runout, half=1.0)) for what, runout in wanted]
        return self._table(wanted, turns=1), self._table(rocking, turns=2, odd=True)

    def _table(self, wanted: Sequence[tuple[Condition, Runout]], turns: int, *, odd: bool = False) -> Table:
        plane = np.empty((len(wanted), turns * POINTS + 1), np.complex64)
        torque = np.empty(plane.shape, np.float32)
        for first in range(0, len(wanted), BATCH):
            group = slice(first, first + BATCH)
            raw = [self._force(what, runout, turns) for what, runout in wanted[group]]
            weight = np.array([self._weight(what.lag, turns) for what, _ in wanted[group]])
            made = weigh(np.array([f.plane for f in raw]), np.array([f.torque for f in raw]), weight)
            plane[group, :-1], torque[group, :-1] = (_odd(one) for one in made) if odd else made
        plane[:, -1], torque[:, -1] = plane[:, 0], torque[:, 0]
        return Table(plane, torque, turns)

    def _force(self, what: Condition, runout: Runout, turns: int) -> TurnForce:
        tool = self._tools[what.bit]
        at, pushing = self._teeth_of(tool.flutes, turns)
        plunge = what.entry < 0
        chips = _kept(
            self._chips,
            (what.bit, what.feed, plunge, runout, turns),
            lambda: (plunge_chips if plunge else side_chips)(at, _feed(what, tool), runout),
        )
        if plunge:
            return pushing.down(chips, at.cos, tool.diameter / 2)
        step = math.pi / ANGLE_STEPS
        where = _kept(
            self._inside,
            (tool.flutes, turns, what.entry, what.leave),
            lambda: inside(at, (what.entry * step, what.leave * step)),
        )
        return pushing.side(chips, where)

    def _teeth_of(self, flutes: int, turns: int) -> tuple[Teeth, Edges]:
        def place() -> tuple[Teeth, Edges]:
            at = teeth(np.arange(POINTS * turns) / POINTS, flutes)
            return at, edges(at, self._wood)

        return _kept(self._teeth, (turns, flutes), place)

    def _weight(self, lag: int, turns: int) -> Floats:
        return _kept(
            self._weights,
            (lag, turns),
            lambda: helix_weight(POINTS * turns, turns, lag=lag / LAG_STEPS, highest=self._highest),
        )


def _kept(store: dict[Key, Value], key: Key, make: Callable[[], Value]) -> Value:
    """Return what is kept under a key; make it when it is not there yet."""
    if key not in store:
        store[key] = make()
    return store[key]


def _feed(what: Condition, tool: Tool) -> Floats:
    """Return mm of feed from tooth to tooth."""
    return np.full(tool.flutes, math.exp(what.feed / FEED_STEPS) / 1000.0)


def _odd(values: NDArray[Any]) -> NDArray[Any]:
    """Return the part that changes its sign from one turn to the next, along the last axis."""
    return np.asarray((values - np.roll(values, values.shape[-1] // 2, axis=-1)) / 2)


def rows(conditions: NDArray[np.int64]) -> tuple[list[Condition], NDArray[np.intp]]:
    """Return the different conditions among (n, 5) rounded ones, and which one each row is."""
    key = conditions @ np.array([1 << 40, 1 << 28, 1 << 18, 1 << 8, 1])
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    found = [Condition(*(int(value) for value in conditions[i])) for i in first]
    return found, which.reshape(-1)
