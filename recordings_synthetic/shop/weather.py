"""Weather: rain on a roof of sheet metal, and wind around the house."""

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.filters import Filter, above, below, resonance
from recordings_synthetic.shop.stretch import Noise, Singles, Stretch, comb


@dataclass(frozen=True)
class Rain:
    """
    Rain on a roof of sheet metal: many drops are noise, single big ones tick.

    Attributes
    ----------
    rise
        Time constant in which it becomes heavy, s.
    sheet
        What the sheet drums at, Hz.
    drops
        Big drops a second, when it rains in full.
    """

    rise: float = 12.0
    sheet: float = 700.0
    drops: float = 40.0

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Rain":
        """Return one by chance."""
        return cls(rng.uniform(6.0, 20.0), rng.uniform(450.0, 1000.0), rng.uniform(20.0, 70.0))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound, about 1 in size in the end."""
        rate, falls = stretch.rate, stretch.on([(0.0, stretch.off(6.0))])
        heavy = stretch.follow(falls, self.rise, 1.2) * np.exp(0.12 * stretch.slow(rng, 5.0))
        hiss, drum = Noise(rng, resonance(3800.0, 0.45, rate)), Noise(rng, resonance(self.sheet, 0.9, rate))
        drop = Filter(resonance(2.2 * self.sheet, 4.0, rate))
        air = stretch.empty()
        for part in stretch.parts():
            n, loud = part.count, part.rise(heavy)
            ticks = np.zeros(n)
            hits = rng.poisson(self.drops * n / rate)
            ticks[rng.integers(0, n, hits)] = rng.exponential(rate / 1500.0, hits)
            air[part.samples] = loud * (0.75 * hiss(n) + 0.5 * drum(n) + drop(ticks))
        return air[: stretch.count]


@dataclass(frozen=True)
class Wind:
    """
    Wind around the house: gusts that rumble, and a gap that whistles.

    Attributes
    ----------
    gusts
        Seconds after which a gust is forgotten.
    gap
        Width of the gap, mm. It whistles at .2 x speed / width (Strouhal's number; common practice).
    speed
        Of the air in the gap, m/s.
    """

    gusts: float = 2.5
    gap: float = 4.0
    speed: float = 10.0

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Wind":
        """Return one by chance."""
        return cls(rng.uniform(1.5, 4.0), rng.uniform(2.5, 6.0), rng.uniform(7.0, 13.0))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound, about 1: it goes with the square of the speed, the whistle with its fourth."""
        rate = stretch.rate
        blows = stretch.follow(stretch.on([(0.0, stretch.off(3.0))]), 0.8, 0.7)
        gust = blows * np.exp(0.3 * stretch.slow(rng, self.gusts) + 0.08 * stretch.slow(rng, 0.2))
        pitch = 0.2 * self.speed * gust / (0.001 * self.gap)
        turns = stretch.turns(pitch * (1.0 + 0.01 * stretch.slow(rng, 0.03)))
        shaky = np.exp(0.5 * stretch.slow(rng, 0.06)) * gust**4
        rumble = Noise(rng, np.concatenate([above(25.0, rate), below(110.0, rate), below(600.0, rate)]))
        rush = Noise(rng, resonance(500.0, 0.5, rate))
        tone = comb({1: 0.2, 2: 0.05}, 4.0 * self.speed * 0.2 / (0.001 * self.gap), rate, rng)
        air = stretch.empty()
        for part in stretch.parts():
            n, loud = part.count, part.rise(gust**2)
            air[part.samples] = loud * (rumble(n) + 0.25 * rush(n)) + part.rise(shaky) * tone(
                part.phase(turns)
            )
        return air[: stretch.count]
