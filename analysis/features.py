"""
One window of sound becomes one row of named numbers.

The rows are all that the watcher knows of the sound.
"""

from dataclasses import dataclass, fields
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.health import FULL
from analysis.orders import (
    TurnModulation,
    above_floor,
    foreign_tones,
    line_powers,
    local_floor,
    noise_powers,
)
from analysis.sidebands import Sidebands
from analysis.spectrum import (
    Bands,
    BandSums,
    PowerSpectrum,
    decibels,
    third_octave_edges,
)
from analysis.speed import SpeedGrid
from analysis.windows import window_size

Array32 = NDArray[np.float32]

# Lines that are looked at. Above, an ordinary microphone hears more room than bit.
LINES = 24
COMB = 30

# A swell less deep than this, dB re full, is as good as none.
ABSENT = -25.0

# Windows over which the comb's lines and the teeth in the swell are smoothed: these scatter more.
_COMB_LASTS, _TEETH_LAST, _BITE_LASTS = 3.0, 8.0, 2.0

# Seconds over which spectra are smoothed before tones off the orders are looked for: chance has many.
_TONES_LAST = 0.3

# A window longer than this, s, is hopped over by quarters: halves would make an alarm wait.
_LONG = 0.2

# No converter gives such a sample; its power would outlast all memory of the sound, or overflow.
_WILD = np.float32(1e6)

# The hiss of a cut lies here; rooms and collectors are loudest below, phones filter above.
_HISS = (2000.0, 9000.0)
_COLOUR = (125.0, 12500.0)


@dataclass(frozen=True)
class Ear:
    """
    How sound is cut into windows and what is looked for in them.

    Attributes
    ----------
    rate
        Samples per second, Hz.
    low, high
        Spindle frequencies that are possible, Hz.
    flutes
        Cutting edges of the bit.
    size
        Samples in a window.
    nominal
        Spindle frequency that was set, Hz; ``None`` where nobody told it.
    """

    rate: int
    low: float
    high: float
    flutes: int
    size: int
    nominal: float | None = None

    @classmethod
    def for_speed(cls, rate: int, speed: float, flutes: int, *, tolerance: float = 0.15) -> "Ear":
        """
        Return the ear for a spindle that turns at about ``speed`` rpm.

        Parameters
        ----------
        rate
            Samples per second, Hz.
        speed
            Nominal spindle speed, rpm.
        flutes
            Cutting edges of the bit.
        tolerance
            How far, relative, the true speed may be from the nominal one. A dial's number is not a speed.
        """
        frequency = speed / 60.0
        size = window_size(rate, 1.0 / frequency)
        low, high = frequency * (1 - tolerance), frequency * (1 + tolerance)
        return cls(rate, low, high, flutes, size, frequency)

    @property
    def hop(self) -> int:
        """Samples from one window to the next: half a window, a quarter of a long one."""
        return self.size // (4 if self.size > _LONG * self.rate else 2)

    @property
    def smooth(self) -> float:
        """Rows over which lines and swells are smoothed: somewhat more than half a window's length."""
        return 0.6 * self.size / self.hop

    @property
    def correlation(self) -> float:
        """Correlation of a row with the one before, from the smoothing."""
        return float(np.exp(-1.0 / self.smooth))

    @property
    def seconds(self) -> float:
        """Seconds from one window to the next."""
        return self.hop / self.rate

    def _lines_below_nyquist(self, wanted: int) -> int:
        return max(1, min(wanted, int(0.47 * self.rate / self.high)))

    @cached_property
    def spectrum(self) -> PowerSpectrum:
        """The power spectra of its windows."""
        return PowerSpectrum(self.rate, self.size)

    @cached_property
    def grid(self) -> SpeedGrid:
        """The spindle speeds that are tried."""
        lines = self._lines_below_nyquist(COMB)
        return SpeedGrid(self.spectrum.delta_f, self.low, self.high, lines, self.flutes, self.nominal)

    @cached_property
    def lines(self) -> NDArray[np.float64]:
        """The whole orders looked at: 1, 2, ... , shape (m,)."""
        return np.arange(1, self._lines_below_nyquist(LINES) + 1, dtype=np.float64)

    @cached_property
    def halves(self) -> NDArray[np.float64]:
        """The half orders looked at: 0.5, 1.5, ... , shape (q,)."""
        return np.arange(min(HALVES, len(self.lines)), dtype=np.float64) + 0.5

    @cached_property
    def telling(self) -> NDArray[np.intp]:
        """Which of ``lines`` a true bit hardly has: the first that are no tooth-pass harmonics."""
        if self.flutes == 1:
            return np.empty(0, dtype=np.intp)
        return np.flatnonzero(self.lines % self.flutes)[: 1 + BETWEEN]

    @cached_property
    def bands(self) -> Bands:
        """The third-octave bands whose levels are the colour of the sound."""
        return third_octave_edges(_COLOUR[0], min(_COLOUR[1], 0.4 * self.rate))

    @cached_property
    def sums(self) -> BandSums:
        """What is summed up of a spectrum: the bands, the band of the hiss, and all the sound."""
        edges = (self.bands.lower, self.modulation.low, 0.25 * self.low)
        ends = (self.bands.upper, self.modulation.high, self.rate / 2)
        return BandSums(self.spectrum.delta_f, self.size // 2 + 1, np.hstack(edges), np.hstack(ends))

    @cached_property
    def sidebands(self) -> Sidebands:
        """The tones off the orders that come back a tooth-pass away."""
        return Sidebands(self.spectrum.delta_f, self.flutes, self.size // 2 + 1)

    @cached_property
    def highest(self) -> int:
        """How many bins are looked at for what stands above the floor: of a comb's highest line, three."""
        return min(max(self.grid.bins + 2, self.sidebands.wanted), self.size // 2 + 1)

    @property
    def turn(self) -> int:
        """Bins from one line to the next: the width of a block of the floor."""
        return round(0.5 * (self.low + self.high) / self.spectrum.delta_f)

    @cached_property
    def modulation(self) -> TurnModulation:
        """The once-per-revolution modulation of the hiss."""
        high = min(_HISS[1], 0.45 * self.rate)
        return TurnModulation(self.rate, self.size, min(_HISS[0], high / 3), high)


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
        Modulation of the hiss once per turn, and in the rhythm of every second turn (the mean, in dB, of
        orders 0.5 and 1.5), dB relative to full, at least ``ABSENT``, shape (k,).
    hiss
        Level of the band in which it swells, dBFS, shape (k,).
    foreign
        Tones where nothing that turns with the spindle sounds, dB above noise, shape (k,).
    beats, tone
        How far a tone off the spindle's orders that comes back a tooth-pass away stands out, dB, and its
        frequency, Hz, shape (k,); see `Sidebands`.
    tells, hides
        Power of the lines that tell of a bit out of true, and of the noise about each, shape (k, j).
    lines, floors
        Level of each whole order, and of the noise about it, dBFS, shape (k, m).
    colour
        Level in each third-octave band, dBFS, shape (k, b).
    speed
        Spindle frequency, Hz, shape (k,).
    prominence
        How far the comb at that speed stands above all others, dB, shape (k,).
    stands
        How far comb, teeth and nearness to what was set do together, dB, shape (k,).
    clipped
        Share of samples at full scale, shape (k,).
    power, envelope
        The spectra all this comes from, shape (k, bins), and of the hiss's swell, shape (k, s).
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
    lines: Array32
    floors: Array32
    colour: Array32
    speed: NDArray[np.float64]
    prominence: Array32
    stands: Array32
    power: Array32
    envelope: Array32
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
        return decibels(_sum(self.hides))

    def table(self) -> Array32:
        """Return the scalar features as one array, shape (k, len(COLUMNS))."""
        found = np.empty((len(self), len(COLUMNS)), dtype=np.float32)
        for place, name in enumerate(COLUMNS):
            found[:, place] = getattr(self, name)
        return found


_UNKEPT = ("tells", "hides", "lines", "floors", "colour", "stands", "power", "envelope", "combs", "teeth")
COLUMNS = tuple(field.name for field in fields(Rows) if field.name not in _UNKEPT)


class FeatureReader:
    """
    Turns windows into rows; remembers the speed and the lines heard in the last few, and nothing else.

    Parameters
    ----------
    ear
        What to look for.
    """

    def __init__(self, ear: Ear) -> None:
        self.ear = ear
        self._speed = SpeedReader(ear)
        self._lines = Smoother(ear.smooth)
        self._swell = Smoother(ear.smooth)
        self._foreign = Smoother(ear.smooth)
        self._tones = Smoother(_TONES_LAST / ear.seconds)

    def read(self, windows: Array32) -> Rows:
        """
        Return the rows of windows that follow those read before.

        Parameters
        ----------
        windows
            Samples, shape (k, size).
        """
        ear = self.ear
        finite, health = _health(windows)
        clean = windows if finite.all() else np.where(finite[:, np.newaxis], windows, np.float32(0))
        spectra = ear.spectrum.transform(clean)
        power = ear.spectrum.power_of(spectra)
        delta_f = ear.spectrum.delta_f
        floor = local_floor(power, ear.turn, ear.highest)
        above = above_floor(power[:, : ear.highest], floor)
        envelope = ear.modulation.swell(spectra)
        combs = Combs.of(ear, above, envelope)
        speed, prominence, stands, _ = self._speed.read(combs)
        heard = _levels(ear, self._lines.smooth(_group(ear, power, floor, speed)))
        spindle, between, half = standing(heard["tells"], heard["hides"], len(ear.telling)).T
        once, every_second = self._swells(envelope, speed)
        tones = foreign_tones(power, delta_f, speed)[:, np.newaxis]
        beats, tone = ear.sidebands.find(self._tones.smooth(above[:, : ear.sidebands.wanted]), speed)
        levels = decibels(ear.sums.powers(power))
        return Rows(
            **heard,
            spindle=spindle,
            between=between,
            half=half,
            level=levels[:, -1],
            colour=np.ascontiguousarray(levels[:, :-2]),
            modulation=once,
            rocking=every_second,
            hiss=levels[:, -2],
            foreign=self._foreign.smooth(tones)[:, 0],
            beats=beats,
            tone=tone,
            speed=speed,
            prominence=prominence,
            stands=stands,
            power=power,
            envelope=envelope,
            combs=combs.lines,
            teeth=combs.teeth,
            **health,
        )

    def _swells(self, envelope: Array32, speed: NDArray[np.float64]) -> Array32:
        """Return how deep the hiss swells once per turn and every second turn, dB, shape (2, k)."""
        depths = self.ear.modulation.depths(envelope, speed, TURNS)
        smooth = self._swell.smooth(depths.reshape(len(depths), 2 * len(TURNS)))
        deep = decibels(smooth[:, : len(TURNS)] - smooth[:, len(TURNS) :], 10 ** (ABSENT / 10))
        deep[:, 1] = np.float32(0.5) * (deep[:, 1] + deep[:, 2])
        return deep[:, :2].T


class Smoother:
    """
    Exponential smoothing of rows, one after another.

    Parameters
    ----------
    memory
        After how many rows a past one counts for 1/e.
    start
        What was before the first row, shape (m,); the first row itself when not given.
    """

    def __init__(self, memory: float, start: Array32 | None = None) -> None:
        # An array, which numpy multiplies by sooner than by a number.
        self._keep = np.array(np.exp(-1.0 / memory), dtype=np.float32)
        self._last = start
        self._smoothed = np.empty((0, 0), dtype=np.float32)

    def smooth(self, rows: Array32) -> Array32:
        """Return ``rows``, shape (k, m), each smoothed with all before it."""
        if not len(rows):
            return rows
        smoothed = (np.float32(1) - self._keep) * rows
        last = rows[0] if self._last is None else self._last
        kept = np.empty_like(last)
        for row in smoothed:
            np.add(row, np.multiply(last, self._keep, out=kept), out=row)
            last = row
        self._last, self._smoothed = last, smoothed
        return smoothed

    def keep(self, rows: int) -> None:
        """Forget all but the first ``rows``, at least 1, of those smoothed last."""
        self._last = self._smoothed[rows - 1]


TURNS = np.array([1.0, 0.5, 1.5])
"""The orders at which the swell of the hiss is looked at."""

# How many of the lowest half orders, and of the lines between after the first, are looked at.
HALVES, BETWEEN = 4, 4

# A line counts as no weaker than this share of the noise about it.
_LEAST_SHARE = np.float32(0.25)


class Turning(NamedTuple):
    """
    What is heard to turn.

    Attributes
    ----------
    speed
        Spindle frequency, Hz, shape (k,).
    prominence
        How far the comb at that speed stands above all others, dB, shape (k,).
    stands
        How far comb, teeth and nearness to what was set stand out together, dB, shape (k,).
    bites
        How far the swell of the hiss with the teeth stands out, dB, shape (k,): only what cuts has any.
    """

    speed: NDArray[np.float64]
    prominence: Array32
    stands: Array32
    bites: Array32


class Combs(NamedTuple):
    """
    How well each speed of an ear's grid fits rows that were heard.

    Attributes
    ----------
    lines, teeth
        From `SpeedGrid.scores` and `SpeedGrid.teeth`, dB, shape (k, g).
    """

    lines: Array32
    teeth: Array32

    @classmethod
    def of(cls, ear: Ear, above: Array32, envelope: Array32) -> "Combs":
        """
        Return how well each speed fits rows.

        Parameters
        ----------
        ear
            What to look for.
        above
            Spectra in dB above their local floor, shape (k, bins).
        envelope
            From `TurnModulation.swell`, shape (k, b).
        """
        # A block of the floor holds two teeth of a bit with one.
        floor = local_floor(envelope, 2 * ear.turn)
        return cls(ear.grid.scores(above), ear.grid.teeth(above_floor(envelope, floor)))


class SpeedReader:
    """
    Follows the speed; remembers the combs of the last few rows.

    Parameters
    ----------
    ear
        What to look for.
    """

    def __init__(self, ear: Ear) -> None:
        self._ear = ear
        # One window of noise tells too little; a speed changes slowly.
        nothing, window = np.zeros(len(ear.grid.frequencies), dtype=np.float32), ear.size / ear.hop
        self._comb = Smoother(_COMB_LASTS * window, nothing)
        self._teeth = Smoother(_TEETH_LAST * window, nothing)
        self._bites = Smoother(_BITE_LASTS * window)

    def read(self, heard: Combs) -> Turning:
        """Return what the evidence so far tells of rows that follow those read before."""
        grid = self._ear.grid
        comb = self._comb.smooth(heard.lines)
        speed, prominence, stands = grid.best(comb, self._teeth.smooth(heard.teeth))
        bites = self._bites.smooth(grid.at(heard.teeth, speed)[:, np.newaxis])
        return Turning(speed, prominence, stands, bites[:, 0])

    def keep(self, rows: int) -> None:
        """Go on after the first of the rows that were read last."""
        self._comb.keep(rows)
        self._teeth.keep(rows)
        self._bites.keep(rows)


def above_lines(ear: Ear, power: Array32) -> Array32:
    """Return how far spectra stand above their local floor, dB, as high as an ear listens to lines."""
    return above_floor(power[:, : ear.highest], local_floor(power, ear.turn, ear.highest))


def _group(ear: Ear, power: Array32, floor: Array32, speed: NDArray[np.float64]) -> Array32:
    """Return the power of the lines and of the noise about each, shape (k, 2 * (m + q))."""
    delta_f = ear.spectrum.delta_f
    orders = np.concatenate([ear.lines, ear.halves])
    return np.hstack(
        [line_powers(power, delta_f, speed, orders), noise_powers(power, floor, delta_f, speed, orders)]
    )


def _levels(ear: Ear, heard: Array32) -> dict[str, Array32]:
    """Return what the smoothed powers of lines and noise tell."""
    lines, both = len(ear.lines), heard.shape[1] // 2
    whole, half = heard[:, :lines], heard[:, lines:both]
    noise, half_noise = heard[:, both : both + lines], heard[:, both + lines :]
    is_tooth = ear.lines % ear.flutes == 0
    teeth = np.maximum(_sum(whole[:, is_tooth] - noise[:, is_tooth]), np.float32(0))
    return {
        "tells": np.hstack([whole[:, ear.telling], half]),
        "hides": np.hstack([noise[:, ear.telling], half_noise]),
        "lines": decibels(whole),
        "floors": decibels(noise),
        "tooth": decibels(teeth),
        "noise": decibels(_sum(noise[:, is_tooth])),
    }


def standing(tells: Array32, hides: Array32, lines: int) -> Array32:
    """
    Return how far the spindle line, the lines between and the half orders stand out of the noise.

    Parameters
    ----------
    tells, hides
        Power of each line and of the noise about it: ``lines`` of them, the spindle line first, then half
        orders, shape (..., j).
    lines
        How many are whole orders; 0 for a bit of one flute, whose every line is a tooth's.

    Returns
    -------
    array of float32, shape (..., 3)
        dB; 0 where there is no such line. Of the lines between and of the half orders the second strongest
        counts, for a tone from elsewhere may hit one line, but not two.
    """
    ratio = np.maximum(tells / np.maximum(hides, np.float32(1e-20)), _LEAST_SHARE)
    groups = (
        (ratio[..., :1], ratio[..., 1:lines], ratio[..., lines:])
        if lines
        else (ratio[..., :0],) * 2 + (ratio,)
    )
    found = np.empty((*ratio.shape[:-1], len(groups)), dtype=np.float32)
    for place, group in enumerate(groups):
        found[..., place] = _second(group)
    return decibels(found)


def _second(ratios: Array32) -> Array32:
    """Return the second strongest of the last axis, the only one if it is alone, 1 if there is none."""
    if not ratios.shape[-1]:
        return np.ones(ratios.shape[:-1], dtype=np.float32)
    found: Array32 = np.sort(ratios, axis=-1)[..., max(0, ratios.shape[-1] - 2)]
    return found


def _sum(lines: Array32) -> Array32:
    """Return the sum along each row, added from left to right whatever the number of rows."""
    if not lines.shape[1]:
        return np.zeros(len(lines), dtype=np.float32)
    total: Array32 = np.add.accumulate(lines, axis=1)[:, -1]
    return total


def _health(windows: Array32) -> tuple[NDArray[np.bool_], dict[str, Array32]]:
    """Return which windows are finite, and what tells whether each can be heard at all."""
    high, low = windows.max(axis=1), windows.min(axis=1)
    finite = (high < _WILD) & (low > -_WILD)
    with np.errstate(invalid="ignore", over="ignore"):
        greatest, spread = np.maximum(high, -low), high - low
    clipped = np.zeros(len(windows), dtype=np.float32)
    for row in np.flatnonzero(~(greatest < FULL)):
        clipped[row] = np.count_nonzero(np.abs(windows[row]) >= FULL) / windows.shape[1]
    return finite, {
        "clipped": clipped,
        "peak": np.where(finite, greatest, np.float32("nan")),
        "spread": np.where(finite, spread, np.float32(0)),
    }
