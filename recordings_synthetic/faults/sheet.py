"""
A sheet that comes loose from the table.

It gives way and is caught again, so that the cut is now deeper and now shallower than it should be, and it
beats on the table: blows, low and irregular, tied to nothing that turns. The lines of the spindle come and go
with the level, and stay what they are to each other. All of it is a HYPOTHESIS.
"""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from analysis.events import Cause
from recordings_synthetic.chance import stream
from recordings_synthetic.faults.fault import Fault, Setting
from recordings_synthetic.faults.trouble import Trouble, silence, well

Floats = NDArray[np.float64]

GIVES = 0.8  # depth changes by about this share of a factor e, up and down, at severity 1
STAYS = 0.3  # s, on average, from one change to the next
SOFT = 0.02  # s that a change takes
BEATS = (22.0, 45.0)  # a second
BLOW = 0.007  # s
FORCE = 60.0  # N, of a blow, at severity 1


@dataclass(frozen=True)
class LooseSheet(Fault):
    """
    A sheet, or a part of it, that is no longer held down.

    Attributes
    ----------
    at_line, at
        See ``Fault``.
    severity
        How much it gives way, and how hard it beats.
    """

    cause: ClassVar[Cause] = "unknown"
    with_bit: ClassVar[bool] = False

    severity: float = 0.5

    def unfold(self, setting: Setting) -> Trouble:
        """Return a cut of changing depth, and blows."""
        loose = setting.since > 0.0
        rng = stream(setting.seed, "sheet")
        grip = np.where(loose, np.exp(self.severity * GIVES * _jumps(setting, rng)), 1.0)
        thumps = self.severity * FORCE * _blows(setting, rng) * (loose & setting.cutting)
        noise = replace(silence(setting.count), thumps=thumps)
        return replace(well(setting.count), grown=np.where(loose, 1.0, 0.0), grip=grip, noise=noise)


def _jumps(setting: Setting, rng: np.random.Generator) -> Floats:
    """Return (n,) a curve of standard deviation near 1 that stays and jumps."""
    changes = rng.uniform(size=setting.count) < setting.step / STAYS
    values = rng.uniform(-1.7, 1.7, size=setting.count)
    stays = values[np.maximum.accumulate(np.where(changes, np.arange(setting.count), 0))]
    ticks = max(1, round(SOFT / setting.step))
    return np.convolve(stays, np.full(ticks, 1.0 / ticks))[: setting.count]


def _blows(setting: Setting, rng: np.random.Generator) -> Floats:
    """Return (n,) half waves of a sine, of irregular height, at an irregular distance."""
    length = max(2, round(BLOW / setting.step))
    when = np.cumsum(1.0 / rng.uniform(*BEATS, size=int(setting.count * setting.step * BEATS[1]) + 2))
    blows = np.zeros(setting.count)
    at = np.rint(when / setting.step).astype(np.intp)
    at = at[at < setting.count]
    blows[at] = rng.uniform(0.2, 1.0, size=len(at))
    return np.convolve(blows, np.sin(np.pi * (np.arange(length) + 0.5) / length))[: setting.count]
