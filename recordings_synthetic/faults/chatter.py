"""
Chatter: vibration that feeds itself.

A tooth cuts a wall that the tooth before it has left wavy. When both waves are out of step the chip's
thickness varies, so does the force, and the vibration grows; from a limiting depth on it grows without end,
until teeth leave the wood. How many waves there are from tooth to tooth is ``N + e / 2 pi`` (Schmitz & Smith,
Machining Dynamics, eq. 6.1.2): never a whole number, so that the chatter's frequency lies off the tooth-pass
multiples. Because the force comes only while a tooth is in the wood, the sound has that frequency plus whole
multiples of tooth-pass, and of the spindle's frequency when the teeth differ (Dombovari, Zatarain &
Insperger 2010).

What rings is one mode of the bit and its spindle, along the feed. Its response gives
``e = 2 pi - 2 atan(Re / Im)``, and the limiting depth is in proportion to ``-1 / Re`` (from memory, for one
mode and a mean direction of cutting). The mode's frequency, how fast and how far it grows are invented.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from analysis.events import Cause
from recordings_synthetic.chance import stream, wander
from recordings_synthetic.faults.fault import Fault, Setting
from recordings_synthetic.faults.trouble import Swing, Trouble, well

Floats = NDArray[np.float64]

MODES = (700.0, 2600.0)  # Hz, between which the mode's frequency is drawn
DAMPING = 0.04  # of that mode, as a share of the critical one
GROWTH = 0.03  # s in which it grows by a factor e, at twice the limiting depth
FAINT = 0.02  # where it begins and where it dies away to, as a share of the feed per tooth
SLOW = 1.0  # mm/s, slower than which nothing is cut sideways
FASTEST = 2.0  # depth beyond twice and thrice the limit lets it grow no faster


def waves(ratio: float, damping: float) -> float:
    """
    Return ``e / 2 pi``, the fraction of a wave from tooth to tooth, of chatter at ``ratio`` times the mode.

    It lies between a half and 1 above the mode's frequency, where chatter is possible.
    """
    real, imaginary = _response(ratio, damping)
    return 1.0 - math.atan(real / imaginary) / math.pi


def _response(ratio: float, damping: float) -> tuple[float, float]:
    """Return real and imaginary part of the mode's response, relative to its stiffness."""
    away, lost = 1.0 - ratio**2, 2.0 * damping * ratio
    size = away**2 + lost**2
    return away / size, -lost / size


def frequency(tooth_pass: float, mode: float, damping: float = DAMPING) -> float:
    """
    Return the frequency of chatter, Hz, at the least limiting depth.

    Parameters
    ----------
    tooth_pass
        Hz.
    mode
        Natural frequency of what rings, Hz.
    damping
        Its damping, as a share of the critical one.

    Returns
    -------
    The solution of ``f / tooth_pass = N + e(f) / 2 pi`` whose response's real part is the most negative, over
    all whole numbers of waves N.
    """

    def miss(ratio: float, whole: int) -> float:
        return ratio * mode / tooth_pass - waves(ratio, damping) - whole

    least = max(0, math.ceil(mode / tooth_pass - 1.0 + 1e-9))
    found = [_where(partial(miss, whole=whole)) for whole in (least, least + 1)]
    return mode * float(min(found, key=lambda ratio: _response(ratio, damping)[0]))


def _where(miss: Callable[[float], float]) -> float:
    """Return the ratio above 1 at which something that grows is 0, by halving."""
    low, high = 1.0 + 1e-12, 1e3
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (low, middle) if miss(middle) > 0.0 else (middle, high)
    return low


@dataclass(frozen=True)
class Chatter(Fault):
    """
    Vibration that feeds itself where the cut is deep enough.

    Attributes
    ----------
    at_line, at
        See ``Fault``; the sound changes where the bit next cuts sideways, deeper than the limit.
    limit
        The limiting depth from then on, as a share of the greatest depth in the second after it.
    size
        How large it becomes, as a share of the feed per tooth: above 1 teeth leave the wood in each wave.
    mode
        Natural frequency of what rings, Hz; drawn from the seed when ``None``.
    """

    cause: ClassVar[Cause] = "chatter"

    limit: float = 0.6
    size: float = 3.0
    mode: float | None = None

    def unfold(self, setting: Setting) -> Trouble:
        """Return the vibration, where it grows and where it dies away."""
        rng = stream(setting.seed, "chatter")
        drawn = math.exp(rng.uniform(*np.log(MODES)))
        first = setting.first_tick(setting.across > SLOW, f"{self}: nothing is cut sideways")
        tooth_pass = float(setting.speed[first] * setting.flutes[first])
        tone = frequency(tooth_pass, self.mode or drawn)
        unsteady = 1.0 + 0.002 * wander(rng, setting.count, setting.step, memory=0.3)
        size = self._grow(setting, first)
        swing = Swing(size, np.cumsum(tone * unsteady) * setting.step)
        grown = np.minimum(np.maximum.accumulate(size) / self.size, 1.0) * (size > 0.0)
        return replace(well(setting.count), grown=grown, swing=swing)

    def _grow(self, setting: Setting, first: int) -> Floats:
        """Return (n,) how large the vibration is; nothing up to where the cut is first deep enough."""
        deep = setting.depth * (setting.cutting & (setting.across > SLOW))
        soon = deep[first : setting.spell.last]
        limit = self.limit * float(soon[soon > 0.0][: max(2, round(1.0 / setting.step))].max())
        pushes = np.clip(deep / limit - 1.0, -1.0, FASTEST) * (setting.step / GROWTH)
        first += int(np.argmax(soon > limit))
        now, least, most = math.log(FAINT), math.log(FAINT), math.log(self.size)
        sizes = []
        for push in pushes[first + 1 : setting.spell.last].tolist():
            now = min(max(now + push, least), most)
            sizes.append(now)
        size = np.zeros(setting.count)
        size[first + 1 : setting.spell.last] = np.exp(sizes)
        return size
