"""A reciprocating air compressor: thumps, valves and a motor, switched on and off by the pressure."""

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.filters import resonance
from recordings_synthetic.shop.stretch import Cycle, Floats, Noise, Singles, Spells, Stretch, comb
from recordings_synthetic.shop.work import switched


@dataclass(frozen=True)
class Compressor:
    """
    A piston compressor, driven over a belt.

    Attributes
    ----------
    pump
        Strokes a second, 10 to 15.
    intake
        What the intake rings at when a stroke draws air, Hz.
    shaft
        Turns a second of its motor: four poles on 50 Hz mains.
    run, rest
        Shortest and longest time for which it fills the tank, and waits, s. It begins with a run.
    """

    pump: float = 12.5
    intake: float = 90.0
    shaft: float = 24.3
    run: tuple[float, float] = (15.0, 50.0)
    rest: tuple[float, float] = (15.0, 90.0)

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Compressor":
        """Return one by chance."""
        return cls(rng.uniform(10.0, 15.0), rng.uniform(75.0, 120.0), rng.uniform(24.0, 24.6))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound, about 1 in size."""
        rate, fills = stretch.rate, switched(stretch, rng, self.run, self.rest, stretch.off(1.5))
        powered = stretch.on(fills)
        share = stretch.follow(powered, 0.25, 0.15)
        slowed = share * (1.0 - 0.04 * stretch.follow(powered, 15.0, 0.5))  # against the rising pressure
        strokes = stretch.turns(self.pump * slowed * (1.0 + 0.002 * stretch.slow(rng, 1.0)))
        shaft = stretch.turns(self.shaft * slowed)
        mains = stretch.turns(np.full(len(share), 50.0))
        vent = self._vent(stretch, fills)
        thump, valve = Cycle(self._stroke()), Cycle(np.exp(-np.arange(4096) / 4096.0 * 14.0))
        hum = comb({2: 0.25, 4: 0.12, 6: 0.05}, 50.0, rate, rng)
        motor = comb({1: 0.15, 2: 0.15, 3: 0.06}, self.shaft, rate, rng)
        clatter, rush = Noise(rng, resonance(2300.0, 0.8, rate)), Noise(rng, resonance(700.0, 0.4, rate))
        unload = Noise(rng, resonance(4500.0, 0.5, rate))
        air = stretch.empty()
        for part in stretch.parts():
            n, phase = part.count, part.phase(strokes)
            pumping = 1.3 * thump(phase) + valve(phase) * 0.8 * clatter(n) + 0.12 * rush(n)
            turning = motor(part.phase(shaft)) + hum(part.phase(mains)) * part.rise(powered)
            air[part.samples] = part.rise(share) * (pumping + turning) + part.rise(vent) * unload(n)
        return air[: stretch.count]

    def _vent(self, stretch: Stretch, fills: Spells) -> Floats:
        """Return how loud the unloading valve is: it lets air out for half a second after each run."""
        now, loud = stretch.times, np.zeros(len(stretch.times))
        for _, off in fills:
            loud += 0.5 * (now >= off) * np.exp(-np.maximum(now - off, 0.0) / 0.22)
        return loud

    def _stroke(self) -> Floats:
        """Return one stroke: the intake rings and dies away; then the way back, softer."""
        phase = np.arange(4096) / 4096.0
        rings = 2.0 * np.pi * self.intake / self.pump
        shape = np.exp(-phase * 9.0) * np.sin(rings * phase)
        back = np.mod(phase - 0.48, 1.0)
        shape += 0.35 * np.exp(-back * 12.0) * np.sin(0.7 * rings * back)
        return np.asarray(shape - shape.mean())
