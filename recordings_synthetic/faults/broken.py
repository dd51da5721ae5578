"""
A bit that breaks off, and a flute that chips.

A broken bit no longer reaches the wood: the force is gone, with its tooth-pass, and the spindle goes on. That
is mechanics. That it breaks with a crack, as loud as it is here and for some milliseconds, is a HYPOTHESIS.

A tooth that has lost a piece of its edge cuts nothing along that piece, and the tooth after it cuts what was
left: with two flutes all of it once a turn, which is a strong line at the spindle's frequency. With a single
flute nobody cuts what was left, the cut becomes shallower there, and no line is added.
"""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from analysis.events import Cause
from recordings_synthetic.faults.fault import Fault, Setting
from recordings_synthetic.faults.trouble import Noise, Trouble, silence, well

CRACK = 80.0  # N
FADES = 0.003  # s
BLOW = 0.006  # s


def crack(setting: Setting, size: float) -> Noise:
    """Return the crack of something that breaks just after the spell's first tick, of ``size`` N."""
    since = setting.since
    breaking = since > 0.0
    bursts = np.where(breaking & (since < 10.0 * FADES), size * np.exp(-since / FADES), 0.0)
    blow = np.sin(np.pi * np.minimum(since / BLOW, 1.0))
    return replace(silence(setting.count), bursts=bursts, thumps=np.where(breaking, size * blow, 0.0))


@dataclass(frozen=True)
class BrokenBit(Fault):
    """
    A bit that breaks off.

    Attributes
    ----------
    at_line, at
        See ``Fault``.
    length
        mm of it that are gone; what is left may still scrape where the cut is deeper.
    """

    cause: ClassVar[Cause] = "broken"

    length: float = 30.0

    def unfold(self, setting: Setting) -> Trouble:
        """Return a bit that is shorter, after a crack."""
        gone = np.where(setting.since > 0.0, 1.0, 0.0)
        noise = crack(setting, CRACK)
        return replace(well(setting.count), grown=gone, lower=-self.length * gone, noise=noise)


@dataclass(frozen=True)
class ChippedFlute(Fault):
    """
    A piece of one edge breaks out.

    Attributes
    ----------
    at_line, at
        See ``Fault``.
    share
        Of the edge's length that is gone.
    """

    cause: ClassVar[Cause] = "broken"

    share: float = 0.6

    def unfold(self, setting: Setting) -> Trouble:
        """Return an edge that lacks a piece, after a small crack."""
        gone = np.where(setting.since > 0.0, 1.0, 0.0)
        noise = crack(setting, self.share * CRACK / 2.0)
        return replace(well(setting.count), grown=gone, chipped=self.share * gone, noise=noise)
