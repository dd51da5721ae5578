"""
Other sounds of a shop: none of them is the cut, and none may raise an alarm.

All are synthesised. The speech-like one is a buzz and noise in the rhythm of syllables; it says nothing.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import stream, wander
from recordings_synthetic.filters import Filter, above, below, resonance

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Kind = Literal["collector", "knock", "sander", "speech"]


@dataclass(frozen=True)
class ShopSound:
    """
    Something else that sounds in the shop.

    Attributes
    ----------
    kind
        ``collector`` (a fan that runs up and stays), ``knock`` (a hammer, a door), ``sander`` (another
        machine, pressed on and lifted) or ``speech`` (bursts in the rhythm of talk).
    begin, end
        When, s in the recording. A knock does not heed its end.
    level
        Its root mean square, of a knock its peak, dB re an amplitude of full scale.
    seed
        Where its chance comes from.
    """

    kind: Kind
    begin: float
    end: float = math.inf
    level: float = -24.0
    seed: int = 0


def amplitude(level: float) -> float:
    """Return the amplitude of a level in dB re full scale."""
    return float(10.0 ** (level / 20.0))


def add(sound: ShopSound, air: Singles, rate: int) -> None:
    """Add one sound to a recording's air, in place."""
    first = max(0, round(sound.begin * rate))
    last = min(len(air), first + rate if sound.kind == "knock" else _samples(sound.end, rate, len(air)))
    if last > first:
        made = MAKERS[sound.kind](last - first, rate, stream(sound.seed, sound.kind))
        size = float(np.abs(made).max() if sound.kind == "knock" else np.sqrt(np.mean(made**2)))
        air[first:last] += (amplitude(sound.level) / max(size, 1e-12) * made).astype(np.float32)


def _samples(seconds: float, rate: int, most: int) -> int:
    return most if seconds * rate >= most else round(seconds * rate)


def collector(count: int, rate: int, rng: np.random.Generator) -> Floats:
    """Return a dust collector that runs up in about a second: rushing air and the tone of its blades."""
    now = np.arange(count) / rate
    speed = -np.expm1(-now / 0.6)
    blades = np.cumsum(speed * rng.uniform(270.0, 340.0) * 2.0 * math.pi / rate)
    tone = np.sin(blades) + 0.5 * np.sin(2.0 * blades + 1.0) + 0.25 * np.sin(3.0 * blades + 2.0)
    rush = Filter(resonance(420.0, 0.5, rate))(rng.standard_normal(count))
    hiss = Filter(resonance(2500.0, 0.4, rate))(rng.standard_normal(count))
    return np.asarray(speed**2 * (_unit(rush) + 0.4 * _unit(hiss) + 0.35 * tone))


def knock(count: int, rate: int, rng: np.random.Generator) -> Floats:
    """Return a blow: some things ring and die away within a tenth of a second."""
    now = np.arange(count) / rate
    sound = 0.3 * rng.standard_normal(count) * np.exp(-now / 0.006)
    for frequency in rng.uniform(120.0, 1800.0, 6):
        fade = np.exp(-now / rng.uniform(0.02, 0.09))
        sound += rng.uniform(0.3, 1.0) * fade * np.sin(2.0 * math.pi * frequency * now)
    return np.asarray(sound)


def sander(count: int, rate: int, rng: np.random.Generator) -> Floats:
    """Return another machine: its motor's tones and its grit, pressed on and lifted again."""
    ticks = max(2, count * 50 // rate)
    press = 1.0 / (1.0 + np.exp(-3.0 * wander(rng, ticks, 0.02, memory=0.8)))
    pressed = np.interp(np.arange(count), np.linspace(0, count, ticks), press)
    phase = np.cumsum(rng.uniform(165.0, 195.0) * (1.0 - 0.05 * pressed)) * 2.0 * math.pi / rate
    tone = sum(np.sin(n * phase + n) / n for n in range(1, 9))
    grit = _unit(Filter(resonance(4000.0, 0.8, rate))(rng.standard_normal(count)))
    return np.asarray(0.5 * tone + (0.2 + pressed) * grit)


def speech(count: int, rate: int, rng: np.random.Generator) -> Floats:
    """Return bursts like talk: buzz at a voice's pitch and hissing, four syllables a second, with pauses."""
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


MAKERS: Mapping[Kind, Callable[[int, int, np.random.Generator], Floats]] = {
    "collector": collector,
    "knock": knock,
    "sander": sander,
    "speech": speech,
}
