"""Noise suppression as phones and call software have it: what is steady is taken for noise and swallowed."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.filters import Filter, below
from recordings_synthetic.room.frames import Followed

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Suppression:
    """
    How noise is suppressed: by subtraction of power, band by band.

    Attributes
    ----------
    depth
        The most that is taken off, dB.
    learn
        Time constant in which steady sound comes to be taken for noise, s.
    over
        How much more than the noise is subtracted, as a factor of its power.
    bands
        How many; they lie between 150 Hz and 7 kHz, evenly in octaves.
    """

    depth: float = 18.0
    learn: float = 3.0
    over: float = 1.6
    bands: int = 8


class Suppressor(Followed):
    """
    Noise suppression at work, block by block.

    Notes
    -----
    Bands are what a low-pass takes away from what lower ones leave, so that they add up to the sound itself.
    A band's gain is ``sqrt(1 - over N / P)``, at least ``-depth`` dB, with its power ``P`` of the last 50 ms
    and its noise ``N``, which rises slowly towards ``P`` and falls with it at once. It begins with no noise.
    """

    def __init__(self, settings: Suppression, rate: int) -> None:
        super().__init__(settings.bands, rate)
        edges = np.geomspace(150.0, min(7000.0, 0.4 * rate), settings.bands - 1)[::-1]
        self._split = [Filter(below(edge, rate)) for edge in edges]
        self._floor = 10.0 ** (-settings.depth / 20.0)
        self._over = settings.over
        self._quick, self._slow = (-math.expm1(-self.step / t) for t in (0.05, settings.learn))
        self._power = np.zeros(settings.bands)
        self._noise = np.zeros(settings.bands)

    def __call__(self, block: Floats) -> Floats:
        """Return what is left of a block."""
        sounds, rest = np.empty((len(self._split) + 1, len(block))), block
        for band, low_pass in zip(sounds, self._split, strict=False):
            lower = low_pass(rest)
            np.subtract(rest, lower, out=band)
            rest = lower
        sounds[-1] = rest
        left, *others = self.ride(sounds)
        for band in others:
            left += band
        return np.asarray(left)

    def heard(self, power: Floats) -> Floats:
        """Return the next gains of the bands."""
        self._power += self._quick * (power - self._power)
        risen = self._noise + self._slow * (self._power - self._noise)
        self._noise = np.minimum(risen, self._power)
        left = 1.0 - self._over * self._noise / np.maximum(self._power, 1e-20)
        return np.asarray(np.maximum(np.sqrt(np.maximum(left, 0.0)), self._floor))
