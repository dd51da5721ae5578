"""
What happens to a cut though nothing is wrong: knots in the wood, squeaks in the corners.

Both are made of what the simulator makes faults of, and neither is one.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import spells, stream
from recordings_synthetic.faults import Fault, Setting, Trouble, well
from recordings_synthetic.faults.trouble import Swing

Floats = NDArray[np.float64]

SOFT = 0.04  # s that a knot takes to begin and to end
SLOW = 0.6  # of the fastest feed: slower than that it is a corner
SHORT, LONG = 0.08, 0.3  # s that a squeak lasts


@dataclass(frozen=True)
class Knots(Fault):
    """
    Hard places in the wood: the force rises, and falls again.

    Attributes
    ----------
    at_line, at
        See ``Fault``.
    harder
        By what factor, at the most.
    """

    with_bit = False
    harder: float = 2.0

    def unfold(self, setting: Setting) -> Trouble:
        """Return a cut that is harder for some tenths of a second, every few seconds."""
        rng = stream(setting.seed, "knots")
        grip = np.ones(setting.count)
        for begin, end in spells(rng, setting.count * setting.step, (0.2, 0.8), (1.5, 8.0)):
            part = slice(round(begin / setting.step), round(end / setting.step))
            grip[part] = rng.uniform(1.2, self.harder)
        ticks = max(1, round(SOFT / setting.step))
        grip = np.convolve(grip - 1.0, np.full(ticks, 1.0 / ticks))[: setting.count]
        inside = setting.since > 0.0
        return replace(well(setting.count), grown=np.where(inside, 1.0, 0.0), grip=1.0 + grip * inside)


@dataclass(frozen=True)
class Squeaks(Fault):
    """
    The bit squeaks in corners, where the feed is slow and it rubs.

    Attributes
    ----------
    at_line, at
        See ``Fault``.
    often
        In which share of the corners.
    """

    with_bit = False
    often: float = 0.7

    def unfold(self, setting: Setting) -> Trouble:
        """Return a short vibration in corners, at a frequency of several kilohertz."""
        rng = stream(setting.seed, "squeaks")
        cuts = setting.cutting & (setting.since > 0.0)
        slow = cuts & (setting.across < SLOW * float(setting.across[cuts].max())) & (setting.across > 0.0)
        size = np.zeros(setting.count)
        for first in np.flatnonzero(np.diff(slow.astype(np.int8)) == 1).tolist():
            if rng.random() < self.often:
                size[first : first + round(rng.uniform(SHORT, LONG) / setting.step)] = rng.uniform(0.3, 1.2)
        tone = rng.uniform(1500.0, 4000.0)
        swing = Swing(
            np.where(cuts, size, 0.0), np.arange(setting.count, dtype=np.float64) * (tone * setting.step)
        )
        return replace(well(setting.count), grown=np.where(cuts, 1.0, 0.0), swing=swing)
