"""
The force of a milling bit over its turn, tooth by tooth, from chip thickness.

Angles are those of the trade's drawings of a bit that turns clockwise seen from above: a tooth is at angle
0 on the left of the direction of feed, at a quarter turn straight ahead and at half a turn on the right.
In a full slot a tooth is in the material from 0 to pi; material on the right only is climb milling (the
chip begins thick), on the left only conventional milling (the chip begins thin). The chip is ``feed per
tooth x sin(angle)`` thick. A tooth that stands further out than the one before it cuts more by the
difference; one that stands further in cuts less, and where it does not reach the material at all the next
tooth cuts what was left. From that alone, runout puts force at the spindle's frequency and at its multiples
between the tooth-pass frequencies.

Force is proportional to chip section, plus a part for the edge that rubs (common practice in machining
dynamics). The numbers for wood are rough, and only their ratios matter here: the gain of the recording is
set by its loudest cut.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

HELIX = math.radians(25.0)
SLOT = (0.0, math.pi)  # a full slot's angles of engagement


@dataclass(frozen=True)
class Wood:
    """
    How hard the material is to cut.

    Attributes
    ----------
    tangential
        Force along the edge's path for each mm² of chip section, N/mm².
    edge
        Force along the edge's path for each mm of rubbing edge, N/mm.
    radial
        Force towards the bit's axis, as a share of the tangential one.
    grain
        By what share the force differs along and across the fibres; seen by a plunging bit only, since
        the veneers of plywood cross each other.
    """

    tangential: float = 28.0
    edge: float = 0.4
    radial: float = 0.45
    grain: float = 0.2


@dataclass(frozen=True)
class Runout:
    """
    How far each tooth stands out, mm.

    Attributes
    ----------
    eccentricity, direction
        Of the bit's axis from the spindle's axis, mm, and towards which angle of the bit, rad.
    loose, towards
        The same for what a loose collet adds.
    half
        How much larger ``loose`` is in one turn and smaller in the next, as a share: a loose part that
        rocks repeats every second turn.
    short
        By how much the first tooth stands further in, because a piece of it is gone, mm.
    """

    eccentricity: float = 0.0
    direction: float = 0.0
    loose: float = 0.0
    towards: float = 0.0
    half: float = 0.0
    short: float = 0.0

    def radius(self, tooth: int, flutes: int, rock: Floats) -> Floats | float:
        """
        Return how far a tooth stands out, mm.

        ``rock`` (points,) is 1 in the middle of one turn and -1 in the middle of the next.
        """
        where = 2.0 * math.pi * tooth / flutes
        held = self.eccentricity * math.cos(where - self.direction)
        if tooth == 0:
            held -= self.short
        loose = self.loose * math.cos(where - self.towards)
        if self.half == 0.0:
            return held + loose
        return held + loose * (1.0 + self.half * rock)


@dataclass(frozen=True, eq=False)
class Teeth:
    """
    Where the teeth are at each moment.

    Attributes
    ----------
    turn
        (points,) moments, in turns of the spindle.
    angle, sin, cos
        (flutes, points) angle of each tooth, rad in [0, 2 pi), with its sine and cosine.
    rock
        (2 flutes + 1, points) the rhythm of every second turn, now, one tooth earlier, two teeth earlier ...
    """

    turn: Floats
    angle: Floats
    sin: Floats
    cos: Floats
    rock: Floats

    @property
    def flutes(self) -> int:
        """How many teeth there are."""
        return len(self.angle)


def teeth(turn: Floats, flutes: int) -> Teeth:
    """Return where the teeth of an evenly spaced bit are."""
    lead = np.arange(flutes)[:, None] / flutes
    angle = 2.0 * math.pi * np.mod(turn[None, :] - lead, 1.0)
    earlier = turn[None, :] - np.arange(2 * flutes + 1)[:, None] / flutes
    return Teeth(turn, angle, np.sin(angle), np.cos(angle), np.cos(math.pi * earlier))


def side_chips(at: Teeth, feed: Floats, runout: Runout) -> Floats:
    """
    Return the chip thickness that each tooth would cut in a full slot.

    Parameters
    ----------
    at
        Where the teeth are.
    feed
        (flutes,) mm that the bit moves ahead from the tooth before to this one; all the same unless the
        teeth are spaced unevenly.
    runout
        How far each tooth stands out.

    Returns
    -------
    (flutes, points) mm, not negative. A tooth cuts down to where the lowest of the teeth before it
    (over one turn, or two if turns differ) has left the material.
    """
    return _lowest(at, feed, runout, at.sin)


def plunge_chips(at: Teeth, feed: Floats, runout: Runout) -> Floats:
    """
    Return the thickness, mm, shape (flutes, points), that each edge cuts downwards in a plunge.

    ``feed`` is (flutes,) mm downwards from edge to edge. An eccentric bit is tilted: half of what a tooth
    stands out sideways is taken as what its edge stands out downwards.
    """
    tilted = replace(runout, eccentricity=runout.eccentricity / 2, loose=runout.loose / 2)
    return _lowest(at, feed, tilted, np.ones_like(at.sin))


def _lowest(at: Teeth, feed: Floats, runout: Runout, share: Floats) -> Floats:
    flutes, turns = at.flutes, 1 if runout.half == 0.0 else 2
    chips = np.full(share.shape, np.inf)
    for tooth in range(flutes):
        mine, advance = runout.radius(tooth, flutes, at.rock[0]), 0.0
        for back in range(1, turns * flutes + 1):
            advance += float(feed[(tooth - back + 1) % flutes])
            theirs = runout.radius((tooth - back) % flutes, flutes, at.rock[back])
            np.minimum(chips[tooth], advance * share[tooth] + (mine - theirs), out=chips[tooth])
    return np.asarray(np.maximum(chips, 0.0))


def window(angle: Floats, entry: float, leave: float, *, step: float) -> Floats:
    """Return 1 where a tooth is between ``entry`` and ``leave``, rad, else 0; edges ``step`` rad wide."""
    inwards = np.clip((angle - entry) / step + 0.5, 0.0, 1.0)
    # Just before 2 pi a tooth is about to come in at 0.
    inwards = np.maximum(inwards, np.clip((angle - 2.0 * math.pi - entry) / step + 0.5, 0.0, 1.0))
    return np.asarray(inwards * np.clip((leave - angle) / step + 0.5, 0.0, 1.0))


@dataclass(frozen=True, eq=False)
class TurnForce:
    """
    Force on the bit over one turn or two.

    Attributes
    ----------
    plane
        (points,) N on the bit; real part along the feed, imaginary part to its left.
    torque
        (points,) N, the sum of the teeth's forces along their paths.
    """

    plane: Complexes
    torque: Floats


@dataclass(frozen=True, eq=False)
class Edges:
    """
    The directions in which teeth push, worked out once for all that they meet.

    Attributes
    ----------
    wood
        What they cut.
    ahead, left
        (flutes, points) for each N along a tooth's path, N backwards along the feed and N to its left.
    """

    wood: Wood
    ahead: Floats
    left: Floats

    def side(self, chips: Floats, inside: Floats) -> TurnForce:
        """Return the force for each mm of depth of teeth with these ``chips``, mm, where they are inside."""
        return self.total(inside * (self.wood.tangential * chips + self.wood.edge * (chips > 0.0)))

    def down(self, chips: Floats, cos: Floats, radius: float) -> TurnForce:
        """Return the force of a bit of ``radius`` mm that goes straight down; ``cos`` is its teeth's."""
        across = 1.0 + self.wood.grain * (2.0 * cos**2 - 1.0)
        return self.total(radius * across * (self.wood.tangential * chips + self.wood.edge * (chips > 0.0)))

    def total(self, along: Floats) -> TurnForce:
        """Add the teeth up: ``along`` (flutes, points) N is each tooth's force along its path."""
        ahead = -(along * self.ahead).sum(axis=0)
        left = (along * self.left).sum(axis=0)
        return TurnForce(ahead + 1j * left, along.sum(axis=0))


def edges(at: Teeth, wood: Wood) -> Edges:
    """Return the directions in which teeth push that cut ``wood``."""
    return Edges(wood, at.cos + wood.radial * at.sin, at.sin - wood.radial * at.cos)


def inside(at: Teeth, between: tuple[float, float]) -> Floats:
    """Return (flutes, points) 1 where a tooth is ``between`` two angles, rad, else 0; edges a point wide."""
    return window(at.angle, *between, step=2.0 * math.pi * float(at.turn[1] - at.turn[0]))


def side_force(
    at: Teeth, feed: Floats, runout: Runout, wood: Wood, between: tuple[float, float] = SLOT
) -> TurnForce:
    """Return the force for each mm of depth of teeth that are in the material ``between`` two angles, rad."""
    return edges(at, wood).side(side_chips(at, feed, runout), inside(at, between))


def helix_lag(depth: float, diameter: float) -> float:
    """Return by what angle, rad, an edge's upper end comes later than its lower end."""
    return 2.0 * depth * math.tan(HELIX) / diameter


def helix_weight(points: int, turns: int, *, lag: float, highest: float) -> Floats:
    """
    Return what the helix leaves of each multiple of ``1 / turns`` of a turn, cut off above an order.

    Parameters
    ----------
    points, turns
        How many points over how many whole turns.
    lag
        Angle, rad, over which the edge enters; the mean over it multiplies order n by
        ``sin(n lag / 2) / (n lag / 2)``.
    highest
        Highest order kept; order 1 is once a turn.

    Returns
    -------
    (points,) in the order of ``numpy.fft.fft``.
    """
    order = np.fft.fftfreq(points, turns / points)
    return np.asarray(np.sinc(order * lag / (2.0 * math.pi)) * (np.abs(order) <= highest))


def weigh(plane: Complexes, torque: Floats, weight: Floats) -> tuple[Complexes, Floats]:
    """Return forces, shape (..., points), whose orders are multiplied by ``weight`` of the same shape."""
    points = torque.shape[-1]
    softer = np.fft.ifft(np.fft.fft(plane) * weight)
    return softer, np.fft.irfft(np.fft.rfft(torque) * weight[..., : points // 2 + 1], points)


def smooth(force: TurnForce, turns: int, *, lag: float, highest: float) -> TurnForce:
    """Spread a force over the helix and cut it off above an order; see ``helix_weight``."""
    weight = helix_weight(len(force.torque), turns, lag=lag, highest=highest)
    return TurnForce(*weigh(force.plane, force.torque, weight))


def line(values: Floats, order: float, turns: int = 1) -> float:
    """Return the amplitude of the ``order``-th multiple of the spindle's frequency, of ``turns`` turns."""
    count = round(order * turns)
    return float(2.0 * np.abs(np.fft.rfft(values)[count]) / len(values))
