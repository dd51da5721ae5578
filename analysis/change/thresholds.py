"""
Thresholds that keep a budget of false alarms.

Thresholds in tables hold for independent rows and a baseline that is known for certain. Rows of sound
resemble their neighbours and a baseline is a few seconds long; taken from a table, a threshold gives
false alarms up to ten times too often. :func:`threshold_for` corrects for both.
"""

import math
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from analysis.change.rules import Cusum
from analysis.change.run_lengths import (
    LONGEST,
    cusum_run_length,
    increasing_root,
    independent_equivalent,
    siegmund_run_length,
)


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


def threshold_for(  # noqa: PLR0913  # the rule, and each way in which rows depart from the ideal
    run_length: float,
    reference: float,
    *,
    two_sided: bool = False,
    correlation: float = 0.0,
    baseline_rows: float = math.inf,
    robust: bool = False,
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
        Number of rows that the baseline was computed from, above 3.
    robust
        Whether it was computed as median and median absolute deviation
        (:func:`analysis.robust.robust_scale`), which know less, rather than mean and standard deviation.

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
    ``correlation`` it inverts the approximation given there. Simulated with correlations of .1 to .7, the
    run length is the wanted one within 5 % at k = .5 and 20 % at k = 1; larger references get a
    threshold that is too high: by a tenth at k = 1.5, up to a third at k = 2.5.

    A baseline of m rows misses the true mean by 1/sqrt(m) of a deviation or so, and a sum then drifts for
    good. The threshold is raised until the *rate* of false alarms, averaged over the baselines that might
    have been learned (normal mean, chi-square variance), is one in ``run_length``. The average is taken
    over Siegmund's approximation; simulated run lengths are within 10 % of the wanted one, with
    ``robust`` up to 1.6 times as long, that is on the safe side. The average is dominated by the few
    baselines that are far off: most do better. Where ``reference`` is not well above 1/sqrt(m) the
    threshold becomes huge, and rightly so; take a larger reference (see :func:`fastest_rule`) or a
    longer baseline.

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
    h = increasing_root(lambda h: cusum_run_length(0.0, k, h, two_sided=two_sided), run_length)
    if math.isfinite(baseline_rows):
        per_side = run_length * (2.0 if two_sided else 1.0)
        h += _unsure_baseline(per_side, k, _baselines(baseline_rows, correlation, robust=robust))
    return max(0.0, spread * h - margin)


def fastest_rule(  # noqa: PLR0913  # as threshold_for
    shift: float,
    run_length: float,
    *,
    two_sided: bool = False,
    correlation: float = 0.0,
    baseline_rows: float = math.inf,
    robust: bool = False,
) -> Cusum:
    """
    Return the CUSUM that finds a shift soonest among those with a given run length.

    Parameters
    ----------
    shift
        The change to be found, in deviations of a row; positive.
    run_length, two_sided, correlation, baseline_rows, robust
        As for :func:`threshold_for`.

    Returns
    -------
    Cusum
        For a known baseline its reference is half the shift or near it; for a short baseline more, since
        a larger reference forgives a mean that is a little off. The reference is one of 13 from .3 to .9
        times the shift; the delay changes little between them.
    """
    if not 0 < shift < math.inf:
        raise ValueError(f"shift={shift} must be positive")
    threshold = partial(
        threshold_for,
        run_length,
        two_sided=two_sided,
        correlation=correlation,
        baseline_rows=baseline_rows,
        robust=robust,
    )
    rules = [Cusum(k, threshold(k)) for k in (shift * np.linspace(0.3, 0.9, 13)).tolist()]
    return min(
        (rule for rule in rules if rule.threshold > 0.0),
        key=lambda rule: cusum_run_length(shift, rule.reference, rule.threshold, correlation=correlation),
    )


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


class _Baselines(NamedTuple):
    """Baselines that might have been learned: true mean 0 and deviation 1 as they give them, and chances."""

    off: NDArray[np.float64]
    scale: NDArray[np.float64]
    chances: NDArray[np.float64]


def _baselines(rows: float, correlation: float, *, robust: bool) -> _Baselines:
    """Return what a baseline of ``rows`` rows may be, in units of the equivalent independent rule."""
    if rows <= 3:
        raise ValueError(f"baseline_rows={rows} must be above 3")
    # In these units a mean has the variance 1/rows. What is left of the degrees of freedom of a variance
    # is known for an autoregression (Bartlett 1946, from memory).
    variance, freedom, bias = 1.0 / rows, rows - 1.0, 0.0
    freedom *= (1.0 - correlation**2) / (1.0 + correlation**2)
    if robust:
        # A median has pi/2 times the variance of a mean, a median absolute deviation tells as much as a
        # standard deviation of 37 % of the rows, and runs low by .8/rows (own simulation).
        variance, freedom, bias = variance * math.pi / 2.0, 0.368 * freedom, 0.8 / rows
    off, chance_off = _normal_points(math.sqrt(variance))
    scale, chance_scale = _scale_points(max(freedom, 1.0))
    return _Baselines(off[:, np.newaxis], (1.0 - bias) * scale, chance_off[:, np.newaxis] * chance_scale)


def _unsure_baseline(run_length: float, reference: float, baselines: _Baselines) -> float:
    """Return by how much a one-sided threshold must be raised because the baseline has few rows."""

    def length(h: float) -> float:
        # Seen from the true mean and deviation, the rule has its reference and threshold scaled.
        scale = baselines.scale
        lengths = siegmund_run_length(baselines.off, reference * scale, h * scale)
        return float(1.0 / np.sum(baselines.chances / lengths))

    known = increasing_root(lambda h: float(siegmund_run_length(0.0, reference, h)), run_length)
    return increasing_root(length, run_length) - known


def _normal_points(deviation: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return values of a normal variable of mean 0 on a fine grid, and their probabilities."""
    z = np.linspace(-9.0, 9.0, 49)
    chances = np.exp(-0.5 * z**2)
    return deviation * z, chances / chances.sum()


def _scale_points(freedom: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return values of an estimated standard deviation whose true value is 1, and their probabilities."""
    # On a grid of logarithms, about as wide as nine deviations.
    logs = np.linspace(-12.0, 9.0, 43) / math.sqrt(2.0 * freedom)
    density = freedom * (logs - 0.5 * np.exp(2.0 * logs))
    chances = np.exp(density - density.max())
    return np.exp(logs), chances / chances.sum()
