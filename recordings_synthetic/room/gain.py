"""Automatic gain: a recorder that turns itself up and down, and pumps."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.room.frames import Followed

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class AutomaticGain:
    """
    How a recorder sets its own gain.

    Attributes
    ----------
    target
        The root mean square that it aims at, dB re an amplitude of full scale.
    attack, release
        Time constants with which it heeds louder and softer sound, s.
    most, least
        The gains it stays between, dB.
    """

    target: float = -22.0
    attack: float = 0.05
    release: float = 1.2
    most: float = 20.0
    least: float = -20.0


class SelfSetting(Followed):
    """An automatic gain at work, block by block; it begins with a gain of 1."""

    def __init__(self, settings: AutomaticGain, rate: int) -> None:
        super().__init__(1, rate)
        self._target = 10.0 ** (settings.target / 10.0)
        self._up, self._down = (-math.expm1(-self.step / t) for t in (settings.attack, settings.release))
        self._bounds = 10.0 ** (settings.least / 20.0), 10.0 ** (settings.most / 20.0)
        self._power = self._target

    def __call__(self, block: Floats) -> Floats:
        """Return a block with the gain of its moment."""
        return np.asarray(self.ride(np.array(block[None]))[0])

    def heard(self, power: Floats) -> Floats:
        """Return the next gain: what would bring the power of late to the target."""
        now = float(power[0])
        self._power += (now - self._power) * (self._up if now > self._power else self._down)
        gain = math.sqrt(self._target / max(self._power, 1e-20))
        return np.array([min(max(gain, self._bounds[0]), self._bounds[1])], dtype=np.float64)
