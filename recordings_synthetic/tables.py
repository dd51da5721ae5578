"""
Tables of force over the bit's turn, one for each thing the bit meets, looked up by phase.

Computing each multiple of the spindle's frequency for each sample would take minutes. The force over a
turn depends on few things that change slowly, so one table a condition is made, cut off below half the
sample rate, and read at the spindle's phase with linear interpolation.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.force import (
    Runout,
    TurnForce,
    Wood,
    helix_lag,
    plunge_force,
    side_force,
    smooth,
    teeth,
)

Floats = NDArray[np.float64]
Force = tuple[NDArray[np.complex64], NDArray[np.float32]]
"""Force in the plane (along the feed, to its left) and along the edges' paths, N."""

POINTS = 2048  # a turn
LEVELS = 5  # how finely a loose bit's eccentricity is tabulated
FEED_STEPS = 6.0  # steps of feed per tooth in a factor e
ANGLE_STEPS = 24  # steps of angle in half a turn
LAG_STEPS = 3.0  # steps of helix lag in one rad


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
        place = np.mod(turn, self.turns) * ((width - 1) / self.turns)
        left = place.astype(np.intp)
        share = (place - left).astype(np.float32)
        left += row * width
        plane, torque = self.plane.reshape(-1), self.torque.reshape(-1)
        here, now = plane.take(left), torque.take(left)
        left += 1
        here += share * (plane.take(left) - here)
        now += share * (torque.take(left) - now)
        return here, now


def table(forces: list[TurnForce], turns: int) -> Table:
    """Put forces into one table."""
    plane = np.array([np.append(f.plane, f.plane[0]) for f in forces], dtype=np.complex64)
    torque = np.array([np.append(f.torque, f.torque[0]) for f in forces], dtype=np.float32)
    return Table(plane, torque, turns)


class Maker:
    """
    Makes the force of a condition.

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
        self._teeth = {
            (turns, tool.flutes): teeth(np.arange(POINTS * turns) / POINTS, tool.flutes)
            for tool in tools.values()
            for turns in (1, 2)
        }

    def held(self, what: Condition) -> TurnForce:
        """Return the force over one turn of a bit that is held."""
        return self._force(what, self._tools[what.bit].runout, turns=1)

    def loose(self, what: Condition, extra: float, towards: float) -> tuple[TurnForce, TurnForce]:
        """
        Return the force of a bit that stands ``extra`` mm further out towards an angle.

        The first is over one turn, the same in each. The second is what a full alternation from turn to
        turn adds, over two turns: what it adds in the first it takes away in the second.
        """
        own = self._tools[what.bit].runout
        constant = self._force(what, replace(own, loose=extra, towards=towards), turns=1)
        rocking = self._force(what, replace(own, loose=extra, towards=towards, half=1.0), turns=2)
        return constant, TurnForce(_odd(rocking.plane), _odd(rocking.torque))

    def _force(self, what: Condition, runout: Runout, turns: int) -> TurnForce:
        tool = self._tools[what.bit]
        at = self._teeth[turns, tool.flutes]
        feed = np.full(tool.flutes, math.exp(what.feed / FEED_STEPS) / 1000.0)
        if what.entry < 0:
            force = plunge_force(at, feed, runout, self._wood, radius=tool.diameter / 2)
        else:
            step = math.pi / ANGLE_STEPS
            entry, leave = what.entry * step, what.leave * step
            force = side_force(at, feed, runout, self._wood, (entry, leave))
        return smooth(force, turns, lag=what.lag / LAG_STEPS, highest=self._highest)


def _odd(values: NDArray[Any]) -> NDArray[Any]:
    """Return the part that changes its sign from one turn to the next."""
    return np.asarray((values - np.roll(values, len(values) // 2)) / 2)


def rows(conditions: NDArray[np.int64]) -> tuple[list[Condition], NDArray[np.intp]]:
    """Return the different conditions among (n, 5) rounded ones, and which one each row is."""
    key = conditions @ np.array([1 << 40, 1 << 28, 1 << 18, 1 << 8, 1])
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    found = [Condition(*(int(value) for value in conditions[i])) for i in first]
    return found, which.reshape(-1)
