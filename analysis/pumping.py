"""Does a gain move by itself? Told from how the quiet after loud sounds creeps up."""

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from analysis.robust import middle

SAID = (
    "a gain seems to move by itself: after loud sounds all that is heard creeps up again. "
    "Turn off automatic gain and enhancements, then see mics --check"
)
"""What to say of it."""

# Bands of colour from this one on: 800 Hz. Below it they scatter too much in so short a time.
_FROM, _LEAST = 8, 4


# How long the creeping is looked at, and how long before it something loud may have ended, s.
_RAMP, _BEFORE = 0.67, 1.0
# By how much it is softer than that, dB.
_FALL = 6.0
# How fast it creeps up, dB per s.
_SLOWEST, _FASTEST = 2.5, 12.0
# How much the bands may differ in that, as a share of it; and dB per s, at any rate.
_APART, _DIFFER = 0.25, 0.4
# How far the level may lie off a straight line, root mean square, dB.
_CROOKED = 0.5
# How often it must be heard, and within how many s.
_TIMES, _WITHIN = 3, 120.0


class Pumping:
    """
    Looks for the sign of an automatic gain, row by row.

    Such a gain turns itself down while it is loud and comes back when it is quiet again: all bands rise at
    one and the same rate, in a straight line of dB over time. Rooms and machines that come to rest fall; what
    begins to sound does not rise in all bands alike.

    Parameters
    ----------
    seconds
        From one row to the next.

    Notes
    -----
    What is taken for it was chosen on simulated jobs in shops of many kinds: without a gain of its own these
    have four such ramps in 4.4 h. It takes a quiet of 0.7 s after a loud sound, so this can't be told within
    two seconds of the first movement, nor at all where another sound fills the quiet, or where the gain takes
    several seconds to come back.
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._ramp = max(4, round(_RAMP / seconds))
        self._bands: deque[list[float]] = deque(maxlen=self._ramp)
        self._levels: deque[float] = deque(maxlen=self._ramp + math.ceil(_BEFORE / seconds))
        self._row = 0
        self._last = -math.inf
        self._heard: deque[float] = deque(maxlen=_TIMES)
        place = np.arange(self._ramp) - (self._ramp - 1) / 2
        self._slope = place / (seconds * float(place @ place))
        self._at = place * seconds

    def row(self, colour: NDArray[np.floating]) -> bool:
        """
        Take in one more row; return whether it is certain enough now to be said.

        Parameters
        ----------
        colour
            Level in third octaves from 125 Hz on, dBFS, shape (b,).
        """
        bands = colour[_FROM:].tolist()
        if len(bands) < _LEAST:
            return False
        self._row += 1
        self._bands.append(bands)
        self._levels.append(middle(bands))
        if not self._is_ramp():
            return False
        at, before, self._last = self._row * self._seconds, self._last, self._row * self._seconds
        if at - before <= _BEFORE:
            return False  # still the same
        self._heard.append(at)
        return len(self._heard) == _TIMES and at - self._heard[0] <= _WITHIN

    def lost(self) -> None:
        """Forget the last rows: something is missing after them."""
        self._bands.clear()
        self._levels.clear()

    def _is_ramp(self) -> bool:
        levels = self._levels
        if len(levels) < levels.maxlen:  # type: ignore[operator]
            return False
        # Mostly nothing louder is there, and more need not be looked at.
        if max(levels) - levels[-self._ramp] < _FALL:
            return False
        held = list(levels)
        before, creeping = max(held[: -self._ramp]), held[-self._ramp :]
        if before - creeping[0] < _FALL or before - max(creeping) < 1.0:
            return False
        ramp = np.array(creeping)
        slopes = self._slope @ np.array(self._bands)
        rate = float(np.median(slopes))
        apart = 1.4826 * float(np.median(np.abs(slopes - rate)))
        crooked = float(np.sqrt(np.mean((ramp - ramp.mean() - rate * self._at) ** 2)))
        creeps = _SLOWEST <= rate <= _FASTEST
        return creeps and apart <= max(_APART * rate, _DIFFER) and crooked <= _CROOKED
