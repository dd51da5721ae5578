"""Sound made by hand, from closed forms and a seed, for the tests of the hearing."""

import itertools

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


def white(seconds: float, rate: int, amplitude: float, seed: int) -> Samples:
    """White noise with the standard deviation ``amplitude``."""
    noise = np.random.default_rng(seed).standard_normal(round(seconds * rate))
    return (amplitude * noise).astype(np.float32)


def comb(
    seconds: float, rate: int, frequency: float, amplitudes: dict[float, float], seed: int = 0
) -> Samples:
    """Sines at multiples of ``frequency`` (order: amplitude), each with a phase of its own."""
    phases = np.random.default_rng(seed).uniform(0, 2 * np.pi, len(amplitudes))
    turns = frequency * np.arange(round(seconds * rate)) / rate
    sines = (
        amplitude * np.cos(2 * np.pi * order * turns + phase)
        for (order, amplitude), phase in zip(amplitudes.items(), phases, strict=True)
    )
    return np.sum(list(sines), axis=0).astype(np.float32)


def cutter(flutes: int, runout: float = 0.1, lines: int = 24) -> dict[float, float]:
    """Amplitudes of a cut: tooth-pass harmonics that fall off, ``runout`` of that on the lines between."""
    return {
        float(order): (1.0 if order % flutes == 0 else runout) * (order / flutes + 1) ** -0.7
        for order in range(1, lines + 1)
    }


def biting(seconds: float, rate: int, frequency: float, flutes: int, bites: float) -> Samples:
    """A bit that turns at ``frequency`` Hz in a hiss whose power swells with its teeth by ``bites``."""
    lines = 0.02 * comb(seconds, rate, frequency, cutter(flutes, 0.2), seed=1)
    swell = 1.0 + bites * np.cos(2.0 * np.pi * flutes * frequency * np.arange(len(lines)) / rate)
    return (lines + white(seconds, rate, 0.05, seed=2) * np.sqrt(swell)).astype(np.float32)


def windows_of(sound: Samples, size: int, hop: int) -> Samples:
    """All windows that fit, as views of the sound."""
    return np.lib.stride_tricks.sliding_window_view(sound, size)[::hop]


def in_blocks(sound: Samples, sizes: list[int]) -> list[Samples]:
    """Cut the sound into blocks of the sizes given, in turn, to its end."""
    blocks, first = [], 0
    for size in itertools.cycle(sizes):
        if first >= len(sound):
            return blocks
        blocks.append(sound[first : first + size])
        first += size
    return blocks
