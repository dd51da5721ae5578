"""
How much the hiss of a spindle in the air swells with a bit's teeth, learned in its first seconds.

Mostly it does not, and that it does tells a cut. But a motor of few poles or brushes may swell as often a
turn as the bit has teeth.
"""

from collections import deque

import numpy as np

from analysis.presence import Phase

# For how long a spindle must have stood, s; how long after it starts, or has cut, it is in the air alone; and
# so many s of that are surely air, in the first so many: a cut that is too quiet to be told must not be
# learned, nor one whose level falls.
_STOOD, _SETTLES, _SURELY, _FIRST = 0.5, 0.3, 4.0, 8.0

# How many s must be heard before they tell anything; and the swell, dB, that any air may have by chance.
_LEAST, _CHANCE = 0.5, 1.5


class FirstAir:
    """
    Tells which rows are surely air: the first that sound so once a spindle that stood was started.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._stood = self._alone = 0.0
        self._left = self._turned = 0.0

    def row(self, phase: Phase) -> bool:
        """Take in what the spindle does, by level alone; return whether that is surely air."""
        self._alone = self._alone + self._seconds if phase is Phase.AIR else 0.0
        if phase is Phase.OFF:
            self._stood += self._seconds
            return False
        if self._stood >= _STOOD:
            self._left, self._turned = _SURELY, 0.0
        self._stood = 0.0
        self._turned += self._seconds
        if self._alone <= _SETTLES or self._left <= 0.0 or self._turned > _FIRST:
            return False
        self._left -= self._seconds
        return True


class AirSwell:
    """
    Learns how much the air swells with the teeth.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.

    Attributes
    ----------
    usual
        By how many dB the swell of the air stands out, 0 where it does not or nobody knows.
    """

    def __init__(self, seconds: float) -> None:
        self.usual = 0.0
        self._least = round(_LEAST / seconds)
        self._heard: deque[float] = deque(maxlen=round(_SURELY / seconds))

    def hear(self, bites: float) -> None:
        """Take in how far the swell stands out in a row of air, dB."""
        self._heard.append(bites)
        if len(self._heard) >= self._least:
            middle = float(np.median(self._heard))
            self.usual = middle if middle > _CHANCE else 0.0
