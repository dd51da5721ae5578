"""
A spindle that stops while the axes move.

While it slows down each tooth takes a thicker chip, so the force rises as the frequencies fall; then the bit
is dragged through the wood without turning. The first follows from the feed per tooth; how a bit sounds that
is dragged through plywood, as noise in proportion to the section that it crushes, is a HYPOTHESIS.
"""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from analysis.events import Cause
from recordings_synthetic.chance import stream, wander
from recordings_synthetic.faults.fault import Fault, Setting
from recordings_synthetic.faults.trouble import Trouble, silence, well

Floats = NDArray[np.float64]

CRUSHING = 0.4  # N of noise for each mm² of the bit's section that is dragged through the wood
CRAWL = 1.0  # mm/s from which on it is dragged with its full noise


@dataclass(frozen=True)
class StoppedSpindle(Fault):
    """
    A spindle that loses its speed and does not come back.

    Attributes
    ----------
    at_line, at
        See ``Fault``.
    within
        Seconds until its speed is what it becomes.
    to
        What it becomes, as a share of its speed: 0 stands.
    """

    cause: ClassVar[Cause] = "spindle"
    with_bit: ClassVar[bool] = False

    within: float = 0.8
    to: float = 0.0

    def unfold(self, setting: Setting) -> Trouble:
        """Return a spindle that slows down, and the noise of a bit that is dragged."""
        grown = np.minimum(setting.since / max(self.within, setting.step), 1.0)
        speed = 1.0 - (1.0 - self.to) * grown
        noise = replace(silence(setting.count), bursts=_dragged(setting, speed))
        return replace(well(setting.count), grown=grown, speed=speed, noise=noise)


def _dragged(setting: Setting, speed: Floats) -> Floats:
    """Return (n,) N of noise where a bit moves on in the wood without turning."""
    moving = np.minimum(setting.across / CRAWL, 1.0) * setting.cutting
    rng = stream(setting.seed, "dragging")
    creaks = np.exp(0.6 * wander(rng, setting.count, setting.step, memory=0.02))
    return np.where(speed > 0.0, 0.0, CRUSHING * setting.depth * setting.diameter * moving * creaks)
