"""
A stretch of sound in orders: what a person looks at to compare now with normal.

The watcher judges single lines, see `analysis.orders`; this is the whole picture, averaged over some seconds.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.spectrum import PowerSpectrum, decibels

TURNS = 64
"""Turns of the spindle in a window: lines are then four windows' bins wide, a sixteenth of an order."""

CELL = 1 / 16
"""Orders in a cell. Whole and half orders lie in the middle of one."""


def window_for(rate: int, frequency: float) -> int:
    """Return how many samples ``TURNS`` turns take at a spindle frequency in Hz."""
    return max(16, round(TURNS * rate / frequency))


def cells(least: float, most: float) -> NDArray[np.float64]:
    """Return the middles of the cells from one order to another, shape (m,)."""
    return np.arange(round(least / CELL), round(most / CELL) + 1, dtype=np.float64) * CELL


def order_spectrum(
    windows: NDArray[np.float32], rate: int, frequency: NDArray[np.float64], orders: NDArray[np.float64]
) -> NDArray[np.float64]:
    """
    Return the mean level in each cell of orders.

    Parameters
    ----------
    windows
        Samples, shape (k, size), k at least 1.
    rate
        Samples per second, Hz.
    frequency
        Spindle frequency in each window, Hz, shape (k,): so a speed that wanders blurs nothing.
    orders
        The cells' middles, from `cells`, shape (m,).

    Returns
    -------
    array of float64, shape (m,)
        dBFS. A line's power falls into one cell, whatever the window; NaN above the end of the spectrum.

    Raises
    ------
    ValueError
        If there is no window, or not one frequency for each.
    """
    if not len(windows) or frequency.shape != (len(windows),):
        raise ValueError(f"{len(windows)} windows need as many frequencies, not {frequency.shape}")
    spectrum = PowerSpectrum(rate, windows.shape[1])
    power = spectrum.power(windows).astype(np.float64)
    # Bins as steps of a staircase, so that the power between two edges is read off exactly.
    total = np.pad(np.cumsum(power, axis=1), ((0, 0), (1, 0)))
    steps = (np.arange(total.shape[1]) - 0.5) * spectrum.delta_f
    edges = np.append(orders - CELL / 2, orders[-1] + CELL / 2)
    between = np.stack(
        [
            np.diff(np.interp(edges * turns, steps, row, right=np.nan))
            for turns, row in zip(frequency, total, strict=True)
        ]
    )
    return np.asarray(decibels(between.mean(axis=0)), dtype=np.float64)
