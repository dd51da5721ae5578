"""What several tests of the simulator measure."""

import numpy as np
from numpy.typing import NDArray

RATE = 16000
SEED = 5


def level(samples: NDArray[np.floating]) -> float:
    """Return the root mean square in dB."""
    return float(10.0 * np.log10(np.mean(np.asarray(samples, dtype=np.float64) ** 2)))


def spectrum(samples: NDArray[np.floating]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return frequencies and mean power of pieces of half a second, windowed after Hann, half overlapping."""
    length = RATE // 2
    window = np.hanning(length + 1)[:-1]
    starts = range(0, len(samples) - length + 1, length // 2)
    power = np.mean([np.abs(np.fft.rfft(window * samples[i : i + length])) ** 2 for i in starts], axis=0)
    return np.fft.rfftfreq(length, 1.0 / RATE), power


def peak_near(samples: NDArray[np.floating], frequency: float, width: float) -> tuple[float, float, float]:
    """Return the strongest line within ``width`` Hz: frequency, level in dB, dB above its surroundings."""
    frequencies, power = spectrum(samples)
    away = np.abs(frequencies - frequency)
    near = np.flatnonzero(away <= width)
    best = near[np.argmax(power[near])]
    around = np.median(power[(away > width + 6.0) & (away < width + 40.0)])
    peak = 10.0 * np.log10(power[best])
    return float(frequencies[best]), float(peak), float(peak - 10.0 * np.log10(around))
