"""What a room does to all that sounds in it: peaks and dips, between the lines, that stay where they are."""

import numpy as np

from analysis.orders import Rows32
from analysis.spectrum import decibels

# How fast the ripple is followed, dB a second: a word or a note is over before it counts for much; and how
# high or low it is at the most, dB.
_FOLLOWS, _MOST = 1.0, np.float32(15.0)


class Ripple:
    """
    Follows the ripple by the sign of what differs from it, as a running median does.

    Talk and music are at each place only now and then: they hardly move it.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._step = np.float32(_FOLLOWS * seconds)
        self._last: Rows32 = np.zeros((), dtype=np.float32)

    def take_off(self, between: Rows32) -> Rows32:
        """Return rows of ratios of power, shape (k, ...), without the ripple that was there until each."""
        left = decibels(between)
        last = self._last
        for row in left:
            np.subtract(row, last, out=row)
            last = np.minimum(np.maximum(last + self._step * np.sign(row), -_MOST), _MOST)
        self._last = last
        found: Rows32 = np.float32(10) ** (left / np.float32(10))
        return found
