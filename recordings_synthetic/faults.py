"""
What goes wrong: a bit that slips in its collet.

What a slip sounds like is a HYPOTHESIS. No published spectrum, sound or measurement of a bit slipping in a
router's collet was found. What is modelled follows from the mechanics, and from what is published of loose
rotating parts (Mobley, An Introduction to Predictive Maintenance, 14.1.3: multiples and half multiples of
the running speed, the half ones about half as large):

- the bit's axis moves off the spindle's axis, over some tenths of a second, and rattles there: one tooth
  cuts more than the other, which puts force at the spindle's frequency and between the tooth-pass
  frequencies, and modulates the noise of the cut once a turn;
- it rocks, so that every second turn differs: half multiples, in the force of two flutes about a third of
  what the slip adds to the full ones;
- it is pulled out of the collet: the cut gets deeper and louder.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import stream, wander

Floats = NDArray[np.float64]

ECCENTRICITY = 0.045  # mm, at severity 1
PULL_OUT = 2.0  # mm, in the end, at severity 1
PULL_TIME = 4.0  # s, time constant of pulling out
ROCKING = 0.8  # eccentricity differs by about this share from turn to turn, and never by more than all of it


@dataclass(frozen=True)
class Slip:
    """
    A bit that comes loose.

    Attributes
    ----------
    at_line, at
        From when on: from where that line of the file (counted from 1) is first cut, or from a time in the
        recording, s. Give one. The sound changes from the first cutting after that.
    severity
        1 moves the bit off its axis by ``ECCENTRICITY`` mm and pulls it out by ``PULL_OUT`` mm; .5 is
        moderate, .15 is slight.
    rise
        Seconds until the bit has moved off its axis.
    """

    at_line: int | None = None
    at: float | None = None
    severity: float = 0.5
    rise: float = 0.4

    def __post_init__(self) -> None:
        """Refuse a slip that has no beginning, or two."""
        if (self.at_line is None) == (self.at is None):
            raise ValueError(f"at_line={self.at_line} and at={self.at}: give one of them")


@dataclass(frozen=True, eq=False)
class Looseness:
    """
    How loose the bit is at each of n moments.

    Attributes
    ----------
    eccentricity
        (n,) mm that the bit's axis is off by, beyond its ordinary runout.
    rocking
        (n,) by what share ``eccentricity`` differs from one turn to the next.
    pulled
        (n,) mm that the bit hangs lower.
    towards
        rad, where on the bit the eccentricity points.
    """

    eccentricity: Floats
    rocking: Floats
    pulled: Floats
    towards: float


def tight(count: int) -> Looseness:
    """Return a bit that is held."""
    nothing = np.zeros(count)
    return Looseness(nothing, nothing, nothing, 0.0)


@dataclass(frozen=True)
class Spell:
    """How long a bit is loose: from the last tick at which all is well to the first at which it is out."""

    first: int
    last: int


def loosen(slip: Slip, spell: Spell, count: int, step: float, seed: int) -> Looseness:
    """
    Return how loose a bit is.

    Parameters
    ----------
    slip
        How badly and how fast.
    spell
        From when to when.
    count, step
        How many ticks there are, and seconds from one to the next.
    seed
        The recording's; the slip's chance is a stream of its own.
    """
    rng = stream(seed, "slip")
    towards = float(rng.uniform(-math.pi / 4, math.pi / 4))
    rattle = np.exp(0.18 * wander(rng, count, step, memory=0.08))
    rocking = np.clip(ROCKING + 0.35 * wander(rng, count, step, memory=0.5), -1.0, 1.0)
    since = np.maximum(np.arange(count) - spell.first, 0) * step
    since[spell.last :] = 0.0
    loose = since > 0.0
    size = slip.severity * ECCENTRICITY * np.minimum(since / max(slip.rise, step), 1.0)
    pulled = slip.severity * PULL_OUT * -np.expm1(-since / PULL_TIME)
    return Looseness(size * rattle, np.where(loose, rocking, 0.0), pulled, towards)
