"""For how long a program cuts nothing, and where."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.locate import Plan

# A cut that takes no more than this share of what the bit usually takes may be drowned by the shop.
_HEARD = 0.5

# Seconds of the program by which the place may be wrong although it seems to be known.
_ABOUT = 10.0
# As much, where what is near matters.
_NEAR = 3.0


@dataclass(frozen=True, eq=False)
class Silences:
    """
    The n stretches of a program in which nothing is surely heard to be cut, in their order.

    Attributes
    ----------
    begin, end
        On the program's own clock, s, shape (n,).
    lasting
        How long each lasts, s, shape (n,): without end where the spindle stops or the program waits.
    """

    begin: NDArray[np.float64]
    end: NDArray[np.float64]
    lasting: NDArray[np.float64]

    @classmethod
    def of(cls, plan: Plan) -> "Silences":
        """Return the silences of a plan."""
        spells = plan.louder(_HEARD)
        begin = np.concatenate(([-np.inf], *(ends for _, ends in spells)))
        end = np.concatenate((*(begins for begins, _ in spells), [np.inf]))
        lasting = end - begin
        # A dwell may last longer than it is taken to.
        longer = np.flatnonzero(plan.perhaps_longer)
        at = np.searchsorted(begin, plan.times.begin[longer], side="right") - 1
        within = plan.times.end[longer] <= end[at]
        np.add.at(lasting, at[within], plan.perhaps_longer[longer[within]])
        # Between two stints it waits.
        lasting[np.cumsum([0, *(len(begins) for begins, _ in spells)])] = np.inf
        return cls(begin, end, lasting)

    def longest(self, since: float, until: float) -> float:
        """Return the longest that is met, or nearly met, between two times of the program's clock, s."""
        return self._longest(since - _ABOUT, until + _ABOUT)

    def stops(self, since: float, until: float) -> bool:
        """Return whether the spindle may stop between two times of the program's clock, or shortly after."""
        return self._longest(since - _NEAR, until + _NEAR) == np.inf

    def _longest(self, since: float, until: float) -> float:
        first, beyond = np.searchsorted(self.end, since), np.searchsorted(self.begin, until)
        return float(self.lasting[first:beyond].max(initial=0.0))
