"""Blows: a hammer, a door, a metal bar that is dropped."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import spells
from recordings_synthetic.filters import Filter, below
from recordings_synthetic.shop.stretch import Floats, Singles, Stretch

FREE_BAR = (1.0, 2.7565, 5.4039, 8.9330, 13.3443)
"""Frequencies of a free bar's bending, re the lowest: as the squares of 4.7300, 7.8532, 10.9956, ..."""


def ring(now: Floats, modes: NDArray[np.float64], rate: int) -> Floats:
    """
    Return what rings after a blow.

    Parameters
    ----------
    now
        (n,) seconds since the blow.
    modes
        (k, 3) frequency in Hz, time constant in s, amplitude. What lies above .45 of ``rate`` is left out.
    rate
        Samples a second.
    """
    sound = np.zeros(len(now))
    for frequency, fade, size in modes[modes[:, 0] < 0.45 * rate]:
        short = now[: min(len(now), math.ceil(12.0 * fade * rate))]
        sound[: len(short)] += size * np.exp(-short / fade) * np.sin(2.0 * math.pi * frequency * short)
    return sound


@dataclass(frozen=True)
class Hammer:
    """
    Nails driven with a hammer, a few blows each, with pauses.

    Attributes
    ----------
    beat
        Seconds from blow to blow.
    nail
        Frequency of a nail that still stands out, Hz; each blow shortens it, and it rings higher.
    bench
        What the bench rings at, Hz.
    """

    beat: float = 0.42
    nail: float = 1500.0
    bench: tuple[float, ...] = (130.0, 240.0, 410.0, 720.0)

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Hammer":
        """Return one by chance."""
        bench = rng.uniform(0.8, 1.25, 4) * (130.0, 240.0, 410.0, 720.0)
        return cls(rng.uniform(0.33, 0.55), rng.uniform(1200.0, 1900.0), tuple(bench.tolist()))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound."""
        air = np.zeros(stretch.count, np.float32)
        now = np.arange(min(round(0.35 * stretch.rate), stretch.count)) / stretch.rate
        later = spells(rng, stretch.seconds, (1.5, 3.0), (2.0, 9.0))
        for first, last in [(0.0, 2.0), *((a + 2.0, b + 2.0) for a, b in later)]:
            for blow in range(int((last - first) / self.beat)):
                late = 0.07 * self.beat * rng.uniform(-1.0, 1.0) if blow else 0.0
                when = round((first + blow * self.beat + late) * stretch.rate)
                if when + len(now) <= stretch.count:
                    air[when : when + len(now)] += self._blow(now, blow, stretch.rate, rng)
        return air

    def _blow(self, now: Floats, blow: int, rate: int, rng: np.random.Generator) -> Singles:
        """Return one blow: a click, the nail, the bench."""
        modes = [(f, 0.05 * 200.0 / (f + 70.0), rng.uniform(0.4, 0.8)) for f in self.bench]
        shorter = self.nail * (1.0 + 0.12 * blow)
        modes += [(shorter, 0.012, 0.5), (2.7 * shorter, 0.006, 0.3)]
        click = rng.standard_normal(len(now)) * np.exp(-now / 0.0025)
        sound = 0.5 * click + ring(now, np.array(modes), rate)
        return np.asarray(rng.uniform(0.6, 1.0) * sound, dtype=np.float32)


@dataclass(frozen=True)
class Door:
    """
    A door that is slammed: the latch, the thump of the air, the leaf, a rattle.

    Attributes
    ----------
    thump
        Of the air in the room, Hz.
    leaf
        What the door rings at, Hz.
    """

    thump: float = 38.0
    leaf: tuple[float, ...] = (85.0, 140.0, 215.0, 330.0)

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Door":
        """Return one by chance."""
        leaf = rng.uniform(0.85, 1.2, 4) * (85.0, 140.0, 215.0, 330.0)
        return cls(rng.uniform(28.0, 48.0), tuple(leaf.tolist()))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound."""
        rate = stretch.rate
        now = np.arange(stretch.count) / rate
        slam = now[: max(0, len(now) - round(0.03 * rate))]
        modes = [(self.thump, 0.12, 1.0), *((f, 10.0 / f, rng.uniform(0.4, 0.8)) for f in self.leaf)]
        sound = 0.5 * rng.standard_normal(len(now)) * np.exp(-now / 0.002)  # the latch comes first
        late = ring(slam, np.array(modes), rate)
        late += 1.2 * Filter(below(900.0, rate))(rng.standard_normal(len(slam))) * np.exp(-slam / 0.02)
        sound[len(now) - len(slam) :] += late
        for when in (0.09, 0.16, 0.21) if len(now) > rate // 2 else ():
            first = round(when * rate)
            fade = np.exp(-now[: len(now) - first] / 0.005)
            sound[first:] += 0.12 * rng.standard_normal(len(now) - first) * fade
        return np.asarray(sound, dtype=np.float32)


@dataclass(frozen=True)
class Bar:
    """
    A metal bar that is dropped, rings and bounces.

    Attributes
    ----------
    lowest
        Frequency of its first bending, Hz; the others follow from the theory of a free bar (``FREE_BAR``,
        after Euler and Bernoulli; from memory).
    fade
        Time constant of its lowest frequency, s; higher ones die away sooner.
    bounce
        Speed after a bounce, as a share of that before.
    """

    lowest: float = 620.0
    fade: float = 0.45
    bounce: float = 0.55

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Bar":
        """Return one by chance."""
        return cls(rng.uniform(350.0, 1200.0), rng.uniform(0.3, 0.7), rng.uniform(0.4, 0.65))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound: it falls, and each bounce is half as long as it is fast."""
        rate, air = stretch.rate, np.zeros(stretch.count)
        share = np.array(FREE_BAR)
        when, size, aloft = 0.0, 1.0, 0.45
        while aloft > 0.02 and when < stretch.seconds:
            first = round(when * rate)
            now = np.arange(stretch.count - first) / rate
            where = rng.uniform(0.3, 1.0, len(share))  # on what it falls decides what is excited
            modes = np.column_stack([self.lowest * share, self.fade / share**0.7, size * where])
            air[first:] += ring(now, modes, rate)
            click = now[: rate // 50]
            air[first : first + len(click)] += (
                0.8 * size * rng.standard_normal(len(click)) * np.exp(-click / 0.0015)
            )
            when, size, aloft = when + aloft, size * self.bounce, aloft * self.bounce
        return np.asarray(air, dtype=np.float32)
