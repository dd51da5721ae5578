"""What the tests of the shop's sounds measure."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt

from recordings_synthetic.shop.stretch import Stretch

RATE = 32000
Sound = NDArray[np.floating]


def chance(seed: int = 1) -> np.random.Generator:
    """Return a source of chance."""
    return np.random.default_rng(seed)


def stretch(seconds: float, *, stops: bool = False, rate: int = RATE) -> Stretch:
    """Return so many seconds to fill."""
    return Stretch(round(seconds * rate), rate, stops)


def between(sound: Sound, first: float, last: float, rate: int = RATE) -> Sound:
    """Return what sounds between two times, s."""
    return sound[round(first * rate) : round(last * rate)]


def size(sound: Sound) -> float:
    """Return the root mean square."""
    return float(np.sqrt(np.mean(np.square(sound, dtype=np.float64))))


def decibels(share: float) -> float:
    """Return a share of amplitudes in dB."""
    return float(20.0 * np.log10(share))


def lines(sound: Sound, rate: int = RATE) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return frequencies and amplitudes of the sines in all of a sound, windowed after Hann."""
    window = np.hanning(len(sound) + 1)[:-1]
    return (
        np.fft.rfftfreq(len(sound), 1.0 / rate),
        np.abs(np.fft.rfft(window * sound)) * 2.0 / window.sum(),
    )


def strongest(sound: Sound, low: float, high: float, rate: int = RATE) -> float:
    """Return the frequency of the strongest line between two frequencies, Hz."""
    frequency, height = lines(sound, rate)
    inside = (frequency >= low) & (frequency <= high)
    return float(frequency[inside][np.argmax(height[inside])])


def band(sound: Sound, low: float, high: float, rate: int = RATE) -> NDArray[np.float64]:
    """Return the part of a sound between two frequencies, without a delay."""
    return np.asarray(sosfiltfilt(butter(4, [low, high], "bandpass", fs=rate, output="sos"), sound))


def share_of_power(sound: Sound, low: float, high: float, rate: int = RATE) -> float:
    """Return what share of a sound's power lies between two frequencies."""
    frequency, height = lines(sound, rate)
    power = height**2
    return float(power[(frequency >= low) & (frequency < high)].sum() / power.sum())


def loudness(sound: Sound, step: float = 0.005, rate: int = RATE) -> NDArray[np.float64]:
    """Return the root mean square of each ``step`` s."""
    piece = round(step * rate)
    whole = np.asarray(sound[: len(sound) // piece * piece], dtype=np.float64).reshape(-1, piece)
    return np.asarray(np.sqrt(np.mean(whole**2, axis=1)))


def rhythm(sound: Sound, low: float, high: float, step: float = 0.005, rate: int = RATE) -> float:
    """Return how often a second the loudness swells, sought between two rates."""
    swell = loudness(sound, step, rate)
    return strongest(swell - swell.mean(), low, high, round(1.0 / step))


def beginnings(sound: Sound, threshold: float, quiet: float, rate: int = RATE) -> NDArray[np.float64]:
    """Return when something begins after at least ``quiet`` s below ``threshold``, s."""
    loud = np.flatnonzero(np.abs(sound) > threshold)
    first = np.insert(np.diff(loud) > quiet * rate, 0, values=True)
    return np.asarray(loud[first] / rate)
