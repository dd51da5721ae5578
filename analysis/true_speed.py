"""How fast a spindle truly turns, learned from what cuts: beside what was set, or where nobody set it."""

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from analysis.presence import Phase
from analysis.speed import SpeedGrid, remoteness

# Ratios of the true speed to the one that was set, as logarithms.
_RATIOS = np.linspace(-0.17, 0.17, 681)
_STEP = float(_RATIOS[1] - _RATIOS[0])

# How exactly a machine keeps to its ratio, and a speed is read, relative, as a deviation.
_EXACTLY = 0.004

# Seconds of cutting at one setting that are believed by half, and which share of all may be something else.
_HALF, _OTHER = 5.0, 0.1

# As much as so many seconds is what past runs tell, and the ratio may have changed by so much meanwhile, as a
# deviation.
_BEFORE, _CHANGES = 30.0, 0.008

# A ratio is sure where so many seconds of cutting were within so much of it, and that share of all.
_LONG, _NEAR, _MOSTLY = 10.0, 0.01, 0.5

# dB that a speed loses for each nat by which it is less likely, and at the most. All of these are judgements,
# by simulated development runs.
_WORTH, _MOST = 0.3, 3.0


def _bell(off: NDArray[np.float64], deviation: float) -> NDArray[np.float64]:
    bell: NDArray[np.float64] = np.exp(-0.5 * (off / deviation) ** 2) / (deviation * np.sqrt(2.0 * np.pi))
    return bell


_KERNEL = _bell(np.arange(-30.0, 31.0) * _STEP, _EXACTLY)


class TrueSpeed:
    """
    Learns the ratio of a spindle's true speed to the one that was set.

    A dial's number is no speed, but what a machine makes of one number it makes of the next. Each setting
    speaks for itself: another machine in the shop turns at a speed of its own, and so at another ratio to
    each. So what agrees is the spindle.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    before
        The ratio of past runs; ``None`` where none is known.
    """

    def __init__(self, seconds: float, before: float | None = None) -> None:
        self._seconds = seconds
        self._before = before
        self._heard: dict[float, NDArray[np.float64]] = {}
        self._loses: NDArray[np.float64] | None = None

    def hear(self, nominal: float, frequencies: NDArray[np.float64]) -> None:
        """
        Take in what was heard to cut.

        Parameters
        ----------
        nominal
            Spindle frequency that was set, Hz.
        frequencies
            What it was in each row, Hz, shape (k,).
        """
        if not len(frequencies):
            return
        counts = self._heard.setdefault(nominal, np.zeros(len(_RATIOS)))
        places = np.rint((np.log(frequencies / nominal) - _RATIOS[0]) / _STEP).astype(np.intp)
        np.add.at(counts, np.clip(places, 0, len(_RATIOS) - 1), self._seconds)
        self._loses = None

    def unlikely(self, grid: SpeedGrid) -> NDArray[np.float32]:
        """Return what each speed of a grid loses for being unlikely on this machine, dB, shape (g,)."""
        if grid.nominal is None or not (self._heard or self._before):
            return grid.remote
        if self._loses is None:
            self._loses = self._by_ratio()
        found: NDArray[np.float32] = np.interp(grid.ratios, _RATIOS, self._loses).astype(np.float32)
        return found

    @property
    def ratio(self) -> float | None:
        """The ratio of the true speed to what was set; that of past runs where this one tells none."""
        heard = sum(self._heard.values(), np.zeros(len(_RATIOS)))
        near = np.abs(_RATIOS - _RATIOS[self._by_ratio().argmin()]) <= _NEAR
        there = float(heard[near].sum())
        if there < max(_LONG, _MOSTLY * float(heard.sum())):
            return self._before
        return float(np.exp(heard[near] @ _RATIOS[near] / there))

    def _by_ratio(self) -> NDArray[np.float64]:
        """Return what each ratio loses for being unlikely, dB, shape (r,)."""
        worth = -remoteness(_RATIOS)
        if self._before is not None:
            worth += _WORTH * _nats(_BEFORE, _bell(_RATIOS - np.log(self._before), _CHANGES))
        for counts in self._heard.values():
            total = float(counts.sum())
            worth += _WORTH * _nats(total, np.convolve(counts, _KERNEL, "same") / total)
        loses: NDArray[np.float64] = np.minimum(worth.max() - worth, _MOST)
        return loses


def _nats(total: float, density: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the log likelihood of each ratio by what was heard for so many s at one setting, shape (r,)."""
    share = (1.0 - _OTHER) * total / (total + _HALF)
    anything = (1.0 - share) / (_RATIOS[-1] - _RATIOS[0])
    found: NDArray[np.float64] = np.log(anything + share * density)
    return found


# Where nobody set a speed: how fine those are told apart that were heard, as a logarithm; for how long one
# must have cut, s, and for which share of all, to be taken for the spindle's.
_FINE, _CUT_FOR, _OF_ALL = 0.004, 3.0, 0.5
# What is a half, a third, twice or thrice as fast then loses, dB, and how near to that it must lie, as a
# logarithm. Judgements, by development runs.
_PART, _ABOUT = 4.0, 0.012
_PARTS = np.log([1 / 3, 1 / 2, 2.0, 3.0])

# After so many s in which none is heard a spindle may turn at any speed, with any bit.
_STOOD = 2.0


class HeardSpeed:
    """
    Learns a spindle's speed where nobody told it.

    A bit that comes loose rocks, and then sounds as one does that turns at half the speed. What it turned at
    before tells that it does not, as long as the spindle has not stood since.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._rows: Counter[int] = Counter()
        self._off = 0.0

    def row(self, phase: Phase, frequency: float) -> bool:
        """
        Take in one row; return whether all that was learned is forgotten by it.

        Parameters
        ----------
        phase
            What the spindle is heard to do.
        frequency
            At which spindle frequency, Hz, if it turns.
        """
        if phase is Phase.CUT:
            self.hear(frequency)
        self._off = self._off + self._seconds if phase is Phase.OFF else 0.0
        if self._off < _STOOD or not self._rows:
            return False
        self._rows.clear()
        return True

    def hear(self, frequency: float) -> None:
        """Take in one row that was heard to cut, at a spindle frequency in Hz."""
        self._rows[round(np.log(frequency) / _FINE)] += 1

    @property
    def speed(self) -> float | None:
        """The spindle frequency at which it mostly cuts, Hz, once that is clear."""
        if not self._rows:
            return None
        most = max(self._rows, key=self._about)
        rows = self._about(most)
        clear = rows * self._seconds >= _CUT_FOR and rows >= _OF_ALL * self._rows.total()
        return float(np.exp(most * _FINE)) if clear else None

    def unlikely(self, grid: SpeedGrid) -> NDArray[np.float32]:
        """Return what each speed of a grid loses for being a part of the one that cuts, dB, shape (g,)."""
        speed = self.speed
        if speed is None:
            return grid.remote
        off = np.abs(np.log(grid.frequencies / speed)[:, np.newaxis] - _PARTS).min(axis=1)
        return np.where(off < _ABOUT, np.float32(_PART), np.float32(0.0))

    def _about(self, place: int) -> int:
        return sum(self._rows[place + step] for step in range(-2, 3))
