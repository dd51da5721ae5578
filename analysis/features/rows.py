"""One window of sound becomes one row of named numbers: all that the watcher knows of the sound."""

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.features.lines import sum_of
from analysis.features.smoothing import Array32
from analysis.spectrum import decibels

# A swell less deep than this, dB re full, is as good as none.
ABSENT = -25.0


@dataclass(frozen=True, eq=False)
class Rows:
    """
    Rows of features, one a window.

    Attributes
    ----------
    level
        Power of the sound above the slowest line's half, dBFS, shape (k,).
    spindle, between, half
        The spindle line, the lines between the tooth-pass harmonics and the half orders above the noise
        about them, dB, shape (k,); see `standing`.
    tooth
        The tooth-pass harmonics above the noise, dBFS, shape (k,).
    noise
        The noise among the lines, dBFS, shape (k,).
    modulation, rocking
        Modulation of the hiss once per turn, and in step with every second turn (the mean, in dB, of orders
        0.5 and 1.5), dB relative to full, at least ``ABSENT``, shape (k,).
    hiss
        Level of the band in which it swells, dBFS, shape (k,).
    foreign
        Tones where nothing that turns with the spindle sounds, dB above noise, shape (k,).
    beats, tone
        How far a tone off the spindle's orders that comes back a tooth-pass away stands out, dB, and its
        frequency, Hz, shape (k,); see `Sidebands`.
    tells, hides
        Power of the lines that tell of a bit out of true, and of the noise about each, shape (k, j).
    colour
        Level in each third-octave band, dBFS, shape (k, b).
    speed
        Spindle frequency, Hz, shape (k,).
    prominence
        How far the comb at that speed stands above all others, dB, shape (k,).
    stands
        How far comb, teeth and nearness to what was set do together, dB, shape (k,).
    bites
        How far the swell of the hiss with the teeth stands out, dB, shape (k,): only what cuts has any.
    clipped
        Share of samples at full scale, shape (k,).
    power, envelope
        The spectra all this comes from, shape (k, bins), and of the hiss's swell, shape (k, s).
    steps
        Squared depths of the swell at orders 0.5 and 1.5: in step with the spindle, less chance, and all of
        it, shape (k, 2, 2).
    combs, teeth
        How well each speed that is tried fits them, dB, shape (k, g); see `Combs`.
    peak
        Greatest absolute sample, NaN where one was not finite or beyond all measure, shape (k,).
    spread
        Greatest sample less the least, shape (k,).
    """

    level: Array32
    spindle: Array32
    between: Array32
    half: Array32
    tooth: Array32
    noise: Array32
    modulation: Array32
    rocking: Array32
    hiss: Array32
    foreign: Array32
    beats: Array32
    tone: NDArray[np.float64]
    tells: Array32
    hides: Array32
    colour: Array32
    speed: NDArray[np.float64]
    prominence: Array32
    stands: Array32
    bites: Array32
    power: Array32
    envelope: Array32
    steps: Array32
    combs: Array32
    teeth: Array32
    clipped: Array32
    peak: Array32
    spread: Array32

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self.level)

    @cached_property
    def signs(self) -> NDArray[np.float64]:
        """What tells whether a bit is loose, shape (k, 5): `spindle` to `half`, `modulation`, `rocking`."""
        columns = (self.spindle, self.between, self.half, self.modulation, self.rocking)
        return np.ascontiguousarray(np.array(columns, dtype=np.float64).T)

    @cached_property
    def swell(self) -> Array32:
        """`modulation` and `rocking`, shape (k, 2)."""
        return np.ascontiguousarray(np.array((self.modulation, self.rocking)).T)

    @cached_property
    def about(self) -> Array32:
        """Level of the noise about all lines that tell, dBFS, shape (k,)."""
        return decibels(sum_of(self.hides))

    def table(self) -> Array32:
        """Return the scalar features as one array, shape (k, len(COLUMNS))."""
        found = np.empty((len(self), len(COLUMNS)), dtype=np.float32)
        for place, name in enumerate(COLUMNS):
            found[:, place] = getattr(self, name)
        return found


_UNKEPT = (
    *("tells", "hides", "colour", "stands", "bites"),
    *("power", "envelope", "steps", "combs", "teeth"),
)
COLUMNS = tuple(field.name for field in fields(Rows) if field.name not in _UNKEPT)
