"""A dust extractor with a bag: a fan that runs up, flutters and runs down."""

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.filters import above, below, resonance
from recordings_synthetic.shop.stretch import Cycle, Noise, Singles, Stretch, comb


@dataclass(frozen=True)
class Extractor:
    """
    A dust extractor.

    Attributes
    ----------
    shaft
        Turns a second: a two-pole induction motor on 50 Hz mains, a few percent below them.
    blades
        Of its fan; the tone of the blades is at ``shaft`` x ``blades`` Hz.
    flutter
        How often a second its bag flaps.
    rise, fall
        Time constants of running up and down, s.

    Notes
    -----
    Sound power of a fan goes with the fifth power of its speed (common practice), its amplitude with 2.5.
    """

    shaft: float = 48.5
    blades: int = 8
    flutter: float = 6.0
    rise: float = 0.9
    fall: float = 1.6

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Extractor":
        """Return one by chance."""
        return cls(
            rng.uniform(47.2, 49.4), int(rng.integers(6, 13)), rng.uniform(4.0, 9.0), rng.uniform(0.6, 1.3)
        )

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound, about 1 in size."""
        rate, powered = stretch.rate, stretch.on([(0.0, stretch.off(4.0 * self.fall))])
        share = stretch.follow(powered, self.rise, self.fall)
        turns = stretch.turns(self.shaft * share * (1.0 + 0.002 * stretch.slow(rng, 3.0)))
        flaps = stretch.turns(self.flutter * share * np.exp(0.15 * stretch.slow(rng, 0.4)))
        loose = np.exp(0.5 * stretch.slow(rng, 0.8)) * share**2
        loud = share**2.5 * (1.0 + 0.05 * stretch.slow(rng, 0.7))
        tone = comb({1: 0.5, 2: 0.25, 3: 0.15, 4: 0.08}, self.shaft * self.blades, rate, rng)
        wheel = comb({1: 0.25, 2: 0.12, 3: 0.05}, self.shaft, rate, rng)
        hum = comb({2: 0.12, 4: 0.06}, 50.0, rate, rng)
        mains = stretch.turns(np.full(len(share), 50.0))
        rush, hiss = Noise(rng, resonance(450.0, 0.4, rate)), Noise(rng, resonance(2200.0, 0.35, rate))
        cloth = Noise(rng, np.concatenate([above(60.0, rate), below(400.0, rate)]))
        flap = Cycle(np.maximum(np.sin(2.0 * np.pi * np.arange(512) / 512.0), 0.0) ** 3)
        air = stretch.empty()
        for part in stretch.parts():
            n, now = part.count, part.samples
            sounds = tone(part.phase(turns * self.blades)) + wheel(part.phase(turns))
            sounds += 0.7 * rush(n) + 0.45 * hiss(n)
            air[now] = part.rise(loud) * sounds + part.rise(powered) * hum(part.phase(mains))
            air[now] += part.rise(loose) * flap(part.phase(flaps)) * cloth(n)
        return air[: stretch.count]
