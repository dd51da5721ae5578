"""Music from a small radio: drums, bass, chords and a tune with vibrato, all made up from the seed."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from recordings_synthetic.filters import Filter, above, below
from recordings_synthetic.shop.stretch import Cycle, Floats, Singles, Stretch, comb

CHORDS = ((0, 5, 3, 4), (0, 3, 4, 4), (5, 3, 0, 4), (0, 4, 5, 3), (0, 0, 3, 4))
"""Progressions, as steps of the scale: one chord a bar."""
SCALE = (0, 2, 4, 5, 7, 9, 11)
"""A major scale, in semitones."""


@dataclass(frozen=True)
class Tune:
    """
    Music of four beats a bar.

    Attributes
    ----------
    tempo
        Beats a minute.
    key
        The frequency of the lowest note of the scale that the bass plays, Hz.
    chords
        Which steps of the scale the chords stand on, bar by bar, over and over.
    vibrato
        Of the tune: how often a second, and how far, in semitones.
    """

    tempo: float = 104.0
    key: float = 55.0
    chords: tuple[int, ...] = CHORDS[0]
    vibrato: tuple[float, float] = (5.5, 0.3)

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Tune":
        """Return one by chance."""
        key = 55.0 * 2.0 ** (rng.integers(-3, 6) / 12.0)
        chords = CHORDS[rng.integers(len(CHORDS))]
        return cls(rng.uniform(85.0, 132.0), key, chords, (rng.uniform(4.8, 6.5), rng.uniform(0.15, 0.4)))

    def play(self, stretch: Stretch, rng: np.random.Generator) -> Singles:
        """Return the music through a small loudspeaker."""
        band = Band(self, stretch.rate, rng)
        air = np.zeros(stretch.count, np.float32)
        for number in range(math.ceil(stretch.seconds / band.bar)):
            first = round(number * band.bar * stretch.rate)
            last = min(round((number + 1) * band.bar * stretch.rate), stretch.count)
            air[first:last] += band.play(number)[: last - first]
        return air


class Band:
    """Those who play a tune, bar by bar."""

    def __init__(self, tune: Tune, rate: int, rng: np.random.Generator) -> None:
        self._tune, self._rate, self._rng = tune, rate, rng
        self.bar = 240.0 / tune.tempo
        self._bass = comb({1: 1.0, 2: 0.5, 3: 0.25, 4: 0.1}, 250.0, rate, rng)
        self._organ = comb({1: 1.0, 2: 0.6, 3: 0.3, 4: 0.25, 6: 0.12}, 900.0, rate, rng)
        self._lead = comb({n: 1.0 / n for n in range(1, 11)}, 1800.0, rate, rng)
        self._box = Filter(np.concatenate([above(170.0, rate), above(120.0, rate), below(6500.0, rate)]))
        self._note = 7
        self._beats = self._pattern()

    def play(self, number: int) -> Singles:
        """Return the next bar, through the loudspeaker, which is driven a little too hard."""
        root = self._tune.chords[number % len(self._tune.chords)]
        sound = self._drums() + self._basses(root) + self._harmony(root) + self._tune_over(root)
        return np.tanh(0.5 * self._box(sound)).astype(np.float32)

    @cached_property
    def _now(self) -> Floats:
        return np.arange(math.ceil(self.bar * self._rate) + 1) / self._rate

    def _pitch(self, step: int) -> float:
        octave, degree = divmod(step, len(SCALE))
        return float(self._tune.key * 2.0 ** (octave + SCALE[degree] / 12.0))

    def _tone(self, voice: Cycle, pitch: float, now: Floats) -> Singles:
        return voice(np.mod(pitch * now, 1.0).astype(np.float32))

    def _pattern(self) -> Floats:
        """Return the drums of a bar; they are the same in each."""
        sound = np.zeros(len(self._now))
        for eighth in range(8):
            first = round(eighth * self.bar / 8.0 * self._rate)
            now = self._now[: len(self._now) - first]
            hat = 0.25 * np.exp(-now / 0.02) * self._rng.standard_normal(len(now))
            hat[1:] -= hat[:-1].copy()
            sound[first:] += hat
            if eighth in (0, 4, 5):
                sound[first:] += (
                    1.6 * np.exp(-now / 0.1) * np.sin(30.0 * (1.0 - np.exp(-now / 0.04)) + 340.0 * now)
                )
            if eighth in (2, 6):
                sound[first:] += 0.8 * np.exp(-now / 0.06) * self._rng.standard_normal(len(now))
        return sound

    def _drums(self) -> Floats:
        return self._beats * self._rng.uniform(0.85, 1.0)

    def _basses(self, root: int) -> Floats:
        """Return eight notes of the bass: the chord's root, its fifth, its octave."""
        sound = np.zeros(len(self._now))
        steps = root + self._rng.choice([0, 0, 0, 4, 7], 8)
        for eighth, step in enumerate(steps):
            first, last = (round(n * self.bar / 8.0 * self._rate) for n in (eighth, eighth + 1))
            now = self._now[: last - first]
            sound[first:last] = 0.9 * np.exp(-now / 0.25) * self._tone(self._bass, self._pitch(step), now)
        return sound

    def _harmony(self, root: int) -> Floats:
        """Return a chord held for the bar: third upon third, two octaves up."""
        held = np.exp(-self._now / (2.0 * self.bar)) * np.minimum(self._now / 0.02, 1.0)
        notes = [self._tone(self._organ, self._pitch(root + step + 14), self._now) for step in (0, 2, 4)]
        return np.asarray(0.22 * held * (notes[0] + notes[1] + notes[2]))

    def _tune_over(self, root: int) -> Floats:
        """Return the tune: it walks about the scale, and comes back to the chord on the first beat."""
        sound, beat = np.zeros(len(self._now)), 0.0
        rate, deep = self._tune.vibrato
        self._note = root + 2 * int(self._rng.integers(0, 4))
        while beat < 4.0:
            length = float(self._rng.choice([0.5, 1.0, 1.0, 2.0]))
            first, last = (round(min(at, 4.0) / 4.0 * self.bar * self._rate) for at in (beat, beat + length))
            if self._rng.random() < 0.85:
                now = self._now[: last - first]
                bend = deep * math.log(2.0) / 12.0 / (2.0 * math.pi * rate)
                bent = now - bend * (np.cos(2.0 * math.pi * rate * now) - 1.0)
                swell = np.minimum(now / 0.03, 1.0) * np.minimum((now[-1] - now) / 0.03, 1.0)
                sound[first:last] = 0.4 * swell * self._tone(self._lead, self._pitch(self._note + 21), bent)
            self._note = int(np.clip(self._note + self._rng.integers(-2, 3), 0, 13))
            beat += length
        return sound
