"""Rows that are smoothed as they come."""

import numpy as np
from numpy.typing import NDArray

Array32 = NDArray[np.float32]


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
