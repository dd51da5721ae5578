"""
The rules that listen for a lasting change, row by row.

A row that is a little off means nothing; a hundred rows that are each a little off mean a change. A CUSUM
adds up by how much rows exceed what is normal, and signals when the sum passes a threshold. It never
relearns what is normal, so that it cannot learn a fault.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray


class Sums(NamedTuple):
    """
    Where a CUSUM stands after some rows.

    Attributes
    ----------
    rows
        Number of rows taken in.
    high, low
        The sums that listen upwards and downwards, shape (channels,).
    high_since, low_since
        Number (from 0) of the row at which each sum last rose from zero: the likeliest onset, should the
        sum pass its threshold [1]_. Equal to ``rows`` while the sum is zero.

    References
    ----------
    .. [1] E. S. Page, Continuous inspection schemes, Biometrika 41 (1954) 100-115.
    """

    rows: int
    high: NDArray[np.float64]
    low: NDArray[np.float64]
    high_since: NDArray[np.intp]
    low_since: NDArray[np.intp]


@dataclass(frozen=True)
class Cusum:
    """
    A two-sided CUSUM over some channels, row by row.

    The rule itself never changes; where it stands is a :class:`Sums` that each step replaces.

    Attributes
    ----------
    reference
        What is taken off each row (k), in deviations; half the shift that is to be found soonest.
    threshold
        The sum above which the rule signals (h), in deviations.
    head_start
        Where the sums start. Half the threshold finds a fault that is there from the first row in about
        60 % of the time, and costs about a tenth of the run length (Lucas & Crosier 1982).

    Notes
    -----
    high = max(0, high + x - k) and low = max(0, low - x - k), x in deviations from what is normal.

    Examples
    --------
    >>> rule = Cusum(reference=0.5, threshold=4.0)
    >>> sums = rule.start(channels=2)
    >>> for row in [[0.1, 0.0], [2.5, 0.3], [2.5, -0.2], [2.5, 0.1]]:
    ...     sums = rule.step(sums, row)
    >>> rule.signals(sums)
    array([ True, False])
    >>> int(sums.high_since[0])
    1
    """

    reference: float
    threshold: float
    head_start: float = 0.0

    def start(self, channels: int = 1) -> Sums:
        """Return the sums before the first row."""
        ahead = np.full(channels, float(self.head_start))
        since = np.zeros(channels, dtype=np.intp)
        return Sums(0, ahead, ahead, since, since)

    def step(self, sums: Sums, row: ArrayLike) -> Sums:
        """
        Return the sums after one more row.

        Parameters
        ----------
        sums
            From :meth:`start` or an earlier step; left as it is.
        row
            Deviations from what is normal in deviations of a row, shape (channels,).

        Raises
        ------
        ValueError
            If the row does not have a value for each channel, or one is not finite: a sum that is NaN
            would never signal again.
        """
        x = np.asarray(row, dtype=np.float64)
        if x.shape != sums.high.shape:
            raise ValueError(f"a row of shape {x.shape} must have the shape {sums.high.shape}")
        if not np.isfinite(x).all():
            raise ValueError(f"row {sums.rows} is not finite in channel {int(np.argmin(np.isfinite(x)))}")
        rows = sums.rows + 1
        high = np.maximum(0.0, sums.high + x - self.reference)
        low = np.maximum(0.0, sums.low - x - self.reference)
        return Sums(
            rows,
            high,
            low,
            np.where(high > 0.0, sums.high_since, rows),
            np.where(low > 0.0, sums.low_since, rows),
        )

    def signals(self, sums: Sums) -> NDArray[np.bool_]:
        """Return which channels are above the threshold on either side, shape (channels,)."""
        return np.asarray((sums.high > self.threshold) | (sums.low > self.threshold))


class Chart(NamedTuple):
    """A CUSUM's sums after each row; ``high`` and ``low`` have the shape of the data."""

    high: NDArray[np.float64]
    low: NDArray[np.float64]


def cusum(x: ArrayLike, target: ArrayLike, reference: float, head_start: float = 0.0) -> Chart:
    """
    Return the sums of a two-sided CUSUM after each row.

    Parameters
    ----------
    x
        Rows, shape (n,) or (n, channels), in any unit.
    target
        What is normal, in the unit of ``x``; one value or one a channel.
    reference
        What is taken off each row, in the unit of ``x``.
    head_start
        Where the sums start.

    Raises
    ------
    ValueError
        If a value of ``x`` is not finite.
    """
    deviations = np.asarray(x, dtype=np.float64) - np.asarray(target, dtype=np.float64)
    table = deviations.reshape(len(deviations), -1)
    rule = Cusum(reference, math.inf, head_start)
    sums = rule.start(table.shape[1])
    high, low = np.empty_like(table), np.empty_like(table)
    for i, row in enumerate(table):
        sums = rule.step(sums, row)
        high[i], low[i] = sums.high, sums.low
    return Chart(high.reshape(deviations.shape), low.reshape(deviations.shape))


def ewma(x: ArrayLike, weight: float, start: ArrayLike) -> NDArray[np.float64]:
    """
    Return the exponentially weighted moving average after each row.

    Parameters
    ----------
    x
        Rows, shape (n,) or (n, channels).
    weight
        Weight of the newest row, above 0 and at most 1.
    start
        The average before the first row.

    Raises
    ------
    ValueError
        If ``weight`` is out of its range.
    """
    if not 0 < weight <= 1:
        raise ValueError(f"weight={weight} must be above 0 and at most 1")
    rows = np.asarray(x, dtype=np.float64)
    averages = np.empty_like(rows)
    average = np.asarray(start, dtype=np.float64)
    for i, row in enumerate(rows):
        average = weight * row + (1.0 - weight) * average
        averages[i] = average
    return averages


def ewma_limits(
    target: float, deviation: float, weight: float, width: float = 3.0, row: float = math.inf
) -> tuple[float, float]:
    """
    Return the lower and upper limit of an EWMA.

    Parameters
    ----------
    target, deviation
        Mean and standard deviation of a row when all is well.
    weight
        Weight of the newest row.
    width
        Half-width in deviations of the average.
    row
        Number of the row, from 1; by default the limits that are approached.
    """
    settled = 1.0 - (1.0 - weight) ** (2.0 * row)
    half = width * deviation * math.sqrt(weight / (2.0 - weight) * settled)
    return target - half, target + half
