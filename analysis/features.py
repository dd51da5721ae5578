"""
One window of sound becomes one row of named numbers.

The rows are all that the watcher knows of the sound.
"""

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.orders import (
    SpeedGrid,
    TurnModulation,
    above_floor,
    line_powers,
    local_floor,
    noise_powers,
)
from analysis.spectrum import (
    Bands,
    PowerSpectrum,
    band_power,
    decibels,
    third_octave_edges,
    third_octave_levels,
)
from analysis.windows import window_size

Array32 = NDArray[np.float32]

# Lines that are looked at. Above, an ordinary microphone hears more room than bit.
LINES = 24
COMB = 30

# A line is compared with tooth-pass; less than this below it, it is as good as absent.
ABSENT = -20.0

# A window longer than this, s, is hopped over by quarters: halves would make an alarm wait.
_LONG = 0.2

# Full scale, nearly: a converter that clips need not reach the last step.
_CLIPPED = 0.999

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
    """

    rate: int
    low: float
    high: float
    flutes: int
    size: int

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
        return cls(rate, frequency * (1 - tolerance), frequency * (1 + tolerance), flutes, size)

    @property
    def hop(self) -> int:
        """Samples from one window to the next: half a window, a quarter of a long one."""
        return self.size // (4 if self.size > _LONG * self.rate else 2)

    @property
    def smooth(self) -> float:
        """Rows over which lines are smoothed: three quarters of a window's length."""
        return 0.75 * self.size / self.hop

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
        return SpeedGrid(self.spectrum.delta_f, self.low, self.high, self._lines_below_nyquist(COMB))

    @cached_property
    def lines(self) -> NDArray[np.float64]:
        """The whole orders looked at: 1, 2, ... , shape (m,)."""
        return np.arange(1, self._lines_below_nyquist(LINES) + 1, dtype=np.float64)

    @cached_property
    def bands(self) -> Bands:
        """The third-octave bands whose levels are the colour of the sound."""
        return third_octave_edges(_COLOUR[0], min(_COLOUR[1], 0.4 * self.rate))

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
        The spindle line; all lines between the tooth-pass harmonics; the half orders: dB relative to the
        tooth-pass harmonics together with the noise among them, at least ``ABSENT``, shape (k,).
    tooth
        The tooth-pass harmonics above the noise, dBFS, shape (k,).
    noise
        The noise among the lines, dBFS, shape (k,).
    modulation
        Once-per-revolution modulation of the hiss, dB relative to full, shape (k,).
    groups
        Power of the tooth-pass harmonics above the noise, of the noise among them, of the spindle line, of
        the lines between and of the half orders above the noise, full scale 1, shape (k, 5).
    lines, floors
        Level of each whole order, and of the noise about it, dBFS, shape (k, m).
    colour
        Level in each third-octave band, dBFS, shape (k, b).
    speed
        Spindle frequency, Hz, shape (k,).
    prominence
        How far the comb at that speed stands above all others, dB, shape (k,).
    clipped
        Share of samples at full scale, shape (k,).
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
    groups: Array32
    lines: Array32
    floors: Array32
    colour: Array32
    speed: NDArray[np.float64]
    prominence: Array32
    clipped: Array32
    peak: Array32
    spread: Array32

    def __len__(self) -> int:
        """Return how many rows there are."""
        return len(self.level)

    def table(self) -> Array32:
        """Return the scalar features as one array, shape (k, len(COLUMNS))."""
        return np.stack([np.asarray(getattr(self, name), dtype=np.float32) for name in COLUMNS], axis=1)


_WIDE = ("groups", "lines", "floors", "colour")
COLUMNS = tuple(field.name for field in fields(Rows) if field.name not in _WIDE)


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
        # One window of noise tells too little; a speed changes slowly.
        self._comb = Smoother(4 * ear.smooth, np.zeros(len(ear.grid.frequencies), dtype=np.float32))
        self._lines = Smoother(ear.smooth)

    def read(self, windows: Array32) -> Rows:
        """
        Return the rows of windows that follow those read before.

        Parameters
        ----------
        windows
            Samples, shape (k, size).
        """
        ear = self.ear
        finite = np.asarray((np.abs(windows) < _WILD).all(axis=1))
        clean = windows if finite.all() else np.where(finite[:, np.newaxis], windows, np.float32(0))
        spectra = ear.spectrum.transform(clean)
        power = ear.spectrum.power_of(spectra)
        floor = local_floor(power, round(0.5 * (ear.low + ear.high) / ear.spectrum.delta_f))
        speed, prominence = self._follow(ear.grid.scores(above_floor(power, floor)))
        heard = self._lines.smooth(_group(ear, power, floor, speed))
        return Rows(
            **_levels(heard),
            level=decibels(band_power(power, ear.spectrum.delta_f, 0.25 * ear.low, ear.rate / 2)),
            colour=third_octave_levels(power, ear.spectrum.delta_f, ear.bands),
            modulation=2 * decibels(ear.modulation.depth(spectra, speed), 10 ** (ABSENT / 20)),
            speed=speed,
            prominence=prominence,
            **_health(windows, finite),
        )

    def _follow(self, scores: Array32) -> tuple[NDArray[np.float64], Array32]:
        """Return the speed, Hz, that the evidence so far tells, and how far it stands out, dB."""
        return self.ear.grid.best(self._comb.smooth(scores))


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
        self._keep = np.float32(np.exp(-1.0 / memory))
        self._last = start

    def smooth(self, rows: Array32) -> Array32:
        """Return ``rows``, shape (k, m), each smoothed with all before it."""
        smoothed = np.empty_like(rows)
        for index, row in enumerate(rows):
            if self._last is None:
                self._last = row
            self._last = self._keep * self._last + (np.float32(1) - self._keep) * row
            smoothed[index] = self._last
        return smoothed


# Noise among the lines may be by a quarter stronger than it seems before it counts as a line.
_BENEFIT = np.float32(1.25)
GROUPS = ("tooth", "noise", "spindle", "between", "half")


def _group(ear: Ear, power: Array32, floor: Array32, speed: NDArray[np.float64]) -> Array32:
    """Return the power of each group of lines, then of each whole order and its noise, (k, 5 + 2 m)."""
    delta_f = ear.spectrum.delta_f
    halves = ear.lines[: max(1, len(ear.lines) // 2)] - 0.5
    whole, half = (line_powers(power, delta_f, speed, orders) for orders in (ear.lines, halves))
    noise, half_noise = (noise_powers(power, floor, delta_f, speed, orders) for orders in (ear.lines, halves))
    excess = whole - _BENEFIT * noise
    is_tooth = ear.lines % ear.flutes == 0
    groups = (
        _sum(whole[:, is_tooth] - noise[:, is_tooth]),
        _sum(noise[:, is_tooth]),
        excess[:, 0] * np.float32(ear.flutes > 1),
        _sum(excess[:, ~is_tooth & (ear.lines > 1)]),
        _sum(half - _BENEFIT * half_noise),
    )
    return np.concatenate([np.stack(groups, axis=1), whole, noise], axis=1)


def _levels(heard: Array32) -> dict[str, Array32]:
    """Return the smoothed groups and lines as levels."""
    groups, lines = heard[:, : len(GROUPS)], heard[:, len(GROUPS) :]
    whole, floors = np.split(lines, 2, axis=1)
    spindle, between, half = relative(groups).T
    return {
        "groups": groups,
        "lines": decibels(whole),
        "floors": decibels(floors),
        "tooth": decibels(groups[:, 0]),
        "noise": decibels(groups[:, 1]),
        "spindle": spindle,
        "between": between,
        "half": half,
    }


def relative(groups: Array32) -> Array32:
    """
    Return the spindle line, the lines between and the half orders relative to tooth-pass and noise.

    Parameters
    ----------
    groups
        Powers of ``GROUPS``, shape (..., 5).

    Returns
    -------
    array of float32, shape (..., 3)
        dB, at least ``ABSENT``.
    """
    whole = np.maximum(groups[..., 0], np.float32(0)) + groups[..., 1]
    share = groups[..., 2:] / np.maximum(whole, np.float32(1e-20))[..., np.newaxis]
    return decibels(share, 10 ** (ABSENT / 10))


def _sum(lines: Array32) -> Array32:
    """Return the sum along each row, added from left to right whatever the number of rows."""
    total = np.zeros(len(lines), dtype=np.float32)
    for column in range(lines.shape[1]):
        total = total + lines[:, column]
    return total


def _health(windows: Array32, finite: NDArray[np.bool_]) -> dict[str, Array32]:
    """Return what tells whether a window can be heard at all."""
    with np.errstate(invalid="ignore"):
        high, low = windows.max(axis=1), windows.min(axis=1)
        clipped = (np.abs(windows) >= _CLIPPED).sum(axis=1) / np.float32(windows.shape[1])
        peak = np.where(finite, np.maximum(high, -low), np.float32("nan"))
        spread = np.where(finite, high - low, np.float32(0))
    return {"clipped": clipped.astype(np.float32), "peak": peak, "spread": spread}
