"""How sound is cut into windows, and what is looked for in them."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.orders import TurnModulation
from analysis.sidebands import Sidebands
from analysis.spectrum import Bands, BandSums, PowerSpectrum, third_octave_edges
from analysis.speed import SpeedGrid
from analysis.windows import window_size

# Lines that are looked at. Above, an ordinary microphone hears more room than bit.
LINES = 24
COMB = 30

# How many of the lowest half orders, and of the lines between after the first, are looked at.
HALVES, BETWEEN = 4, 4

# A window longer than this, s, is hopped over by quarters: halves would make an alarm wait.
_LONG = 0.2

# How far, relative, the true speed may be from the nominal one. A dial's number is not a speed.
_TOLERANCE = 0.15

# The hiss of a cut lies here; rooms and collectors are loudest below, phones filter above.
_HISS = (2000.0, 9000.0)
_COLOUR = (125.0, 12500.0)


@dataclass(frozen=True)
class Ear:
    """
    How sound is cut into windows and what is looked for in them.

    Attributes
    ----------
    rate
        Samples per second, Hz.
    low, high
        Spindle frequencies that are possible, Hz.
    flutes
        Cutting edges of the bit.
    size
        Samples in a window.
    nominal
        Spindle frequency that was set, Hz; ``None`` where nobody told it.
    """

    rate: int
    low: float
    high: float
    flutes: int
    size: int
    nominal: float | None = None

    @classmethod
    def for_speed(cls, rate: int, speed: float, flutes: int) -> "Ear":
        """
        Return the ear for a spindle that turns at about ``speed`` rpm.

        Parameters
        ----------
        rate
            Samples per second, Hz.
        speed
            Nominal spindle speed, rpm.
        flutes
            Cutting edges of the bit.
        """
        frequency = speed / 60.0
        size = window_size(rate, 1.0 / frequency)
        low, high = frequency * (1 - _TOLERANCE), frequency * (1 + _TOLERANCE)
        return cls(rate, low, high, flutes, size, frequency)

    @property
    def hop(self) -> int:
        """Samples from one window to the next: half a window, a quarter of a long one."""
        return self.size // (4 if self.size > _LONG * self.rate else 2)

    @property
    def smooth(self) -> float:
        """Rows over which lines and swells are smoothed: somewhat more than half a window's length."""
        return 0.6 * self.size / self.hop

    @property
    def correlation(self) -> float:
        """Correlation of a row with the one before, from the smoothing."""
        return float(np.exp(-1.0 / self.smooth))

    @property
    def seconds(self) -> float:
        """Seconds from one window to the next."""
        return self.hop / self.rate

    def _lines_below_nyquist(self, wanted: int) -> int:
        return max(1, min(wanted, int(0.47 * self.rate / self.high)))

    @cached_property
    def spectrum(self) -> PowerSpectrum:
        """The power spectra of its windows."""
        return PowerSpectrum(self.rate, self.size)

    @cached_property
    def grid(self) -> SpeedGrid:
        """The spindle speeds that are tried."""
        lines = self._lines_below_nyquist(COMB)
        return SpeedGrid(self.spectrum.delta_f, self.low, self.high, lines, self.flutes, self.nominal)

    @cached_property
    def lines(self) -> NDArray[np.float64]:
        """The whole orders looked at: 1, 2, ... , shape (m,)."""
        return np.arange(1, self._lines_below_nyquist(LINES) + 1, dtype=np.float64)

    @cached_property
    def halves(self) -> NDArray[np.float64]:
        """The half orders looked at: 0.5, 1.5, ... , shape (q,)."""
        return np.arange(min(HALVES, len(self.lines)), dtype=np.float64) + 0.5

    @cached_property
    def telling(self) -> NDArray[np.intp]:
        """Which of ``lines`` a true bit hardly has: the first that are no tooth-pass harmonics."""
        if self.flutes == 1:
            return np.empty(0, dtype=np.intp)
        return np.flatnonzero(self.lines % self.flutes)[: 1 + BETWEEN]

    @cached_property
    def bands(self) -> Bands:
        """The third-octave bands whose levels are the colour of the sound."""
        return third_octave_edges(_COLOUR[0], min(_COLOUR[1], 0.4 * self.rate))

    @cached_property
    def sums(self) -> BandSums:
        """What is summed up of a spectrum: the bands, the band of the hiss, and all the sound."""
        edges = (self.bands.lower, self.modulation.low, 0.25 * self.low)
        ends = (self.bands.upper, self.modulation.high, self.rate / 2)
        return BandSums(self.spectrum.delta_f, self.size // 2 + 1, np.hstack(edges), np.hstack(ends))

    @cached_property
    def sidebands(self) -> Sidebands:
        """The tones off the orders that come back a tooth-pass away."""
        return Sidebands(self.spectrum.delta_f, self.flutes, self.size // 2 + 1)

    @cached_property
    def highest(self) -> int:
        """How many bins are looked at for what stands above the floor: of a comb's highest line, three."""
        return min(max(self.grid.bins + 2, self.sidebands.wanted), self.size // 2 + 1)

    @property
    def turn(self) -> int:
        """Bins from one line to the next: the width of a block of the floor."""
        return round(0.5 * (self.low + self.high) / self.spectrum.delta_f)

    @cached_property
    def modulation(self) -> TurnModulation:
        """The once-per-revolution modulation of the hiss."""
        high = min(_HISS[1], 0.45 * self.rate)
        return TurnModulation(self.rate, self.size, min(_HISS[0], high / 3), high)
