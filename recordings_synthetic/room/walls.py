"""What the walls do to the sound: a few early echoes, then a tail that dies away."""

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import stream
from recordings_synthetic.filters import Filter, below

Floats = NDArray[np.float64]

SOUND = 343.0  # m/s
MIXED = 0.02  # s; from then on echoes are taken as a tail
DULL = 4000.0  # Hz; there the tail dies away twice as fast


@dataclass(frozen=True)
class Room:
    """
    A room of six flat walls, with a machine and a microphone in it.

    Attributes
    ----------
    size
        Length, width and height, m.
    t60
        Seconds in which the tail falls by 60 dB.
    distance
        From the machine to the microphone, m.
    seed
        Where in the room both stand.

    Notes
    -----
    Sabine: absorption ``A = .161 V / t60``, and the walls reflect ``1 - A / S`` of the power. As much comes
    from the walls as from the machine itself at ``.057 sqrt(V / t60)`` m (the critical distance). Both are
    common knowledge of room acoustics, from memory.
    """

    size: tuple[float, float, float] = (8.0, 5.5, 2.8)
    t60: float = 0.45
    distance: float = 0.8
    seed: int = 0

    @property
    def volume(self) -> float:
        """Cubic metres."""
        return math.prod(self.size)

    @property
    def reflection(self) -> float:
        """What share of the amplitude a wall reflects."""
        a, b, c = self.size
        surface = 2.0 * (a * b + b * c + c * a)
        return math.sqrt(max(1.0 - 0.161 * self.volume / (self.t60 * surface), 0.0))

    @property
    def critical_distance(self) -> float:
        """Where the walls are as loud as the machine, m."""
        return 0.057 * math.sqrt(self.volume / self.t60)

    @property
    def reverberation(self) -> float:
        """Power that comes from the walls, as a share of that of the direct sound."""
        return (self.distance / self.critical_distance) ** 2

    def places(self) -> tuple[Floats, Floats]:
        """Return where machine and microphone stand, m, both away from the walls where there is room."""
        rng, size = stream(self.seed, "places"), np.array(self.size)
        machine = size * rng.uniform(0.35, 0.65, 3) * (1.0, 1.0, 0.8)
        away = rng.standard_normal(3) * (1.0, 1.0, 0.4)
        microphone = machine + self.distance * away / np.linalg.norm(away)
        inside = np.clip(microphone, 0.1, size - 0.1)
        return machine, np.asarray(inside, dtype=np.float64)

    def echoes(self) -> Floats:
        """
        Return the early echoes of a click, by mirror images of the machine.

        Returns
        -------
        numpy.ndarray
            (n, 2) seconds after the direct sound, less than ``MIXED``, and amplitude re the direct sound.
        """
        machine, microphone = self.places()
        direct = float(np.linalg.norm(machine - microphone))
        found = []
        for mirrored in product(range(-2, 3), repeat=3):
            order = sum(map(abs, mirrored))
            if 1 <= order <= 2:
                n = np.array(mirrored)
                image = n * self.size + np.where(n % 2 == 0, machine, self.size - machine)
                far = float(np.linalg.norm(image - microphone))
                found.append(((far - direct) / SOUND, self.reflection**order * direct / far))
        return np.array(sorted(echo for echo in found if echo[0] < MIXED)).reshape(-1, 2)


class Walls:
    """A room at work, block by block; the direct sound is not delayed, and noise keeps its level."""

    def __init__(self, room: Room, rate: int) -> None:
        echoes = room.echoes()
        self._delays = np.maximum(np.rint(echoes[:, 0] * rate), 1).astype(int).tolist()
        self._sizes = echoes[:, 1].tolist()
        self._past = np.zeros(max(self._delays, default=1))
        self._soft = Filter(below(8000.0, rate))
        self._tail = Tail(room.t60, rate, room.seed)
        rest = room.reverberation * math.exp(-6.0 * math.log(10.0) * MIXED / room.t60)
        self._loud = math.sqrt(rest / Tail(room.t60, rate, room.seed).power())
        self._all = 1.0 / math.sqrt(1.0 + sum(size**2 for size in self._sizes) + rest)

    def __call__(self, block: Floats) -> Floats:
        """Return a block as it is heard in the room."""
        known = np.concatenate([self._past, block])
        echoes = np.zeros(len(block))
        for delay, size in zip(self._delays, self._sizes, strict=True):
            first = len(self._past) - delay
            echoes += size * known[first : first + len(block)]
        self._past = known[len(known) - len(self._past) :]
        return np.asarray(self._all * (block + self._soft(echoes) + self._loud * self._tail(block)))


class Tail:
    """
    Reverberation: delays that feed one another, losing power at the rate of the room.

    Notes
    -----
    A feedback delay network with Householder's reflection ``I - 2/N`` as its matrix, which keeps power
    (Jot & Chaigne 1991; from memory). A delay of ``d`` s is followed by a gain of ``10^(-3 d / t60)``, all by
    a filter of one pole that about halves ``t60`` at ``DULL``.
    """

    LINES = 8

    def __init__(self, t60: float, rate: int, seed: int) -> None:
        rng = stream(seed, "tail")
        seconds = MIXED * np.geomspace(1.0, 2.3, self.LINES) * rng.uniform(1.0, 1.08, self.LINES)
        delays = np.rint(seconds * rate).astype(int)
        self._t60, self._rate = t60, rate
        self._gain = 10.0 ** (-3.0 * delays / (rate * t60))
        self._sign = rng.choice([-1.0, 1.0], self.LINES)
        self._pole = _pole(float(self._gain.mean()), 2.0 * math.pi * min(DULL / rate, 0.4))
        self._lines = [np.zeros(delay) for delay in delays]
        self._state = np.zeros((self.LINES, 1))

    def __call__(self, block: Floats) -> Floats:
        """Return the tail of a block and of all before it."""
        step = min(map(len, self._lines))
        pieces = [self._short(block[first : first + step]) for first in range(0, len(block), step)]
        return np.concatenate(pieces) if pieces else np.zeros(0)

    def power(self) -> float:
        """Return the power of the tail of a click; this uses the tail up."""
        click = np.zeros(round(self._t60 * self._rate))
        click[0] = 1.0
        return float(np.sum(self(click) ** 2))

    def _short(self, block: Floats) -> Floats:
        """As ``__call__`` for a block that is no longer than the shortest delay."""
        from scipy.signal import lfilter  # noqa: PLC0415 - takes a second to import; only rendering needs it

        n, pole = len(block), self._pole
        come = np.array([line[:n] for line in self._lines])
        heard, mean = np.zeros(n), np.zeros(n)
        for one, sign in zip(come, self._sign, strict=True):  # one after the other, whatever n is
            mean += one
            heard += sign * one
        back = self._gain[:, None] * (come - (2.0 / self.LINES) * mean)
        back, self._state = lfilter([1.0 - pole], [1.0, -pole], back, zi=self._state)
        back += self._sign[:, None] * block
        self._lines = [np.concatenate([line[n:], fed]) for line, fed in zip(self._lines, back, strict=True)]
        return heard


def _pole(gain: float, angle: float) -> float:
    """Return the pole with which ``(1 - p) / (1 - p z^-1)`` has this gain at an angle, and 1 at 0."""
    a, b = 1.0 - gain**2, 1.0 - gain**2 * math.cos(angle)
    return (b - math.sqrt(b * b - a * a)) / a
