"""Can anything be heard at all? A monitor that has stopped hearing must say so."""

import math
from collections import deque

from analysis.spectrum import decibels

FULL = 0.999
"""Full scale, nearly: a converter that clips need not reach the last step."""


PATIENCE = 0.5
"""Seconds of unusable sound that are called deaf, and of unbroken usable sound that are heard again."""

# Seconds within which unusable sound adds up: dropouts that come and go deafen as well.
_SPAN = 1.5

CLIPPED = 0.005
"""Share of samples at full scale that is too many."""

QUIET = 1e-4
"""Half the distance from the least to the greatest sample that is as good as none: -80 dBFS."""


def trouble(peak: float, spread: float, clipped: float) -> str:
    """
    Return what is wrong with a window, in words for the person at the machine; empty when nothing is.

    Parameters
    ----------
    peak
        Greatest absolute sample; NaN when one was not finite or beyond all measure.
    spread
        Greatest sample less the least.
    clipped
        Share of samples at full scale.
    """
    if not math.isfinite(peak):
        return "samples are not finite or absurdly large: the driver or the file is broken"
    if spread == 0.0:
        return "all samples are the same: the microphone is muted or unplugged"
    if clipped > CLIPPED:
        return f"the sound clips ({100 * clipped:.0f} % of samples): turn the gain down or move away"
    # Not the peak: a cheap converter adds a constant, which is no sound.
    if spread < 2.0 * QUIET:
        level = float(decibels((spread / 2.0) ** 2))
        return f"almost nothing is heard (peak {level:.0f} dBFS): is the microphone muted or too far away?"
    return ""


class Health:
    """
    Follows whether the sound is usable, row by row.

    Attributes
    ----------
    deaf
        Whether nothing usable has been heard for a while.
    reason
        Why.
    changed
        Whether this row changed ``deaf``.
    usable
        Whether this row itself is usable.
    """

    def __init__(self, seconds: float) -> None:
        self.deaf = False
        self.reason = ""
        self.changed = False
        self.usable = True
        self._seconds = seconds
        self._recent: deque[bool] = deque(maxlen=math.ceil(_SPAN / seconds))
        self._good = 0

    def row(self, reason: str) -> None:
        """Take in one more row; ``reason`` is what :func:`trouble` says of it."""
        self.usable = not reason
        self._recent.append(self.usable)
        self._good = self._good + 1 if self.usable else 0
        if reason:
            self.reason = reason
        rows = self._good if self.deaf else self._recent.count(False)
        self.changed = rows * self._seconds >= PATIENCE
        if self.changed:
            self.deaf = not self.deaf
            self._begin()

    def lost(self, reason: str) -> None:
        """Be deaf at once: the source itself says that nothing arrives."""
        self.changed = not self.deaf
        self.deaf, self.usable, self.reason = True, False, reason
        self._begin()

    def _begin(self) -> None:
        self._recent.clear()
        self._good = 0
