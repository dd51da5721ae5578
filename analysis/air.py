"""What the machine and the shop sound like when nothing is being cut: it is no part of the cut."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.features import ABSENT, Array32
from analysis.presence import Phase

# The air's lines are taken off this much stronger than they were heard, for they wander.
_BENEFIT = np.float32(1.5)

# Noise at a line may be stronger than the noise about it by this much before it counts as a line.
_CHANCE = np.float32(1.25)

# Of a cut whose own hiss is a smaller share than this, nothing can be told.
LEAST_OWN = 0.25

# Seconds of air after which older air counts for 1/e.
_MEMORY = 2.0

# A cut is no quieter than the air: where its own share of the hiss seems to be less than this for most of the
# memory, that was the air of another time, or no air at all.
_IMPOSSIBLE, _MOSTLY = -0.1, 0.5

# The cut's own share of the hiss is hardly known where it is smaller than this: the swell may then be deeper.
_SURELY_OWN = 0.5


class Telling(NamedTuple):
    """
    What of a row tells whether the bit runs true.

    Attributes
    ----------
    lines, noise
        Power of each line and of the noise about it, shape (j,).
    hiss
        Power of the band in which the cut hisses.
    swell
        How deep that swells once per turn and every second turn, dB re full, shape (2,).
    own
        Share of the hiss that is the cut's own; 1 where no air was heard.
    signs
        What the watcher makes of the first of these, shape (SIGNS,), where nothing was taken off them.
    """

    lines: Array32
    noise: Array32
    hiss: float
    swell: Array32
    own: float = 1.0
    signs: NDArray[np.float64] | None = None


class Air:
    """
    Learns what is heard in air moves and takes it off what is heard in cuts.

    A motor's fan and bearings have lines at orders of their own, and so has a collector's fan by chance. In
    a light cut they would look like runout. Hiss from elsewhere makes the hiss of the cut seem to swell
    less than it does.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._share = np.float32(min(1.0, seconds / _MEMORY))
        self._settle = max(3, round(0.2 / seconds))
        self._rows = 0
        self._lines: Array32 | None = None
        self._hiss: float | None = None
        self._contrary = 0.0

    def row(self, heard: Telling, phase: Phase, *, apart: bool) -> Telling:
        """
        Take in a row and return it without the air.

        Parameters
        ----------
        heard
            The row.
        phase
            What the spindle is doing.
        apart
            Whether cut and air can be told apart; what was taken for air may else have been the cut.
        """
        if phase is Phase.OFF or not apart:
            self._lines = self._hiss = None
        self._rows = self._rows + 1 if phase is Phase.AIR and apart else 0
        if self._rows > self._settle:
            self._learn(np.maximum(heard.lines - _CHANCE * heard.noise, np.float32(0)), heard.hiss)
        if self._lines is None or phase is not Phase.CUT:
            return heard
        own = self._own(heard.hiss)
        # Half of what would put it right: the share is roughly known, and a swell must not be made up.
        more = np.float32(-10.0 * np.log10(max(own, _SURELY_OWN)))
        # Where it does not swell there is nothing to put right.
        return heard._replace(
            lines=np.maximum(heard.lines - _BENEFIT * self._lines, np.float32(0)),
            swell=np.where(heard.swell > ABSENT, heard.swell + more, heard.swell),
            own=own,
            signs=None,
        )

    def _own(self, hiss: float) -> float:
        """Return the cut's own share of the hiss; forget that of an air that cannot have been one."""
        if self._hiss is None:
            return 1.0
        own = 1.0 - self._hiss / max(hiss, 1e-20)
        self._contrary += float(self._share) * ((own < _IMPOSSIBLE) - self._contrary)
        if self._contrary > _MOSTLY:
            self._hiss = None
        return own

    def _learn(self, lines: Array32, hiss: float) -> None:
        self._contrary = 0.0
        self._lines = lines if self._lines is None else self._lines + self._share * (lines - self._lines)
        self._hiss = hiss if self._hiss is None else self._hiss + float(self._share) * (hiss - self._hiss)
