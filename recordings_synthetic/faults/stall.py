"""
An axis that stops while the spindle turns.

The feed is gone: the chips become as thin as nothing, and only the tooth that stands out furthest still rubs,
once a turn, on the wall in front of it. A stepping motor that cannot follow falls back by four full steps
again and again (one period of its two windings; common practice), so it groans at a quarter of the rate of
steps and at the multiples of that. How loud it groans, and over which share of the depth the bit rubs, are a
HYPOTHESIS.

The control does not know: the other axes go on, and the bit cuts where it should not.
"""

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from analysis.events import Cause
from recordings_synthetic.faults.fault import Fault, Setting
from recordings_synthetic.faults.trouble import Noise, Trouble, silence, well

Floats = NDArray[np.float64]

RUB = 0.4
GROAN = 1.2  # N
PERIOD = 4.0  # full steps
CRAWL = 0.5  # mm/s, slower than which an axis is not said to move
AUDIBLE = 300.0  # steps/s from which on it groans at its full loudness


@dataclass(frozen=True)
class StalledAxis(Fault):
    """
    An axis that stops and does not come back.

    Attributes
    ----------
    at_line, at
        See ``Fault``; the sound changes where the axis should next move in a cut.
    axis
        ``x`` or ``y``, whose motor groans; ``all`` when the feed itself stops, and nothing groans; ``None``
        for the one of both that moves faster then.
    """

    cause: ClassVar[Cause] = "stalled"
    with_bit: ClassVar[bool] = False

    axis: Literal["x", "y", "all"] | None = None

    def unfold(self, setting: Setting) -> Trouble:
        """Return an axis that stands, from where it should next move while something is cut."""
        stays = self._axes(setting)
        told = np.abs(setting.velocity) @ stays
        # Up to the tick after the first it moves as it should, and there it stands.
        stands = setting.first_tick(told > CRAWL, f"{self}: no such axis moves in a cut") + 1
        gone = np.where(np.arange(setting.count) > stands, 1.0, 0.0)
        offset = (setting.position[stands] - setting.position) * np.outer(gone, stays)
        return replace(
            well(setting.count),
            grown=np.where(np.arange(setting.count) >= stands, 1.0, 0.0),
            offset=offset,
            whine=1.0 - np.outer(gone, stays),
            rub=RUB * gone * (told > CRAWL),
            noise=silence(setting.count) if self.axis == "all" else _groan(setting, stays, gone),
        )

    def _axes(self, setting: Setting) -> Floats:
        """Return (3,) 1 for each axis that stands, else 0."""
        if self.axis == "all":
            return np.ones(3)
        if self.axis is not None:
            return np.asarray(np.eye(3)["xy".index(self.axis)])
        moving = setting.first_tick(setting.across > CRAWL, f"{self}: nothing is cut sideways")
        return np.asarray(np.eye(3)[int(np.argmax(np.abs(setting.velocity[moving, :2])))])


def _groan(setting: Setting, stays: Floats, gone: Floats) -> Noise:
    made = setting.position @ (stays * setting.steps)
    rate = np.abs(setting.velocity) @ (stays * setting.steps)
    loud = GROAN * np.minimum(rate / AUDIBLE, 1.0) * gone
    return replace(silence(setting.count), groan=loud, groans=made / PERIOD)
