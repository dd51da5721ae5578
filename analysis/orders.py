"""
The sound in orders: levels of lines, and how the hiss of the cut swells.

An order is a frequency counted in turns of the spindle: order 1 is the spindle frequency, order ``flutes``
is tooth-pass, order 0.5 comes back every second turn. Everything here treats each row alone, to the last
bit, so that live hearing and a replay decide alike.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import ifft, next_fast_len, rfft

from analysis.spectrum import ROWS, decibels

Rows32 = NDArray[np.float32]
Rows64 = NDArray[np.float64]

# The power in a bin of noise is distributed exponentially: its mean is 1 / ln 2 times its median.
_MEAN_OVER_MEDIAN = np.float32(1.0 / np.log(2.0))

# Bins between a line and the next, half an order away, below which there is no room for noise between.
_ROOM = 12


def local_floor(power: Rows32, width: int, wanted: int | None = None) -> Rows32:
    """
    Return the power that lies between the lines, bin by bin.

    The spectrum is cut into blocks of ``width`` bins; the median of each is joined to the next by straight
    lines. A line is narrower than half a block, so it does not lift the floor that it stands on.

    Parameters
    ----------
    power
        Power spectra, shape (k, bins).
    width
        Bins in a block, at least 3; wide enough to hold several lines' gaps.
    wanted
        How many bins, the lowest ones, are to be known; all of them if not said.

    Returns
    -------
    array of float32, shape (k, bins), or (k, wanted)
    """
    width = min(max(width, 3), power.shape[1])
    if wanted is not None:
        # The last of them lies between the middles of two blocks.
        return local_floor(power[:, : wanted + 2 * width], width)[:, :wanted]
    bins = power.shape[1]
    blocks = bins // width
    middles = medians(power[:, : blocks * width].reshape(len(power), blocks, width))
    floor = np.empty_like(power)
    first, last = width // 2, width // 2 + (blocks - 1) * width
    floor[:, :first], floor[:, last:] = middles[:, :1], middles[:, -1:]
    of_this, of_next = _shares(width)
    between = floor[:, first:last].reshape(len(power), blocks - 1, width)
    np.multiply(middles[:, :-1, np.newaxis], of_this, out=between)
    between += middles[:, 1:, np.newaxis] * of_next
    return floor


@lru_cache(maxsize=16)
def _shares(width: int) -> tuple[Rows32, Rows32]:
    """Return how much of a block's median, and of the next one's, lies in each bin between their middles."""
    first = width // 2
    share = ((np.arange(first, first + width) - (width - 1) / 2) / width).astype(np.float32)
    return 1 - share, share


def medians(values: Rows32) -> Rows32:
    """Return medians along the last axis; so few values are sorted sooner than `numpy.median` begins."""
    ordered = np.sort(values, axis=-1)
    half = values.shape[-1] // 2
    if values.shape[-1] % 2:
        return ordered[..., half]
    middle: Rows32 = np.float32(0.5) * (ordered[..., half - 1] + ordered[..., half])
    return middle


def above_floor(power: Rows32, floor: Rows32) -> Rows32:
    """Return spectra in dB above their local floor, shape (k, bins)."""
    return decibels(power / np.maximum(floor, np.float32(1e-20)))


def line_powers(power: Rows32, delta_f: float, frequency: Rows64, orders: NDArray[np.float64]) -> Rows32:
    """
    Return the power of each line: the three bins about it, which hold a Hann-windowed line.

    Parameters
    ----------
    power
        Power spectra, shape (k, bins).
    delta_f
        Hz from one bin to the next.
    frequency
        Spindle frequency of each row, Hz, shape (k,).
    orders
        Orders of the lines, shape (m,). A line above the spectrum's end has no power.

    Returns
    -------
    array of float32, shape (k, m)
    """
    last = power.shape[1] - 2
    centre = np.rint(frequency[:, np.newaxis] * orders / delta_f).astype(np.intp)
    inside = (centre >= 1) & (centre <= last)
    centre = _within(centre, 1, last)
    rows = np.arange(len(power))[:, np.newaxis]
    three = power[rows, centre - 1] + power[rows, centre] + power[rows, centre + 1]
    return np.where(inside, three, np.float32(0))


def noise_powers(
    power: Rows32, floor: Rows32, delta_f: float, frequency: Rows64, orders: NDArray[np.float64]
) -> Rows32:
    """
    Return the power that each line would have if only noise were there.

    It is three times the mean power of the bins between the line and its neighbours half an order away.
    A mean, not a median: talk has lines of its own, as often beside the spindle's as on them. Where the
    lines stand too close for that, the noise floor serves.

    Parameters
    ----------
    power, floor
        Power spectra and their :func:`local_floor`, shape (k, bins).
    delta_f
        Hz from one bin to the next.
    frequency
        Spindle frequency of each row, Hz, shape (k,).
    orders
        Whole or half orders, shape (m,).

    Returns
    -------
    array of float32, shape (k, m)
    """
    between = _between(power, delta_f, frequency, orders)
    # Row by row: whether a row has room must not hang on the others that came with it.
    tight = frequency < 2 * _ROOM * delta_f
    if not tight.any():
        return between
    below = _MEAN_OVER_MEDIAN * line_powers(floor, delta_f, frequency, orders)
    return np.where(tight[:, np.newaxis], below, between)


# From a line to its neighbours, in orders.
_HALF_WAY = np.array([[-0.5], [0.0], [0.5]])


def _between(power: Rows32, delta_f: float, frequency: Rows64, orders: NDArray[np.float64]) -> Rows32:
    """Return three times the mean power of the bins between each line and its two neighbours."""
    ends = frequency[:, np.newaxis, np.newaxis] * (orders + _HALF_WAY) / delta_f
    ends = np.rint(ends).astype(np.intp)
    first = _within(ends[:, :-1] + 2, 0, power.shape[1] - 1)
    beyond = _within(ends[:, 1:] - 3, 0, power.shape[1] - 1)
    # What is higher than the highest line is left out.
    needed = max(int(first.max(initial=0)), int(beyond.max(initial=0))) + 1
    total = np.cumsum(power[:, :needed], axis=1, dtype=np.float64)
    rows = np.arange(len(power))[:, np.newaxis, np.newaxis]
    summed, counted = total[rows, beyond] - total[rows, first], beyond - first
    counted = np.maximum(counted[:, 0] + counted[:, 1], 1)
    return (3.0 * (summed[:, 0] + summed[:, 1]) / counted).astype(np.float32)


def _within(bins: NDArray[np.intp], least: int, most: int) -> NDArray[np.intp]:
    """Return bins kept within bounds; `numpy.clip` takes several times as long for so few."""
    return np.minimum(np.maximum(bins, least), most)


# Mean over median of eight bins of noise, a gap, dB; by simulation of windowed noise.
_NOISE_RATIO = 1.45

# How many gaps are looked at for tones, each half an order wide, from order 0.5 up.
_GAPS = 8

# Where in the gap between two lines, half an order apart, other sound is looked for: shares of the gap.
_GAP = np.linspace(0.2, 0.8, 8)


def between_lines(power: Rows32, delta_f: float, frequency: Rows64) -> Rows32:
    """
    Return what sounds at some places between the lines, beside the median of each gap.

    Parameters
    ----------
    power
        Power spectra, shape (k, bins).
    delta_f
        Hz from one bin to the next.
    frequency
        Spindle frequency of each row, Hz, shape (k,).

    Returns
    -------
    array of float32, shape (k, gaps, places in each)
        Ratios of power; 1 where the lines stand too close to look between them.
    """
    places = (np.arange(1, _GAPS + 1)[:, np.newaxis] + _GAP).ravel() / 2.0
    bins = np.rint(frequency[:, np.newaxis] * places / delta_f).astype(np.intp)
    found = power[np.arange(len(power))[:, np.newaxis], _within(bins, 0, power.shape[1] - 1)]
    ratios = _beside_the_median(found.reshape(len(power), _GAPS, len(_GAP)))
    close = frequency < 2 * _ROOM * delta_f
    return np.where(close[:, np.newaxis, np.newaxis], np.float32(1), ratios)


def foreign_tones(between: Rows32) -> Rows32:
    """
    Return how much the sound between the lines is tones rather than noise.

    Nothing that turns with the spindle sounds between its whole and half orders. Talk and music do, as
    often there as on the lines.

    Parameters
    ----------
    between
        What sounds there, `between_lines`.

    Returns
    -------
    array of float32, shape (k,)
        Mean power there against the mean of noise with the same median, dB: about 0 for noise.
    """
    # Gap by gap: noise slopes, and a loud low one must not look like a tone.
    ratios = _beside_the_median(between)
    mean = np.add.reduce(np.add.reduce(ratios, axis=2), axis=1) / np.float32(_GAPS * len(_GAP))
    return decibels(mean) - np.float32(_NOISE_RATIO)


def _beside_the_median(found: Rows32) -> Rows32:
    ratios: Rows32 = np.divide(found, np.maximum(medians(found), np.float32(1e-20))[..., np.newaxis])
    return ratios


# Bins beside the line of the swell: a windowed line is five bins wide, and so is the swell's mean at 0.
_BESIDE = np.concatenate([np.arange(-9, -3), np.arange(4, 10)])


@dataclass(frozen=True)
class TurnModulation:
    """
    How strongly the hiss of the cut swells in the rhythm of the spindle's turns.

    The band's envelope is taken from the spectrum that is there already: the band's bins, transformed
    back, are the analytic signal at a lower rate.

    Attributes
    ----------
    rate, size
        Of the windows, Hz and samples.
    low, high
        The band, Hz.
    """

    rate: int
    size: int
    low: float
    high: float

    @cached_property
    def _band(self) -> tuple[int, int]:
        first = max(int(self.low * self.size / self.rate), 1)
        wanted = int(self.high * self.size / self.rate) - first
        return first, first + min(next_fast_len(max(wanted, 8)), self.size // 2 - first)

    def envelope(self, spectra: NDArray[np.complex64]) -> NDArray[np.complex64]:
        """
        Return the transform of the hiss's envelope, over its mean.

        Parameters
        ----------
        spectra
            Windowed transforms, shape (k, bins).

        Returns
        -------
        array of complex64, shape (k, b)
            At 0, 1, 2 ... bins of the windows.
        """
        low, high = self._band
        found = np.empty((len(spectra), (high - low) // 2 + 1), dtype=np.complex64)
        for first in range(0, len(spectra), ROWS):
            some = spectra[first : first + ROWS, low:high]
            batch = np.zeros((ROWS, high - low), dtype=np.complex64)
            batch[: len(some)] = some
            signal = ifft(batch)
            found[first : first + ROWS] = rfft(signal.real**2 + signal.imag**2)[: len(some)]
        real: Rows32 = found.view(np.float32)
        real /= np.maximum(real[:, :1], np.float32(1e-15))
        return found

    def in_step(
        self,
        envelope: NDArray[np.complex64],
        before: NDArray[np.complex64],
        hop: int,
        frequency: Rows64,
        orders: NDArray[np.float64],
    ) -> Rows32:
        """
        Return how deep the hiss swells in step with the spindle, squared, and as much beside.

        From one window to the next the phase of such a swell goes on by just as many turns as the spindle
        has made. What swells a few Hz faster or slower, as a voice or another machine does, may fall into
        the same bin, but not into step: it counts for less than it is, or for less than nothing. A knock is
        in step at whatever frequency, so it is as much in step beside; and so is chance, on the average.

        Parameters
        ----------
        envelope, before
            From :meth:`envelope`, of windows and of the one before each, shape (k, b).
        hop
            Samples from a window to the next.
        frequency
            Spindle frequency of each row, Hz, shape (k,).
        orders
            0.5 for once every second turn, shape (m,).

        Returns
        -------
        array of float32, shape (k, 2, m)
            Squared depths, as of :meth:`depths`; negative where a swell is more than a quarter of its period
            out of step: at the orders, and the mean at frequencies some bins beside each.

        Notes
        -----
        The real part of the cross-spectrum of successive windows, turned back by the phase that a swell of
        just that frequency would have gone on by.
        """
        at = frequency[:, np.newaxis] * orders
        nearest = self._nearest(at, envelope.shape[1])
        bins = np.concatenate((nearest[:, :, np.newaxis], _beside(nearest, envelope.shape[1])), axis=2)
        rows = np.arange(len(envelope))[:, np.newaxis, np.newaxis]
        now, then = envelope[rows, bins], before[rows, bins]
        along = now.real * then.real + now.imag * then.imag
        across = now.imag * then.real - now.real * then.imag
        turns = (at * (hop / self.rate))[:, :, np.newaxis] + (bins - bins[:, :, :1]) * (hop / self.size)
        phase = (2.0 * np.pi) * np.mod(turns, 1.0)
        step = 4.0 * (along * np.cos(phase) + across * np.sin(phase))
        found = np.empty((len(envelope), 2, len(orders)), dtype=np.float32)
        found[:, 0] = step[:, :, 0]
        found[:, 1] = np.add.reduce(step[:, :, 1:], axis=2) / len(_BESIDE)
        return found

    def depths(self, swell: Rows32, frequency: Rows64, orders: NDArray[np.float64]) -> Rows32:
        """
        Return how deep the hiss swells at some orders, squared, and as much at frequencies beside those.

        Parameters
        ----------
        swell
            `squared` of :meth:`envelope`, shape (k, b).
        frequency
            Spindle frequency of each row, Hz, shape (k,).
        orders
            1 for once per turn, 0.5 for once every second turn, shape (m,).

        Returns
        -------
        array of float32, shape (k, 2, m)
            Squared depths, 0 none, 1 full: at the orders, and the mean beside each, which is what chance
            makes of a steady hiss, and what a voice or another machine makes that swells at a frequency of
            its own.

        Notes
        -----
        For a band whose power swells as ``1 + m cos(2 pi f t)`` the depth is ``m``, less what little the
        window smears.
        """
        nearest = self._nearest(frequency[:, np.newaxis] * orders, swell.shape[1])
        aside = _beside(nearest, swell.shape[1])
        rows = np.arange(len(swell))[:, np.newaxis]
        # The nearest bin alone: the largest of several would find a swell in every noise.
        line = swell[rows, nearest]
        beside = np.add.reduce(swell[rows[:, :, np.newaxis], aside], axis=2) / np.float32(len(_BESIDE))
        found = np.empty((len(swell), 2, len(orders)), dtype=np.float32)
        np.multiply(line, np.float32(4.0), out=found[:, 0])
        np.multiply(beside, np.float32(4.0), out=found[:, 1])
        return found

    def _nearest(self, at: Rows64, bins: int) -> NDArray[np.intp]:
        """Return the bin nearest to each frequency, Hz, among so many, but for the first and the last."""
        return _within(np.rint(at * self.size / self.rate).astype(np.intp), 1, bins - 2)


def _beside(nearest: NDArray[np.intp], bins: int) -> NDArray[np.intp]:
    """Return the bins beside some of so many, shape (k, m, b), but for those of the swell's mean."""
    return _within(np.abs(nearest[:, :, np.newaxis] + _BESIDE), 3, bins - 1)


def squared(transform: NDArray[np.complex64]) -> Rows32:
    """Return the squared magnitude of each bin of a transform."""
    power: Rows32 = transform.real**2 + transform.imag**2
    return power
