"""
Sequential tests for a lasting change, and thresholds that keep a budget of false alarms.

A row that is a little off means nothing; a hundred rows that are each a little off mean a change. A CUSUM
adds up by how much rows exceed what is normal, and signals when the sum passes a threshold. It never
relearns what is normal, so that it cannot learn a fault.

Thresholds in tables hold for independent rows and a baseline that is known for certain. Rows of sound
resemble their neighbours and a baseline is a few seconds long; taken from a table, a threshold gives
false alarms up to ten times too often. :func:`threshold_for` corrects for both.

How long rules run is computed in :mod:`analysis.run_lengths`; its names can be had here as well.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri

from analysis.run_lengths import (
    LONGEST,
    cusum_run_length,
    ewma_run_length,
    increasing_root,
    independent_equivalent,
    least_delay,
    siegmund_run_length,
)

__all__ = [
    "Chart",
    "Cusum",
    "Sums",
    "budget_rows",
    "cusum",
    "cusum_run_length",
    "ewma",
    "ewma_limits",
    "ewma_run_length",
    "fastest_rule",
    "hotelling_limit",
    "least_delay",
    "overlap_correlation",
    "serial_correlation",
    "siegmund_run_length",
    "threshold_for",
]


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


def budget_rows(false_alarms: float, hours: float, rows_per_second: float, channels: int = 1) -> float:
    """
    Return the run length that each channel must have for a budget of false alarms.

    Parameters
    ----------
    false_alarms
        How many are bearable ...
    hours
        ... in so many hours of cutting.
    rows_per_second
        How often a rule takes a row.
    channels
        How many rules listen, each of which may alarm.

    Returns
    -------
    float
        Rows between false alarms, for one channel. Rates of false alarms add up whether channels are
        independent or not; channels that alarm together give fewer alarms than budgeted, never more.

    Raises
    ------
    ValueError
        If an argument is not positive.

    Examples
    --------
    >>> budget_rows(1, 8, 10, channels=6)  # one false alarm in a working day
    1728000.0
    """
    for name, value in (
        ("false_alarms", false_alarms),
        ("hours", hours),
        ("rows_per_second", rows_per_second),
    ):
        if not 0 < value < math.inf:
            raise ValueError(f"{name}={value} must be positive")
    if channels < 1:
        raise ValueError(f"channels={channels} must be at least 1")
    return hours * 3600.0 * rows_per_second * channels / false_alarms


def threshold_for(
    run_length: float,
    reference: float,
    *,
    two_sided: bool = False,
    correlation: float = 0.0,
    baseline_rows: float = math.inf,
) -> float:
    """
    Return the CUSUM threshold that gives a run length when nothing changes.

    Parameters
    ----------
    run_length
        Wanted mean number of rows between false alarms.
    reference
        What is taken off each row, in deviations of a row; positive.
    two_sided
        Whether the rule listens both ways.
    correlation
        Correlation of a row with the one before, 0 to below 1.
    baseline_rows
        Number of rows from whose mean and standard deviation the baseline was computed, above 3. A median
        knows as much as a mean of 64 % of the rows, a median absolute deviation as much as a standard
        deviation of 37 %: with these give the smaller number.

    Returns
    -------
    float
        In deviations of a row.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    For independent rows and a known baseline this inverts :func:`cusum_run_length` and is exact; with
    ``correlation`` it inverts the approximation given there.

    A baseline of m rows misses the true mean by 1/sqrt(m) of a deviation or so, and a sum then drifts for
    good. The threshold is raised until the *rate* of false alarms, averaged over the baselines that might
    have been learned (normal mean, chi-square variance), is one in ``run_length``. The average is taken
    over Siegmund's approximation and is good to a few percent of the threshold. It is dominated by the few
    baselines that are far off: most do better. Where ``reference`` is not well above 1/sqrt(m) the
    threshold becomes huge, and rightly so; take a larger reference (see :func:`fastest_rule`) or a longer
    baseline.

    Examples
    --------
    >>> round(threshold_for(465.444, 0.5, two_sided=True), 3)
    5.0
    >>> round(threshold_for(465.444, 0.5, two_sided=True, correlation=0.25), 2)
    7.23
    """
    if not 1 < run_length < LONGEST:
        raise ValueError(f"run_length={run_length} must be above 1 and below {LONGEST:g}")
    if not 0 < reference < math.inf:
        raise ValueError(f"reference={reference} must be positive")
    spread, margin = independent_equivalent(correlation)
    k = reference / spread
    h = increasing_root(lambda h: cusum_run_length(0.0, k, h, two_sided=two_sided) if h else 0.0, run_length)
    if math.isfinite(baseline_rows):
        per_side = run_length * (2.0 if two_sided else 1.0)
        h += _unsure_baseline(per_side, k, baseline_rows, correlation)
    return max(0.0, spread * h - margin)


def fastest_rule(
    shift: float,
    run_length: float,
    *,
    two_sided: bool = False,
    correlation: float = 0.0,
    baseline_rows: float = math.inf,
) -> Cusum:
    """
    Return the CUSUM that finds a shift soonest among those with a given run length.

    Parameters
    ----------
    shift
        The change to be found, in deviations of a row; positive.
    run_length, two_sided, correlation, baseline_rows
        As for :func:`threshold_for`.

    Returns
    -------
    Cusum
        For a known baseline its reference is half the shift or near it; for a short baseline more, since
        a larger reference forgives a mean that is a little off. The reference is one of 17 from .3 to .9
        times the shift; the delay changes little between them.
    """
    if not 0 < shift < math.inf:
        raise ValueError(f"shift={shift} must be positive")
    rules = [
        Cusum(
            k,
            threshold_for(
                run_length, k, two_sided=two_sided, correlation=correlation, baseline_rows=baseline_rows
            ),
        )
        for k in (shift * np.linspace(0.3, 0.9, 17)).tolist()
    ]
    return min(
        (rule for rule in rules if rule.threshold > 0.0),
        key=lambda rule: cusum_run_length(shift, rule.reference, rule.threshold, correlation=correlation),
    )


def overlap_correlation(window: NDArray[np.floating], hop: int) -> NDArray[np.float64]:
    """
    Return how the powers of white noise in one bin correlate from row to row, by overlap alone.

    Parameters
    ----------
    window
        The window's taps.
    hop
        Samples from one row to the next.

    Returns
    -------
    array of float64
        Correlation with the next row, the one after it and so on while windows overlap; empty if they do
        not. For a periodic Hann window 1/36 at half overlap, .4345 at three quarters.

    Notes
    -----
    (sum w(n) w(n + lag) / sum w(n)²)². A band of many bins correlates alike. Real sound adds its own
    correlation to this: see :func:`serial_correlation`.
    """
    if hop < 1:
        raise ValueError(f"hop={hop} must be a positive integer")
    taps = window.astype(np.float64)
    shared = [np.sum(taps[lag:] * taps[:-lag]) for lag in range(hop, len(taps), hop)]
    return np.square(np.array(shared, dtype=np.float64) / np.sum(taps**2))


def serial_correlation(rows: ArrayLike) -> NDArray[np.float64]:
    """
    Return the correlation of each row with the one before, by channel, as far as it is positive.

    Parameters
    ----------
    rows
        Shape (m, channels) or (m,), m at least 8.

    Returns
    -------
    array of float64, shape (channels,) or ()
        From 0 to .95. Its standard error is about 1/sqrt(m).

    Raises
    ------
    ValueError
        If there are too few rows.

    Notes
    -----
    The usual estimate r is too small by about (1 + 4 r)/m when the mean is estimated from the same rows
    (Kendall's and Marriott & Pope's result of 1954, from memory); that much is added.
    """
    x = np.asarray(rows, dtype=np.float64)
    if len(x) < 8:
        raise ValueError(f"{len(x)} rows are too few to tell how they correlate; 8 is the least")
    x = x - x.mean(axis=0)
    spread = np.sum(x**2, axis=0)
    r = np.sum(x[1:] * x[:-1], axis=0) / np.where(spread > 0.0, spread, 1.0)
    return np.asarray(np.clip(r + (1.0 + 4.0 * r) / len(x), 0.0, 0.95))


def hotelling_limit(channels: int, rows: int, alpha: float) -> float:
    """
    Return the limit for the squared Mahalanobis distance of a future row from a learned baseline.

    Parameters
    ----------
    channels
        Number of values in a row (p).
    rows
        Number of independent rows that mean and covariance were computed from (m), more than ``channels``.
    alpha
        Wanted probability that a normal row exceeds the limit.

    Returns
    -------
    float
        p (m + 1)(m - 1) / (m² - m p) times the upper ``alpha`` point of F(p, m - p) [1]_. Exact for
        independent normal rows. The chi-square limit is its value for m without bound, and far too
        tight for a baseline of a few seconds.

    Raises
    ------
    ValueError
        If there are not more rows than channels, or ``alpha`` is not between 0 and 1.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.5.4.3.
    """
    if not 1 <= channels < rows:
        raise ValueError(f"rows={rows} must be more than channels={channels}, and that at least 1")
    if not 0 < alpha < 1:
        raise ValueError(f"alpha={alpha} must lie between 0 and 1")
    p, m = float(channels), float(rows)
    return float(p * (m + 1) * (m - 1) / (m * m - m * p) * fdtri(p, m - p, 1.0 - alpha))


def _unsure_baseline(run_length: float, reference: float, rows: float, correlation: float) -> float:
    """Return by how much a one-sided threshold must be raised because the baseline has few rows."""
    if rows <= 3:
        raise ValueError(f"baseline_rows={rows} must be above 3")
    # In units of the equivalent independent rule the baseline's mean has the variance 1/rows; what is
    # left of the degrees of freedom of its variance is known for an autoregression (Bartlett 1946).
    freedom = (rows - 1.0) * (1.0 - correlation**2) / (1.0 + correlation**2)
    off, chance_off = _normal_points(1.0 / math.sqrt(rows))
    scale, chance_scale = _scale_points(max(freedom, 1.0))
    chances = chance_off[:, np.newaxis] * chance_scale
    off = off[:, np.newaxis]

    def length(h: float) -> float:
        # Seen from the true mean and deviation, the rule has its reference and threshold scaled.
        lengths = siegmund_run_length(off, reference * scale, h * scale)
        return float(1.0 / np.sum(chances / lengths))

    known = increasing_root(lambda h: float(siegmund_run_length(0.0, reference, h)), run_length)
    return increasing_root(length, run_length) - known


def _normal_points(deviation: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return values of a normal variable of mean 0 on a fine grid, and their probabilities."""
    z = np.linspace(-9.0, 9.0, 73)
    chances = np.exp(-0.5 * z**2)
    return deviation * z, chances / chances.sum()


def _scale_points(freedom: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return values of an estimated standard deviation whose true value is 1, and their probabilities."""
    # On a grid of logarithms, about as wide as nine deviations.
    logs = np.linspace(-12.0, 9.0, 64) / math.sqrt(2.0 * freedom)
    density = freedom * (logs - 0.5 * np.exp(2.0 * logs))
    chances = np.exp(density - density.max())
    return np.exp(logs), chances / chances.sum()
