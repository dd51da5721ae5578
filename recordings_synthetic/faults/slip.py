"""
A bit that slips in its collet.

What a slip sounds like is a HYPOTHESIS. No published spectrum, sound or measurement of a bit slipping in a
router's collet was found. What is modelled follows from the mechanics, and from what is published of loose
rotating parts (Mobley, An Introduction to Predictive Maintenance, 14.1.3: multiples and half multiples of
the running speed, the half ones about half as large):

- the bit's axis moves off the spindle's axis, over some tenths of a second, and rattles there: one tooth
  cuts more than the other, which puts force at the spindle's frequency and between the tooth-pass
  frequencies, and modulates the noise of the cut once a turn;
- it rocks, so that every second turn differs: half multiples, in the force of two flutes about a third of
  what the slip adds to the full ones;
- it is pulled out of the collet: the cut gets deeper and louder. It never goes back in by itself;
- out of true it is out of balance as well (``balance``): 10 g whose middle is off by .02 mm pull once a turn
  with .7 N at 18 000 rpm, in the air as in the cut, where the edges' own forces are mostly larger.

A bit with a single flute cuts in each turn what it left itself: being out of true does not show in its
cutting force, and only balance, rocking and pulling out do.
"""

import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from analysis.events import Cause
from recordings_synthetic.chance import stream, wander
from recordings_synthetic.faults.fault import Fault, Setting, Spell, seconds_since
from recordings_synthetic.faults.trouble import Looseness, Trouble, well

Floats = NDArray[np.float64]

ECCENTRICITY = 0.045  # mm, at severity 1
PULL_OUT = 2.0  # mm, in the end, at severity 1
PULL_TIME = 4.0  # s, time constant of pulling out
ROCKING = 0.8  # eccentricity differs by about this share from turn to turn, and never by more than all of it


@dataclass(frozen=True)
class Slip(Fault):
    """
    A bit that comes loose.

    One that slips while it is in the air, or before the spindle starts, has its onset where it next cuts:
    it is the force of the cut that moves it off its axis.

    Attributes
    ----------
    at_line, at
        See ``Fault``.
    severity
        1 moves the bit off its axis by ``ECCENTRICITY`` mm and pulls it out by ``pull_out`` mm; .5 is
        moderate, .15 is slight.
    rise
        Seconds until the bit has moved off its axis.
    pull_time
        Time constant of pulling out, s.
    pull_out
        mm that it is pulled out by in the end, at severity 1.
    rocking
        How much it rocks, of what is likely: 0 for a bit that only runs out of true.
    holds
        ``None`` when the bit stays loose; else for how many seconds it slips and for how many the collet
        holds it again, on average, in turn.
    """

    cause: ClassVar[Cause] = "loose"

    severity: float = 0.5
    rise: float = 0.4
    pull_time: float = PULL_TIME
    pull_out: float = PULL_OUT
    rocking: float = 1.0
    holds: tuple[float, float] | None = None

    @classmethod
    def creeping(
        cls, over: float, *, at_line: int | None = None, at: float | None = None, severity: float = 0.5
    ) -> Self:
        """Return a slip that grows ``over`` so many seconds: tens for a pass, hundreds for several parts."""
        # Half of the way out is done when half of the way aside is.
        half = over / 2.0
        return cls(at_line, at, severity=severity, rise=over, pull_time=half / math.log(2.0))

    @classmethod
    def intermittent(
        cls,
        loose: float,
        held: float,
        *,
        at_line: int | None = None,
        at: float | None = None,
        severity: float = 0.5,
    ) -> Self:
        """Return a slip of about ``loose`` seconds, again and again, with about ``held`` seconds between."""
        return cls(at_line, at, severity=severity, rise=0.15, holds=(loose, held))

    @classmethod
    def subtle(cls, *, at_line: int | None = None, at: float | None = None, severity: float = 0.35) -> Self:
        """Return a slip that moves the bit aside and hardly pulls it out: its level hardly changes."""
        return cls(at_line, at, severity=severity, pull_out=0.15)

    @classmethod
    def from_the_start(cls, *, severity: float = 0.5) -> Self:
        """Return a bit that was never tight: from the first cut on it is off its axis."""
        return cls(at=0.0, severity=severity, rise=0.0)

    def unfold(self, setting: Setting) -> Trouble:
        """Return how loose the bit is."""
        loose = loosen(self, setting.spell, setting.count, setting.step, setting.seed)
        grown = np.minimum(setting.since / max(self.rise, setting.step), 1.0)
        return replace(well(setting.count), loose=loose, lower=loose.pulled, grown=grown)


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
    rocking = np.clip(slip.rocking * (ROCKING + 0.35 * wander(rng, count, step, memory=0.5)), -1.0, 1.0)
    since = seconds_since(spell, count, step)
    size = slip.severity * ECCENTRICITY * np.minimum(since / max(slip.rise, step), 1.0)
    slipped = since
    if slip.holds is not None:
        free = _free(slip, spell, count, step, seed)
        size = size * free
        slipped = np.where(since > 0.0, np.cumsum(np.where(since > 0.0, free, 0.0)) * step, 0.0)
    pulled = slip.severity * slip.pull_out * -np.expm1(-slipped / slip.pull_time)
    return Looseness(size * rattle, np.where(size > 0.0, rocking, 0.0), pulled, towards)


def _free(slip: Slip, spell: Spell, count: int, step: float, seed: int) -> Floats:
    """Return (count,) how free the collet lets the bit be, 0 to 1: slipping first, then held, and so on."""
    rng, free = stream(seed, "collet grips"), np.zeros(count)
    begin, means = spell.first, slip.holds or (1.0, 1.0)
    while begin < spell.last:
        loose, held = (max(1, round(mean * rng.uniform(0.6, 1.4) / step)) for mean in means)
        free[begin : min(begin + loose, spell.last)] = 1.0
        begin += loose + held
    ticks = max(1, round(slip.rise / step))
    return np.convolve(free, np.full(ticks, 1.0 / ticks))[:count]
