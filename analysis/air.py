"""What the machine and the shop sound like when nothing is being cut: it is no part of the cut."""

import numpy as np
from numpy.typing import NDArray

from analysis.features import GROUPS
from analysis.presence import Phase

_NOISE = GROUPS.index("noise")

# The air's lines are taken off this much stronger than they were heard, for they wander.
_BENEFIT = 1.5


class Air:
    """
    Learns the lines heard in air moves and takes them off those heard in cuts.

    A motor's fan and bearings have lines at orders of their own. In a light cut they stand beside a weak
    tooth-pass and would look like runout.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    memory
        Seconds of air after which older air counts for 1/e.
    """

    def __init__(self, seconds: float, memory: float = 2.0) -> None:
        self._share = np.float32(min(1.0, seconds / memory))
        self._settle = max(3, round(0.2 / seconds))
        self._rows = 0
        self._power: NDArray[np.float32] | None = None

    def row(self, groups: NDArray[np.float32], phase: Phase, *, apart: bool) -> NDArray[np.float32]:
        """
        Take in a row and return it without the air.

        Parameters
        ----------
        groups
            Powers of ``features.GROUPS``, shape (5,).
        phase
            What the spindle is doing.
        apart
            Whether cut and air can be told apart; what was taken for air may else have been the cut.
        """
        if phase is Phase.OFF or not apart:
            self._power = None
        self._rows = self._rows + 1 if phase is Phase.AIR and apart else 0
        if self._rows > self._settle:
            known = groups if self._power is None else self._power
            self._power = known + self._share * (groups - known)
        if self._power is None or phase is not Phase.CUT:
            return groups
        left = groups - np.float32(_BENEFIT) * np.maximum(self._power, np.float32(0))
        left[_NOISE] = groups[_NOISE]
        return np.maximum(left, np.float32(0))
