"""The warning sound of a forklift that goes backwards."""

import math
from dataclasses import dataclass

import numpy as np

from recordings_synthetic.chance import spells
from recordings_synthetic.shop.stretch import Singles, Stretch, comb


@dataclass(frozen=True)
class Beeper:
    """
    A reversing alarm: a buzzer, half of the time on, that comes nearer and goes away.

    Attributes
    ----------
    tone
        Hz.
    pulses
        How often a second.
    """

    tone: float = 1250.0
    pulses: float = 1.1

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Beeper":
        """Return one by chance."""
        return cls(rng.uniform(950.0, 1500.0), rng.uniform(0.8, 1.5))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound: it goes backwards for some seconds at a time."""
        rate, now = stretch.rate, stretch.times
        going = [(0.0, 6.0), *((a + 6.0, b + 6.0) for a, b in spells(rng, stretch.seconds, (3, 10), (4, 15)))]
        pulse = np.zeros(len(now))
        for first, last in going:
            here = (now >= first) & (now < last)
            pulse[here] = np.mod((now[here] - first) * self.pulses, 1.0) < 0.5
        gate = stretch.follow(pulse, 0.006, 0.006)
        near = np.exp(0.35 * stretch.slow(rng, 4.0))
        tone = comb({1: 1.0, 2: 0.1, 3: 0.35, 5: 0.15}, self.tone, rate, rng)
        turns = stretch.turns(np.full(len(now), self.tone))
        air = stretch.empty()
        for part in stretch.parts():
            air[part.samples] = part.rise(gate * near) * tone(part.phase(turns)) * math.sqrt(2.0)
        return air[: stretch.count]
