"""How fast a spindle truly turns beside what it was set to, learned from what is heard to cut."""

import numpy as np
from numpy.typing import NDArray

from analysis.speed import SpeedGrid, remoteness

# Ratios of the true speed to the one that was set, as logarithms.
_RATIOS = np.linspace(-0.17, 0.17, 681)
_STEP = float(_RATIOS[1] - _RATIOS[0])

# How exactly a machine keeps to its ratio, and a speed is read, relative, as a deviation.
_EXACTLY = 0.004
_ABOUT = np.arange(-30, 31) * _STEP / _EXACTLY
_KERNEL = np.exp(-0.5 * _ABOUT**2) / (_EXACTLY * np.sqrt(2.0 * np.pi))

# Seconds of cutting at one setting that are believed by half, and which share of all may be something else.
_HALF, _OTHER = 5.0, 0.1

# dB that a speed loses for each nat by which it is less likely, and at the most. All of these are judgements,
# by simulated development runs.
_WORTH, _MOST = 0.3, 3.0


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
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
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
        if grid.nominal is None or not self._heard:
            return grid.remote
        if self._loses is None:
            self._loses = self._by_ratio()
        ratios = np.log(grid.frequencies / grid.nominal)
        found: NDArray[np.float32] = np.interp(ratios, _RATIOS, self._loses).astype(np.float32)
        return found

    def _by_ratio(self) -> NDArray[np.float64]:
        """Return what each ratio loses for being unlikely, dB, shape (r,)."""
        worth = -remoteness(_RATIOS)
        for counts in self._heard.values():
            worth += _WORTH * _nats(counts)
        loses: NDArray[np.float64] = np.minimum(worth.max() - worth, _MOST)
        return loses


def _nats(counts: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the log likelihood of each ratio by what was heard at one setting, s of each, shape (r,)."""
    total = float(counts.sum())
    share = (1.0 - _OTHER) * total / (total + _HALF)
    anything = (1.0 - share) / (_RATIOS[-1] - _RATIOS[0])
    found: NDArray[np.float64] = np.log(anything + share * np.convolve(counts, _KERNEL, "same") / total)
    return found
