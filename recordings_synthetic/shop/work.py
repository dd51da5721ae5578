"""When a machine of the shop is switched on and when it works: spells of seconds by chance."""

import numpy as np

from recordings_synthetic.chance import spells
from recordings_synthetic.shop.stretch import Spells, Stretch

Between = tuple[float, float]


def switched(stretch: Stretch, rng: np.random.Generator, run: Between, rest: Between, last: float) -> Spells:
    """
    Return when a machine is on: at once, then off and on again.

    Parameters
    ----------
    stretch
        For how long.
    rng
        Where chance comes from.
    run, rest
        Shortest and longest time for which it is on and off, s.
    last
        When it is switched off for good, s.
    """
    first = rng.uniform(*run)
    later = [(a + first, b + first) for a, b in spells(rng, stretch.seconds, run, rest)]
    return [(a, min(b, last)) for a, b in [(0.0, first), *later] if a < last]


def loaded(runs: Spells, rng: np.random.Generator, seconds: float, cut: Between, gap: Between) -> Spells:
    """
    Return when a machine that is on works: as often as whole cuts fit into its runs.

    Parameters
    ----------
    runs
        When it is on and up to speed, s; the last may be without an end.
    rng
        Where chance comes from.
    seconds
        When the sound ends.
    cut, gap
        Shortest and longest of a cut and of the pause to the next, s.
    """
    found: Spells = []
    for first, last in runs:
        spell = min(last, seconds + cut[1]) - first
        found += [(first + a, first + b) for a, b in spells(rng, max(spell, 0.0), cut, gap) if b <= spell]
    return found
