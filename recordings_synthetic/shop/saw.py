"""Circular saws: a table saw that runs on, and a mitre saw that is started for each cut."""

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.filters import resonance
from recordings_synthetic.shop.stretch import Cycle, Noise, Singles, Spells, Stretch, comb
from recordings_synthetic.shop.work import loaded, switched


@dataclass(frozen=True)
class Saw:
    """
    A circular saw.

    Attributes
    ----------
    spin, teeth
        Turns a second of its blade, and its teeth: the blade sounds at ``spin`` x ``teeth`` Hz, about 4 kHz.
    motor
        Turns of the motor for each of the blade.
    whistle
        Where the blade's disc sings, Hz.
    rise, fall
        Time constants of running up and down, s; a brake makes the second short.
    run, rest
        How long it is switched on and off for, s; ``None`` when it runs throughout.
    cut, gap
        How long a cut lasts, and the pause to the next, s.
    droop
        By what share a cut slows it.
    brush
        How loud the whine of brushes and gears is: a universal motor has it, an induction motor not.
    """

    spin: float = 66.5
    teeth: int = 60
    motor: float = 0.72
    whistle: float = 5300.0
    rise: float = 0.7
    fall: float = 1.8
    run: tuple[float, float] | None = None
    rest: tuple[float, float] = (0.0, 0.0)
    cut: tuple[float, float] = (3.0, 9.0)
    gap: tuple[float, float] = (3.0, 9.0)
    droop: float = 0.03
    brush: float = 0.0

    @classmethod
    def table(cls, rng: np.random.Generator) -> "Saw":
        """Return a table saw by chance: an induction motor, a belt, no brake."""
        spin = rng.uniform(62.0, 70.0)
        return cls(spin, 60, motor=48.0 / spin, whistle=rng.uniform(4800.0, 6200.0))

    @classmethod
    def mitre(cls, rng: np.random.Generator) -> "Saw":
        """Return a mitre saw by chance: a universal motor, a gear, a brake, started for each cut."""
        return cls(
            spin=rng.uniform(65.0, 75.0),
            teeth=60,
            motor=5.2,
            whistle=rng.uniform(5000.0, 6500.0),
            rise=0.18,
            fall=0.4,
            run=(3.0, 6.0),
            rest=(4.0, 15.0),
            cut=(1.0, 2.0),
            gap=(0.4, 1.0),
            droop=0.08,
            brush=0.6,
        )

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound, about 1 in size when it cuts."""
        rate, runs = stretch.rate, self._runs(stretch, rng)
        share = stretch.follow(stretch.on(runs), self.rise, self.fall)
        bite = stretch.follow(stretch.on(self._cuts(runs, rng, stretch.seconds)), 0.06, 0.04) * share
        steady = 1.0 + 0.0015 * stretch.slow(rng, 1.0)
        grain = np.exp(0.25 * stretch.slow(rng, 0.15))
        turns = stretch.turns(self.spin * share * (1.0 - self.droop * bite) * steady)
        idle, cutting = share**2.5, bite * grain
        tooth = comb({1: 0.3, 2: 0.12, 3: 0.06}, self.spin * self.teeth, rate, rng)
        motor = comb(
            {1: 0.1, 2: 0.1, 11: self.brush, 22: 0.5 * self.brush}, self.spin * self.motor, rate, rng
        )
        wobble = Cycle(1.0 + 0.35 * np.sin(2.0 * np.pi * np.arange(256) / 256.0))
        sings = Noise(rng, resonance(self.whistle, 60.0, rate))
        wind, chips = Noise(rng, resonance(1500.0, 0.4, rate)), Noise(rng, resonance(3200.0, 0.6, rate))
        board = Noise(rng, resonance(650.0, 1.2, rate))
        air = stretch.empty()
        for part in stretch.parts():
            n, phase = part.count, part.phase(turns)
            blade, bites = tooth(part.phase(turns * self.teeth)), part.rise(cutting)
            alone = blade + 0.15 * sings(n) + 0.12 * wind(n) + 0.5 * motor(part.phase(turns * self.motor))
            cut = wobble(phase) * (0.8 * chips(n) + 0.35 * board(n) + 0.8 * blade)
            air[part.samples] = part.rise(idle) * alone + bites * cut
        return air[: stretch.count]

    def _runs(self, stretch: Stretch, rng: np.random.Generator) -> Spells:
        last = stretch.off(5.0 * self.fall)
        return [(0.0, last)] if self.run is None else switched(stretch, rng, self.run, self.rest, last)

    def _cuts(self, runs: Spells, rng: np.random.Generator, seconds: float) -> Spells:
        """Return when it cuts: once it is up to speed."""
        return loaded([(a + 3.0 * self.rise, b) for a, b in runs], rng, seconds, self.cut, self.gap)
