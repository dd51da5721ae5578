"""
The time in which a sound of the shop is made: slow things at ticks, sound sample by sample in between.

As the cut itself is played from a score, so are these: speeds, presses and gusts are curves at ticks of 5 ms;
tones, noise and what else is quick are made from them a second at a time.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import wander
from recordings_synthetic.filters import Filter, noise_power

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Spells = list[tuple[float, float]]

TICK = 0.005
TOGETHER = 200  # ticks


@dataclass(frozen=True)
class Stretch:
    """
    For how long a sound is made.

    Attributes
    ----------
    count, rate
        Samples, and samples a second.
    stops
        Whether it ends by itself: what runs is switched off early enough to have come to rest by then. Else
        the recording ends first.
    """

    count: int
    rate: int
    stops: bool = False

    @property
    def seconds(self) -> float:
        """How long it is."""
        return self.count / self.rate

    @property
    def hop(self) -> int:
        """Samples from tick to tick."""
        return max(1, round(TICK * self.rate))

    @property
    def step(self) -> float:
        """Seconds from tick to tick."""
        return self.hop / self.rate

    @property
    def times(self) -> Floats:
        """(ticks,) seconds from its beginning; the last is not before its end."""
        return np.arange(math.ceil(self.count / self.hop) + 1, dtype=np.float64) * self.step

    def off(self, coast: float) -> float:
        """Return when to switch off what takes ``coast`` s to come to rest; ``inf`` if it does not stop."""
        return max(self.seconds - coast, 0.6 * self.seconds) if self.stops else math.inf

    def slow(self, rng: np.random.Generator, memory: float) -> Floats:
        """Return a slow random curve at the ticks, of standard deviation 1 (see ``wander``)."""
        return wander(rng, len(self.times), self.step, memory=memory)

    def on(self, spells: Spells) -> Floats:
        """Return 1 at the ticks within spells, 0 at the others."""
        gate = np.zeros(len(self.times))
        for first, last in spells:
            gate[np.searchsorted(self.times, first) : np.searchsorted(self.times, last)] = 1.0
        return gate

    def follow(self, aim: Floats, rise: float, fall: float) -> Floats:
        """Return a curve that goes after ``aim`` from 0, up and down with time constants in s."""
        up, down = (-math.expm1(-self.step / constant) for constant in (rise, fall))
        now, found = 0.0, np.empty(len(aim))
        for i, to in enumerate(aim.tolist()):
            now += (to - now) * (up if to > now else down)
            found[i] = now
        return found

    def turns(self, speed: Floats) -> Floats:
        """Return the turns made by each tick, of a speed in turns a second."""
        middle = 0.5 * (speed[1:] + speed[:-1])
        return np.concatenate([[0.0], np.cumsum(middle * self.step)])

    def parts(self) -> Iterator["Part"]:
        """Yield pieces of about a second that together are the whole."""
        last = len(self.times) - 1
        for first in range(0, last, TOGETHER):
            yield Part(first, min(first + TOGETHER, last), self.hop)

    def empty(self) -> Singles:
        """Return room for the samples of all parts: a little more than ``count``, all 0."""
        return np.zeros((len(self.times) - 1) * self.hop, np.float32)


@dataclass(frozen=True)
class Part:
    """Ticks from ``first`` to ``last``, and the samples between them, ``hop`` a tick."""

    first: int
    last: int
    hop: int

    @property
    def samples(self) -> slice:
        """Where its samples are."""
        return slice(self.first * self.hop, self.last * self.hop)

    @property
    def count(self) -> int:
        """How many samples it has."""
        return (self.last - self.first) * self.hop

    def rise(self, curve: Floats) -> Singles:
        """Return a curve sample by sample, straight from tick to tick."""
        return self._straight(curve[self.first : self.last + 1].astype(np.float32), np.float32)

    def phase(self, turns: Floats) -> Singles:
        """Return the phase of turns sample by sample, from 0 to 1."""
        flat = self._straight(turns[self.first : self.last + 1], np.float64)
        return np.asarray(flat - np.floor(flat), dtype=np.float32)

    def _straight(self, values: NDArray[np.floating], kind: type[np.floating]) -> NDArray[np.floating]:
        lift = np.arange(self.hop, dtype=kind) / kind(self.hop)
        return np.asarray(values[:-1, None] + lift * np.diff(values)[:, None]).reshape(-1)


class Cycle:
    """
    What is the same in each turn, as a table.

    Parameters
    ----------
    shape
        (n,) one cycle, evenly spaced.
    """

    def __init__(self, shape: Floats) -> None:
        self._shape = shape.astype(np.float32)
        self._slope = np.diff(shape, append=shape[0]).astype(np.float32)

    def __call__(self, phase: Singles) -> Singles:
        """Return its values at phases from 0 to 1."""
        place = phase * np.float32(len(self._shape))
        left = place.astype(np.intp)
        here, slope = (table.take(left, mode="clip") for table in (self._shape, self._slope))
        return np.asarray(here + (place - left.astype(np.float32)) * slope)


def comb(orders: Mapping[int, float], fastest: float, rate: int, rng: np.random.Generator) -> Cycle:
    """
    Return a cycle of sines, in random phase.

    Parameters
    ----------
    orders
        Amplitudes of the multiples of the fundamental.
    fastest
        The highest frequency that the fundamental reaches, Hz. What would lie above .45 of ``rate`` then is
        left out, as a recorder's own filter would.
    rate
        Samples a second.
    rng
        Where the phases come from; they are drawn for all orders, whatever the rate.
    """
    place = np.arange(4096) / 4096.0
    shape = np.zeros(4096)
    for (order, size), phase in zip(orders.items(), rng.uniform(0.0, 1.0, len(orders)), strict=True):
        if order * fastest < 0.45 * rate:
            shape += size * np.sin(2.0 * math.pi * (order * place + phase))
    return Cycle(shape)


class Noise:
    """
    Coloured noise of root mean square 1.

    Parameters
    ----------
    rng
        Where it comes from.
    sections
        Its colour, see ``filters``.
    """

    def __init__(self, rng: np.random.Generator, sections: Floats) -> None:
        self._rng = rng
        self._filter = Filter(sections)
        self._scale = np.float32(1.0 / math.sqrt(noise_power(sections)))

    def __call__(self, count: int) -> Singles:
        """Return the next ``count`` samples."""
        white = self._rng.standard_normal(count, dtype=np.float32) * self._scale
        return np.asarray(self._filter(white.astype(np.float64)), dtype=np.float32)
