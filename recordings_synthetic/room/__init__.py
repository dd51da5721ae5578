"""The room around the machine: its background, what else sounds in it, and the microphone."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import stream
from recordings_synthetic.filters import Filter, above, below, bump, resonance
from recordings_synthetic.shop import ShopSound, add, amplitude

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]


@dataclass(frozen=True)
class Microphone:
    """
    What hears it.

    Attributes
    ----------
    level
        The peak that the loudest cut reaches while all is well, as a share of full scale; well above 1 it
        clips.
    low, high
        Where its response falls off, Hz.
    hiss
        Its own noise, dB re an amplitude of full scale.
    bits
        Of a sample.
    """

    level: float = 0.22
    low: float = 60.0
    high: float = 15000.0
    hiss: float = -78.0
    bits: int = 24


@dataclass(frozen=True)
class Shop:
    """
    The shop.

    Attributes
    ----------
    background
        Hum and rumble when nothing runs, root mean square in dB re an amplitude of full scale.
    sounds
        What else sounds.
    microphone
        What hears it all.
    """

    background: float = -60.0
    sounds: tuple[ShopSound, ...] = ()
    microphone: Microphone = field(default_factory=Microphone)


class Ear:
    """A microphone at work, block by block."""

    def __init__(self, microphone: Microphone, rate: int, seed: int) -> None:
        self._rng = stream(seed, "hiss")
        self._hiss = np.float32(amplitude(microphone.hiss))
        self._steps = 2.0 ** (microphone.bits - 1)
        self._colour = Filter(
            np.concatenate(
                [
                    above(microphone.low, rate),
                    bump(2800.0, 0.8, 2.5, rate),
                    below(microphone.high, rate),
                ]
            )
        )

    def __call__(self, air: Floats) -> Singles:
        """Return what is recorded of a block: coloured, with hiss, in steps of its bits, clipped."""
        heard = self._colour(air)
        heard += self._hiss * self._rng.standard_normal(len(air), dtype=np.float32)
        steps = np.rint(heard * self._steps)
        return (np.clip(steps, -self._steps, self._steps - 1.0) / self._steps).astype(np.float32)


def air_of(shop: Shop, count: int, rate: int, seed: int) -> Singles:
    """Return all that sounds in the shop but the machine, ``count`` samples."""
    noise = stream(seed, "background").standard_normal(count, dtype=np.float32)
    # White noise through a resonance keeps pi/2 x its width (here 300 Hz) of the band, that is rate / 2.
    share = math.sqrt(math.pi * 300.0 / rate)
    rumble = Filter(resonance(150.0, 0.5, rate))(noise) / share
    second = np.arange(rate) * (2.0 * math.pi * 50.0 / rate)
    hum = np.sin(second) + 0.6 * np.sin(2.0 * second)
    air = (amplitude(shop.background) * (0.85 * rumble + np.resize(0.6 * hum, count))).astype(np.float32)
    for sound in shop.sounds:
        add(sound, air, rate)
    return np.asarray(air)
