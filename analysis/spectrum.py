"""
Power spectra, the level convention, fractional-octave bands, A-weighting.

The convention, everywhere in this project: **a full-scale sine has the power 1, that is 0 dBFS** (AES17).
A power is therefore twice the mean square of the samples; a full-scale square wave reads +3.01 dBFS. The
bins of a spectrum add up: the power of a line is the sum over its main lobe, the power of a band the sum
over the band. A single bin of a sine reads less than its power, by the window's equivalent noise
bandwidth when the sine is centred on it (Hann: 1.76 dB) and by the scalloping loss more when it is not.

Every function that takes rows treats each row alone, **to the last bit**: live hearing computes one row
at a time and a replay thousands, and both must decide alike.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import rfft

# Rows that are transformed together, always; see PowerSpectrum.transform. Live, most of them are empty.
ROWS = 4

# The octave of the standards, 10^(3/10), a little less than 2 (IEC 61260-1:2014).
_OCTAVE = 10.0**0.3


def hann(size: int) -> NDArray[np.float32]:
    """
    Return the Hann window, periodic (DFT-even): 0.5 - 0.5 cos(2 pi n / size).

    References
    ----------
    .. [1] F. J. Harris, On the use of windows for harmonic analysis with the discrete Fourier transform,
       Proc. IEEE 66 (1978) 51-83.
    """
    phase = 2.0 * np.pi * np.arange(size) / size
    return (0.5 - 0.5 * np.cos(phase)).astype(np.float32)


def equivalent_noise_bandwidth(window: NDArray[np.floating]) -> float:
    """Return the width, in bins, of the rectangle that passes as much noise as ``window`` (Harris 1978)."""
    taps = window.astype(np.float64)
    return float(len(taps) * np.sum(taps**2) / np.sum(taps) ** 2)


def coherent_gain(window: NDArray[np.floating]) -> float:
    """Return the mean of ``window``: by how much it scales a sine's peak (Harris 1978)."""
    return float(np.mean(window.astype(np.float64)))


def scalloping_loss(window: NDArray[np.floating]) -> float:
    """Return how much lower, dB, a sine midway between two bins reads in the nearer bin (Harris 1978)."""
    taps = window.astype(np.float64)
    half_a_bin = np.exp(-1j * np.pi * np.arange(len(taps)) / len(taps))
    return float(-20.0 * np.log10(np.abs(np.sum(taps * half_a_bin)) / np.sum(taps)))


@dataclass(frozen=True)
class PowerSpectrum:
    """
    One-sided Hann power spectra of windows of one size.

    Attributes
    ----------
    rate
        Samples per second, Hz.
    size
        Samples in a window, at least 2.

    Raises
    ------
    ValueError
        If ``rate`` is not positive or ``size`` is less than 2.

    Examples
    --------
    A full-scale sine has the power 1, whatever the window's size.

    >>> spectrum = PowerSpectrum(rate=48_000, size=4800)
    >>> sine = np.sin(2 * np.pi * 600 * np.arange(4800) / 48_000).astype(np.float32)
    >>> power = spectrum.power(sine[np.newaxis])
    >>> [round(float(p), 4) for p in band_power(power, spectrum.delta_f, 550, 650)]
    [1.0]
    """

    rate: int
    size: int

    def __post_init__(self) -> None:
        """Refuse what cannot be a spectrum."""
        if self.rate <= 0:
            raise ValueError(f"rate={self.rate} must be positive")
        if self.size < 2:
            raise ValueError(f"size={self.size} must be at least 2")

    @property
    def delta_f(self) -> float:
        """Hz from one bin to the next."""
        return self.rate / self.size

    @cached_property
    def frequencies(self) -> NDArray[np.float64]:
        """The bins' centres, Hz, shape (size // 2 + 1,)."""
        return np.arange(self.size // 2 + 1, dtype=np.float64) * self.delta_f

    @cached_property
    def window(self) -> NDArray[np.float32]:
        """The Hann window, shape (size,)."""
        return hann(self.size)

    @cached_property
    def _scale(self) -> NDArray[np.float32]:
        """What each bin's squared magnitude is multiplied by, shape (size // 2 + 1,)."""
        # By Parseval the squared magnitudes of the two-sided spectrum sum to size * sum(x² w²). The factor
        # 2 makes a full-scale sine 1, another 2 folds the negative frequencies in, which zero and the
        # Nyquist frequency do not have.
        scale = np.full(self.size // 2 + 1, 4.0 / (self.size * np.sum(self.window.astype(np.float64) ** 2)))
        scale[0] /= 2.0
        if self.size % 2 == 0:
            scale[-1] /= 2.0
        return scale.astype(np.float32)

    def transform(self, windows: NDArray[np.float32]) -> NDArray[np.complex64]:
        """
        Return the transform of each Hann-windowed window.

        Parameters
        ----------
        windows
            Samples, shape (k, size), k may be 0.

        Returns
        -------
        array of complex64, shape (k, size // 2 + 1)
            Row ``i`` is to the last bit what ``transform(windows[i : i + 1])`` gives. A window with a
            non-finite sample gives a row that is not finite, and leaves the other rows alone.

        Raises
        ------
        ValueError
            If ``windows`` does not have the shape (k, size).
        """
        if windows.ndim != 2 or windows.shape[1] != self.size:
            raise ValueError(f"windows of shape {windows.shape} must have the shape (k, {self.size})")
        spectra = np.empty((len(windows), self.size // 2 + 1), dtype=np.complex64)
        # The transform takes rows through vector instructions in groups of 4, 8 or 16, as the library was
        # built, and what is left one by one; a compiler may round the two differently (fused
        # multiply-add). Always the same number of rows, a power of 2, the last ones zero if need be, keeps
        # every row on the same path.
        batch = np.zeros((ROWS, self.size), dtype=np.float32)
        for first in range(0, len(windows), ROWS):
            rows = windows[first : first + ROWS]
            batch[len(rows) :] = 0.0
            with np.errstate(invalid="ignore", over="ignore"):
                np.multiply(rows, self.window, out=batch[: len(rows)])
                spectra[first : first + ROWS] = rfft(batch)[: len(rows)]
        return spectra

    def power_of(self, spectra: NDArray[np.complex64]) -> NDArray[np.float32]:
        """
        Return the power in each bin of transforms that :meth:`transform` gave, shape (k, size // 2 + 1).

        A full-scale sine's main lobe sums to 1.
        """
        with np.errstate(invalid="ignore", over="ignore"):
            power: NDArray[np.float32] = (spectra.real**2 + spectra.imag**2) * self._scale
        return power

    def power(self, windows: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the power in each bin of each window: :meth:`power_of` of :meth:`transform`."""
        return self.power_of(self.transform(windows))


def decibels(power: ArrayLike, floor: float = 1e-12) -> NDArray[np.float32]:
    """
    Return ``power`` in dB: 10 log10(max(power, floor)).

    The floor is a fixed one. A floor relative to the loudest value would let one bang move all others.

    Parameters
    ----------
    power
        Powers of any shape; with this module's convention the result is dBFS.
    floor
        The least power that is told from none; the default is -120 dBFS.

    Returns
    -------
    array of float32, shape of ``power``
        NaN stays NaN.
    """
    # In float64, rounded at the end: the float32 logarithm may differ in its last bit with the place of a
    # value in the array.
    values = np.array(power, dtype=np.float64)
    np.maximum(values, floor, out=values)
    np.log10(values, out=values)
    values *= 10.0
    return values.astype(np.float32)


def band_power(power: NDArray[np.floating], delta_f: float, low: float, high: float) -> NDArray[np.float64]:
    """
    Return the power between two frequencies, row by row.

    A bin stands for the frequencies half a bin to either side of its centre; one that the band covers in
    part counts for that part. Bands that adjoin therefore share nothing and lose nothing.

    Parameters
    ----------
    power
        Power spectra, shape (k, bins).
    delta_f
        Hz from one bin to the next.
    low, high
        The band's edges, Hz. What lies outside the spectrum counts as nothing.

    Returns
    -------
    array of float64, shape (k,)

    Raises
    ------
    ValueError
        If ``low`` exceeds ``high``.
    """
    return BandSums(delta_f, power.shape[1], np.array([low]), np.array([high])).powers(power)[:, 0]


@dataclass(frozen=True, eq=False)
class BandSums:
    """
    Sums up what lies in each of some bands, as :func:`band_power` does for one.

    Attributes
    ----------
    delta_f
        Hz from one bin to the next.
    bins
        How many bins the spectra have.
    low, high
        The bands' edges, Hz, each of shape (bands,).

    Raises
    ------
    ValueError
        If a band's ``low`` exceeds its ``high``.
    """

    delta_f: float
    bins: int
    low: NDArray[np.float64]
    high: NDArray[np.float64]

    def __post_init__(self) -> None:
        """Refuse what is no band."""
        for low, high in zip(self.low, self.high, strict=True):
            if not low <= high:
                raise ValueError(f"low={low} must not exceed high={high}")

    @cached_property
    def _ends(self) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
        """The first and the last bin of each band, and which part of it counts, each of shape (2, bands)."""
        low, high = self.low / self.delta_f, self.high / self.delta_f
        first = np.clip(np.floor(low + 0.5), 0, self.bins)
        last = np.clip(np.ceil(high + 0.5), first, self.bins) - 1
        ends = np.stack([first, last])
        share = np.clip(np.minimum(ends + 0.5, high) - np.maximum(ends - 0.5, low), 0.0, 1.0)
        # A bin that is both counts once; where there is none nothing does.
        share[0, last < first], share[1, last <= first] = 0.0, 0.0
        return np.clip(ends, 0, self.bins - 1).astype(np.intp), share

    @cached_property
    def _inner(self) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
        """Where what lies between those bins begins and ends, shape (2 * bands,), and where there is none."""
        (first, last), _ = self._ends
        begin = np.minimum(first + 1, self.bins - 1)
        return np.stack([begin, last], axis=1).ravel(), begin >= last

    def powers(self, power: NDArray[np.floating]) -> NDArray[np.float64]:
        """Return the power in each band of each row of spectra, shape (k, bins), as an array (k, bands)."""
        # Converted before it is summed: a sum that converts on the way goes through a buffer whose bounds
        # fall elsewhere in each row. A matrix product would depend on the number of rows just so.
        exact = np.ascontiguousarray(power, dtype=np.float64)
        (first, last), (of_first, of_last) = self._ends
        edges, empty = self._inner
        summed: NDArray[np.float64] = np.add.reduceat(exact, edges, axis=1)[:, ::2]
        summed[:, empty] = 0.0
        summed += exact[:, first] * of_first
        summed += exact[:, last] * of_last
        return summed


class Bands(NamedTuple):
    """
    Adjoining frequency bands.

    Attributes
    ----------
    centres, lower, upper
        Mid-band and edge frequencies, Hz, each of shape (bands,).
    """

    centres: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]


def third_octave_edges(low: float, high: float) -> Bands:
    """
    Return the third-octave bands from the one that holds ``low`` to the one that holds ``high`` (Hz).

    Nominal labels may be given: 8000 stands for the band centred on 7943.28 Hz.

    Notes
    -----
    With G = 10^0.3 the centres are 1000 G^(x/3), x an integer, and the edges G^(-1/6) and G^(1/6) times
    the centre [1]_.

    References
    ----------
    .. [1] IEC 61260-1:2014, Electroacoustics - Octave-band and fractional-octave-band filters.
    """
    if not 0 < low <= high < math.inf:
        raise ValueError(f"low={low} and high={high} must be positive and in this order")
    first, last = (math.floor(10.0 * math.log10(f / 1000.0) + 0.5) for f in (low, high))
    centres = 1000.0 * _OCTAVE ** (np.arange(first, last + 1) / 3.0)
    return Bands(centres, centres * _OCTAVE ** (-1.0 / 6.0), centres * _OCTAVE ** (1.0 / 6.0))


def a_weighting(frequency: ArrayLike) -> NDArray[np.float64]:
    """
    Return the A-weighting, dB, at ``frequency`` (Hz); minus infinity at 0.

    The tables of the standard hold at the exact mid-band frequencies, not at their nominal labels.

    References
    ----------
    .. [1] IEC 61672-1, Electroacoustics - Sound level meters, annex on frequency weightings.
    """
    squared = np.asarray(frequency, dtype=np.float64) ** 2
    gain = 12194.217**2 * squared**2
    gain = gain / ((squared + 20.598997**2) * (squared + 12194.217**2))
    gain = gain / np.sqrt((squared + 107.65265**2) * (squared + 737.86223**2))
    with np.errstate(divide="ignore"):
        # 2.000 dB make it 0 at 1 kHz.
        return np.asarray(20.0 * np.log10(gain) + 2.000)
