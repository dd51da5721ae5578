"""
The first sounds of the shop, kept as they were: what was made from their seeds stays the same.

All are synthesised. The speech-like one is a buzz and noise in the rhythm of syllables; it says nothing.
"""

import math

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import wander
from recordings_synthetic.filters import Filter, above, below, resonance
from recordings_synthetic.shop.stretch import Stretch

Floats = NDArray[np.float64]


def collector(stretch: Stretch, rng: np.random.Generator) -> Floats:
    """Return a dust collector that runs up in about a second: rushing air and the tone of its blades."""
    count, rate = stretch.count, stretch.rate
    now = np.arange(count) / rate
    speed = -np.expm1(-now / 0.6)
    blades = np.cumsum(speed * rng.uniform(270.0, 340.0) * 2.0 * math.pi / rate)
    tone = np.sin(blades) + 0.5 * np.sin(2.0 * blades + 1.0) + 0.25 * np.sin(3.0 * blades + 2.0)
    rush = Filter(resonance(420.0, 0.5, rate))(rng.standard_normal(count))
    hiss = Filter(resonance(2500.0, 0.4, rate))(rng.standard_normal(count))
    return np.asarray(speed**2 * (_unit(rush) + 0.4 * _unit(hiss) + 0.35 * tone))


def knock(stretch: Stretch, rng: np.random.Generator) -> Floats:
    """Return a blow: some things ring and die away within a tenth of a second."""
    count, rate = stretch.count, stretch.rate
    now = np.arange(count) / rate
    sound = 0.3 * rng.standard_normal(count) * np.exp(-now / 0.006)
    for frequency in rng.uniform(120.0, 1800.0, 6):
        fade = np.exp(-now / rng.uniform(0.02, 0.09))
        sound += rng.uniform(0.3, 1.0) * fade * np.sin(2.0 * math.pi * frequency * now)
    return np.asarray(sound)


def sander(stretch: Stretch, rng: np.random.Generator) -> Floats:
    """Return another machine: its motor's tones and its grit, pressed on and lifted again."""
    count, rate = stretch.count, stretch.rate
    ticks = max(2, count * 50 // rate)
    press = 1.0 / (1.0 + np.exp(-3.0 * wander(rng, ticks, 0.02, memory=0.8)))
    pressed = np.interp(np.arange(count), np.linspace(0, count, ticks), press)
    phase = np.cumsum(rng.uniform(165.0, 195.0) * (1.0 - 0.05 * pressed)) * 2.0 * math.pi / rate
    tone = sum(np.sin(n * phase + n) / n for n in range(1, 9))
    grit = _unit(Filter(resonance(4000.0, 0.8, rate))(rng.standard_normal(count)))
    return np.asarray(0.5 * tone + (0.2 + pressed) * grit)


def speech(stretch: Stretch, rng: np.random.Generator) -> Floats:
    """Return bursts like talk: buzz at a voice's pitch and hissing, four syllables a second, with pauses."""
    count, rate = stretch.count, stretch.rate
    ticks = max(2, count * 100 // rate)
    place, every = np.linspace(0, count, ticks), np.arange(count)
    rhythm = 2.0 * math.pi * 4.0 * 0.01 * np.arange(ticks) + 3.0 * wander(rng, ticks, 0.01, memory=0.4)
    talking = wander(rng, ticks, 0.01, memory=1.0) > -0.5
    syllables = np.interp(every, place, np.clip(np.sin(rhythm), 0.0, 1.0) * talking)
    pitch = rng.uniform(100.0, 200.0) * (1.0 + 0.12 * wander(rng, ticks, 0.01, memory=0.3))
    buzz = 2.0 * np.mod(np.cumsum(np.interp(every, place, pitch)) / rate, 1.0) - 1.0
    vowels = sum(Filter(resonance(f, 5.0, rate))(buzz) for f in (600.0, 1300.0, 2500.0))
    hiss = Filter(above(4000.0, rate))(rng.standard_normal(count))
    return np.asarray(Filter(below(15.0, rate))(syllables) * (vowels + 0.05 * hiss))


def _unit(sound: Floats) -> Floats:
    """Return a sound brought to a root mean square of 1."""
    return np.asarray(sound / max(float(np.sqrt(np.mean(sound**2))), 1e-12))
