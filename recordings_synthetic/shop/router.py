"""Another router that someone guides by hand nearby: its own speed, its own teeth, passes and pauses."""

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.filters import resonance
from recordings_synthetic.shop.stretch import Cycle, Noise, Singles, Stretch, comb
from recordings_synthetic.shop.work import loaded


@dataclass(frozen=True)
class Router:
    """
    A hand-held router with a universal motor that is not regulated.

    Attributes
    ----------
    speed, flutes
        Turns a second, and cutting edges: it cuts at ``speed`` x ``flutes`` Hz and multiples.
    runout
        Of its bit: the line at ``speed`` while cutting, as a share of that of its teeth.
    droop
        By what share a pass slows it.
    cut, gap
        How long a pass lasts, and the pause to the next, s.

    Notes
    -----
    Not the force model of the machine that is listened to, but what it leads to: lines at the teeth's
    passing, weak ones at the turns between, noise that comes and goes with the teeth. The bit is tight.
    """

    speed: float = 370.0
    flutes: int = 2
    runout: float = 0.15
    droop: float = 0.06
    cut: tuple[float, float] = (3.0, 11.0)
    gap: tuple[float, float] = (2.0, 7.0)

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Router":
        """Return one by chance: 13 000 to 26 000 turns a minute, one to three flutes."""
        return cls(
            rng.uniform(217.0, 433.0),
            int(rng.integers(1, 4)),
            rng.uniform(0.05, 0.3),
            rng.uniform(0.03, 0.08),
        )

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound, about 1 in size when it cuts."""
        rate, last = stretch.rate, stretch.off(3.0)
        share = stretch.follow(stretch.on([(0.0, last)]), 0.25, 0.6)
        passes = loaded([(1.0, last)], rng, stretch.seconds, self.cut, self.gap)
        hand = np.clip(1.0 + 0.3 * stretch.slow(rng, 0.5), 0.2, 2.0)
        bite = stretch.follow(stretch.on(passes), 0.1, 0.08) * hand * share
        steady = 1.0 + 0.003 * stretch.slow(rng, 1.0)
        turns = stretch.turns(self.speed * share * (1.0 - self.droop * bite) * steady)
        teeth = comb(self._lines(), self.speed, rate, rng)
        motor = comb({1: 0.1, 2: 0.06, 7: 0.2, 14: 0.06, 24: 0.12}, self.speed, rate, rng)
        place = np.arange(1024) / 1024.0
        swell = Cycle(1.0 + 0.8 * np.sin(2.0 * np.pi * self.flutes * place))
        fan, chips = Noise(rng, resonance(1700.0, 0.4, rate)), Noise(rng, resonance(4200.0, 0.5, rate))
        wood = Noise(rng, resonance(900.0, 0.8, rate))
        whirling, bites = share**2.5, bite
        air = stretch.empty()
        for part in stretch.parts():
            n, phase = part.count, part.phase(turns)
            cut = 0.9 * teeth(phase) + swell(phase) * (0.45 * chips(n) + 0.25 * wood(n))
            alone = motor(phase) + 0.25 * fan(n)
            air[part.samples] = part.rise(whirling) * alone + part.rise(bites) * cut
        return air[: stretch.count]

    def _lines(self) -> dict[int, float]:
        """Return the amplitudes of its orders: the teeth's fall off slowly, runout's lie between."""
        teeth = {n * self.flutes: 1.0 / n for n in range(1, 9)}
        between = {n: self.runout / n**0.5 for n in range(1, 4 * self.flutes) if n % self.flutes}
        return dict(sorted({**between, **teeth}.items()))
