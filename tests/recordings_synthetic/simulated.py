"""What several tests of the simulator measure."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from recordings_synthetic import Fault, Gantry, Recording, Spindle, Straight, steady

RATE = 16000
SEED = 5
BIT = Bit("any", 6.0, 2, 18000.0)
EXACT = Gantry(spindle=Spindle(off=0.0, wandering=0.0002))
CUT = Straight(seconds=9.0, spindle_from=0.2, cut_from=3.0)
FAILS = 5.0  # s; where a fault begins in that cut


@lru_cache(maxsize=96)
def cut_with(
    fault: Fault | None = None, *, seed: int = 8, flutes: int = 2, cut: Straight = CUT, rate: int = RATE
) -> Recording:
    """Return a straight cut with a fault or without, by a bit of so many flutes on a steady spindle."""
    return steady(Bit("any", 6.0, flutes, 18000.0), seed=seed, rate=rate, cut=cut, fault=fault, machine=EXACT)


def turns_per_second(recording: Recording) -> float:
    """Return how fast the spindle turned."""
    return recording.truth.spindle[0].speed / 60.0


def late(recording: Recording, after: float = 1.0) -> NDArray[np.float32]:
    """Return the sound from ``after`` seconds after a fault's usual beginning on."""
    return recording.samples[round((FAILS + after) * recording.rate) :]


def change(
    fault: Fault, *orders: float, seeds: range = range(2), flutes: int = 2, after: float = 1.0
) -> list[float]:
    """Return by how many dB a fault changes the level, and the line of each order: medians over seeds."""
    rises = []
    for seed in seeds:
        well, wrong = (cut_with(which, seed=seed, flutes=flutes) for which in (None, fault))
        turn = turns_per_second(well)
        measured = [
            [level(late(one, after)), *(peak_near(late(one, after), n * turn, 3.0)[1] for n in orders)]
            for one in (well, wrong)
        ]
        rises.append(np.subtract(measured[1], measured[0]))
    return np.median(rises, axis=0).tolist()


def swell(samples: NDArray[np.floating], turn: float) -> float:
    """Return by what share the noise between 2.5 and 6 kHz swells ``turn`` times a second."""
    spectrum = np.fft.rfft(samples)
    frequency = np.fft.rfftfreq(len(samples), 1 / RATE)
    band = np.fft.irfft(np.where((frequency > 2500) & (frequency < 6000), spectrum, 0.0), len(samples))
    power = band**2
    phase = np.exp(-2j * np.pi * turn * np.arange(len(power)) / RATE)
    blocks = len(power) // (RATE // 10)
    whole = slice(0, blocks * (RATE // 10))
    parts = (power[whole] * phase[whole]).reshape(blocks, -1).mean(axis=1)
    return float(np.sqrt(np.mean(np.abs(parts) ** 2)) / power.mean())


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
