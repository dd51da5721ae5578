"""A microphone at work: from what sounds to what is recorded, block by block."""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import stream
from recordings_synthetic.filters import Filter, above, below, bump, steep
from recordings_synthetic.room.gain import SelfSetting
from recordings_synthetic.room.microphone import Change, Microphone
from recordings_synthetic.room.suppression import Suppressor
from recordings_synthetic.room.walls import Walls
from recordings_synthetic.shop import amplitude

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Stage = Callable[[Floats], Floats]


class Ear:
    """
    A microphone at work, block by block. The size of the blocks does not matter, to the last bit.

    Parameters
    ----------
    microphone
        Which.
    rate
        Samples a second.
    seed
        Where its hiss and its dropouts come from.

    Notes
    -----
    The order: the room, what happens to the microphone, its response, its hiss, hum, its amplifier's ceiling,
    noise suppression, automatic gain, the channel, offset, the steps of its samples, gaps.
    """

    def __init__(self, microphone: Microphone, rate: int, seed: int) -> None:
        response = _Response(microphone, rate, seed)
        self._stages: list[Stage] = [*_around(microphone, rate), response, *_after(microphone, rate)]
        self._steps = 2.0 ** (microphone.bits - 1)
        self._gaps = _Gaps(microphone, rate, seed)

    def __call__(self, air: Floats) -> Singles:
        """Return what is recorded of a block: what all stages make of it, in steps of its bits, clipped."""
        heard = air
        for stage in self._stages:
            heard = stage(heard)
        steps = np.rint(heard * self._steps)
        recorded = (np.clip(steps, -self._steps, self._steps - 1.0) / self._steps).astype(np.float32)
        return self._gaps(recorded)


def _around(microphone: Microphone, rate: int) -> list[Stage]:
    """Return what happens before the microphone."""
    room = () if microphone.room is None else (Walls(microphone.room, rate),)
    return [*room, *(_Changed(change, rate) for change in microphone.changes)]


def _after(microphone: Microphone, rate: int) -> list[Stage]:
    """Return what happens behind the microphone."""
    stages: list[Stage] = []
    if microphone.hum > -math.inf:
        stages.append(_Hum(microphone, rate))
    if microphone.ceiling < math.inf:
        stages.append(lambda sound: np.clip(sound, -microphone.ceiling, microphone.ceiling))
    if microphone.suppression is not None:
        stages.append(Suppressor(microphone.suppression, rate))
    if microphone.gain is not None:
        stages.append(SelfSetting(microphone.gain, rate))
    if microphone.channel < math.inf:
        stages.append(Filter(steep(below(microphone.channel, rate), 4)))
    if microphone.offset:
        stages.append(lambda sound: sound + microphone.offset)
    return stages


class _Response:
    """What a microphone hears well and badly, and its own noise."""

    def __init__(self, microphone: Microphone, rate: int, seed: int) -> None:
        self._rng = stream(seed, "hiss")
        self._hiss = np.float32(amplitude(microphone.hiss))
        peaks = [bump(peak.frequency, peak.quality, peak.level, rate) for peak in microphone.peaks]
        low, high = above(microphone.low, rate), below(microphone.high, rate)
        edges = steep(low, microphone.steep), steep(high, microphone.steep)
        self._colour = Filter(np.concatenate([edges[0], *peaks, edges[1]]))

    def __call__(self, sound: Floats) -> Floats:
        heard = self._colour(sound)
        heard += self._hiss * self._rng.standard_normal(len(sound), dtype=np.float32)
        return heard


class _Changed:
    """A change at work: before it, the sound is left as it is, to the last bit."""

    def __init__(self, change: Change, rate: int) -> None:
        self._change = change
        self._first, self._done = round(change.at * rate), 0
        self._glide = max(1, round(change.over * rate))
        sections = [np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]])]  # leaves a sound as it is
        if change.high < math.inf:
            sections.append(below(change.high, rate))
        if change.dip < math.inf:
            sections.append(bump(change.dip, 1.5, -12.0, rate))
        self._filter = Filter(np.concatenate(sections))

    def __call__(self, sound: Floats) -> Floats:
        begun = min(max(self._first - self._done, 0), len(sound))
        if begun == len(sound):
            self._done += begun
            return sound
        since = self._done + begun - self._first + np.arange(len(sound) - begun)
        self._done += len(sound)
        share = np.minimum((since + 1) / self._glide, 1.0)
        other = amplitude(self._change.level) * self._filter(sound[begun:])
        return np.concatenate([sound[:begun], (1.0 - share) * sound[begun:] + share * other])


class _Hum:
    """Hum from the mains: their frequency and its odd multiples, a second of it over and over."""

    def __init__(self, microphone: Microphone, rate: int) -> None:
        turn = 2.0 * math.pi * microphone.mains * np.arange(rate) / rate
        wave = np.sin(turn) + 0.4 * np.sin(3.0 * turn + 0.5) + 0.2 * np.sin(5.0 * turn + 1.0)
        self._second = amplitude(microphone.hum) / math.sqrt(0.6) * wave
        self._done = 0

    def __call__(self, sound: Floats) -> Floats:
        place = (self._done + np.arange(len(sound))) % len(self._second)
        self._done += len(sound)
        return np.asarray(sound + self._second[place])


class _Gaps:
    """Gaps in what arrives: those that were asked for, and those that come by chance."""

    def __init__(self, microphone: Microphone, rate: int, seed: int) -> None:
        self._asked = [(round(at * rate), round((at + length) * rate)) for at, length in microphone.gaps]
        self._rng, self._rate, self._often = stream(seed, "dropouts"), rate, microphone.dropouts / 60.0
        self._done = 0
        self._next = self._later(0)

    def __call__(self, recorded: Singles) -> Singles:
        last = self._done + len(recorded)
        for gap in self._asked:
            self._silence(recorded, gap)
        while self._next[0] < last:
            self._silence(recorded, self._next)
            if self._next[1] > last:
                break
            self._next = self._later(self._next[1])
        self._done = last
        return recorded

    def _silence(self, recorded: Singles, gap: tuple[int, int]) -> None:
        first, last = (min(max(at - self._done, 0), len(recorded)) for at in gap)
        recorded[first:last] = 0.0

    def _later(self, after: int) -> tuple[int, int]:
        """Return the next gap by chance."""
        if self._often <= 0.0:
            return (2**62, 2**62)
        first = after + 1 + round(self._rng.exponential(1.0 / self._often) * self._rate)
        return first, first + round(self._rng.uniform(0.005, 0.08) * self._rate)
