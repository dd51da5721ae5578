"""A thickness planer: a cutter head with few knives, howling, and boards fed through it."""

from dataclasses import dataclass

import numpy as np

from recordings_synthetic.filters import resonance
from recordings_synthetic.shop.stretch import Cycle, Noise, Singles, Spells, Stretch, comb
from recordings_synthetic.shop.work import loaded


@dataclass(frozen=True)
class Planer:
    """
    A thickness planer.

    Attributes
    ----------
    head, knives
        Turns a second of its cutter head, and its knives: it howls at ``head`` x ``knives`` Hz and multiples,
        as each knife passes the lip of the table and presses air out of the gap.
    board, gap
        How long a board lasts, and the pause to the next, s.
    droop
        By what share a board slows it.
    snipe
        How much louder the first and last moments of a board are, as a share.
    """

    head: float = 150.0
    knives: int = 2
    board: tuple[float, float] = (7.0, 20.0)
    gap: tuple[float, float] = (4.0, 12.0)
    droop: float = 0.04
    snipe: float = 0.5

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Planer":
        """Return one by chance: 7500 to 10 000 turns a minute."""
        return cls(rng.uniform(125.0, 167.0), int(rng.integers(2, 4)), droop=rng.uniform(0.02, 0.06))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return its sound, about 1 in size with a board in it."""
        rate, last = stretch.rate, stretch.off(4.0)
        share = stretch.follow(stretch.on([(0.0, last)]), 0.5, 0.8)
        boards = loaded([(2.0, last)], rng, stretch.seconds, self.board, self.gap)
        bite = stretch.follow(stretch.on(boards), 0.08, 0.05)
        ends = stretch.follow(stretch.on(self._ends(boards)), 0.03, 0.1)
        steady = 1.0 + 0.002 * stretch.slow(rng, 0.8)
        turns = stretch.turns(self.head * share * (1.0 - self.droop * bite) * steady)
        howling = share**2.5 * (1.0 + 0.05 * stretch.slow(rng, 0.3))
        cutting = bite * share * (1.0 + self.snipe * ends) * np.exp(0.2 * stretch.slow(rng, 0.1))
        howl = comb({n: 0.5 / n**0.8 for n in range(1, 15)}, self.head * self.knives, rate, rng)
        motor = comb({1: 0.08, 2: 0.05, 25: 0.12}, self.head * 2.3, rate, rng)
        place = np.arange(1024) / 1024.0
        strikes = Cycle(np.exp(-4.0 * place) / np.sqrt(np.mean(np.exp(-8.0 * place))))
        chips, board = Noise(rng, resonance(2600.0, 0.5, rate)), Noise(rng, resonance(480.0, 0.8, rate))
        wind = Noise(rng, resonance(1200.0, 0.4, rate))
        air = stretch.empty()
        for part in stretch.parts():
            n, knife = part.count, part.phase(turns * self.knives)
            alone = 0.5 * howl(knife) + motor(part.phase(turns * 2.3)) + 0.15 * wind(n)
            cut = strikes(knife) * (0.6 * chips(n) + 0.4 * board(n)) + 0.6 * howl(knife)
            air[part.samples] = part.rise(howling) * alone + part.rise(cutting) * cut
        return air[: stretch.count]

    def _ends(self, boards: Spells) -> Spells:
        """Return the first and last moments of each board, when one roller alone holds it."""
        return [spell for a, b in boards for spell in ((a, a + 0.3), (b - 0.3, b))]
