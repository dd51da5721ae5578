"""
A bit that becomes dull.

The force of an edge has a part that grows with the chip and a part that does not, for the edge that rubs
(common practice in machining dynamics). Wear makes the second part grow, for all edges alike: the cut becomes
louder and hisses more, with nothing new once a turn. How fast and how far is a HYPOTHESIS; minutes are fast.
"""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from analysis.events import Cause
from recordings_synthetic.faults.fault import Fault, Setting
from recordings_synthetic.faults.trouble import Trouble, well


@dataclass(frozen=True)
class DullBit(Fault):
    """
    Edges that wear faster from some time on.

    Attributes
    ----------
    at_line, at
        See ``Fault``.
    wear
        How much more the edges rub in the end, as a multiple of what sharp ones do.
    over
        Seconds until then.
    """

    cause: ClassVar[Cause] = "dull"

    wear: float = 5.0
    over: float = 120.0

    def unfold(self, setting: Setting) -> Trouble:
        """Return edges that rub more and more."""
        grown = np.minimum(setting.since / max(self.over, setting.step), 1.0)
        return replace(well(setting.count), grown=grown, wear=self.wear * grown)
