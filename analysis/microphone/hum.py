"""Hum: what is heard of the mains, from a cable or from a motor that hangs on them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.orders import line_powers, local_floor, noise_powers
from analysis.spectrum import PowerSpectrum, decibels
from analysis.windows import Windows

Array32 = NDArray[np.float32]
Array64 = NDArray[np.float64]

# Bins of 1 Hz; a line of the mains stands at least this far above the noise beside it, dB.
_MAINS, _HARMONICS, _STANDS = (50, 60), 5, 6.0

# A line of the spindle's is told from one of the mains when it is at least this far away, Hz.
_APART = 4.0


@dataclass(frozen=True)
class Hum:
    """
    What is heard of the mains, from a cable or from a motor that hangs on them.

    Attributes
    ----------
    mains
        Their frequency, Hz.
    level
        Of all its lines together, dBFS.
    lines
        How many of them stand out.
    """

    mains: int
    level: float
    lines: int


def hum(sound: Array64, rate: int, spindle: float | None = None) -> Hum | None:
    """
    Return what stands out at 50 or 60 Hz and their first multiples; ``None`` when nothing does.

    Parameters
    ----------
    sound
        (n,), without a constant. Less than a second is too short to tell.
    rate
        Samples per second, Hz.
    spindle
        Spindle frequency, Hz: at its whole and half orders nothing is taken for hum.

    Notes
    -----
    Spectra of 1 s are averaged. A line is what three bins hold, less the noise that three bins between it and
    its neighbours hold; it counts when it stands 6 dB above that noise. It is hum when the mains' own line
    or its first multiple stands out, and more than one line does: the lines of mains' frequency that are
    stronger together are told.
    """
    windows = Windows(rate, rate // 2).feed(sound.astype(np.float32))
    if not len(windows):
        return None
    power = PowerSpectrum(rate, rate).power(windows).mean(axis=0, keepdims=True)
    found = [each for mains in _MAINS if (each := _hum_of(power, mains, spindle)) is not None]
    return max(found, key=lambda each: each.level, default=None)


def _hum_of(power: Array32, mains: int, spindle: float | None) -> Hum | None:
    orders, frequency = np.arange(1.0, _HARMONICS + 1.0), np.array([float(mains)])
    lines = line_powers(power, 1.0, frequency, orders)[0].astype(np.float64)
    noise = noise_powers(power, local_floor(power, mains), 1.0, frequency, orders)[0].astype(np.float64)
    stands = (decibels(lines) - decibels(noise) > _STANDS) & ~_near(mains * orders, spindle)
    if stands.sum() < 2 or not stands[:2].any():
        return None
    return Hum(mains, float(decibels((lines - noise)[stands].sum())), int(stands.sum()))


def _near(frequencies: Array64, spindle: float | None) -> NDArray[np.bool_]:
    """Return which frequencies may be the spindle's own."""
    if spindle is None:
        return np.zeros(len(frequencies), dtype=bool)
    half = spindle / 2.0
    return np.abs(frequencies - half * np.maximum(np.rint(frequencies / half), 1.0)) < _APART
