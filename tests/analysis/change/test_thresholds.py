"""Thresholds keep their budget: against exact run lengths, and against simulated rows and baselines."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.change import (
    budget_rows,
    cusum_run_length,
    fastest_rule,
    hotelling_limit,
    least_delay,
    threshold_for,
)
from analysis.robust import robust_scale


def false_alarms(
    threshold: float,
    *,
    reference: float = 0.5,
    baseline: int = 0,
    correlation: float = 0.0,
    robust: bool = False,
    rows: int = 2000,
    runs: int = 4000,
) -> tuple[float, float]:
    """Return the part of simulated runs with a false alarm, and rows per false alarm (two-sided)."""
    rng = np.random.default_rng(11)
    x = rng.standard_normal(runs)
    fresh = math.sqrt(1 - correlation**2)
    heard = np.empty((baseline, runs))
    for i in range(baseline):
        heard[i] = x = correlation * x + fresh * rng.standard_normal(runs)
    if not baseline:
        centre, scale = np.zeros(runs), np.ones(runs)
    elif robust:
        centre, scale = np.median(heard, axis=0), robust_scale(heard)
    else:
        centre, scale = heard.mean(axis=0), heard.std(axis=0, ddof=1)
    high, low, ever, alarms = np.zeros(runs), np.zeros(runs), np.zeros(runs, dtype=bool), 0
    for _ in range(rows):
        x = correlation * x + fresh * rng.standard_normal(runs)
        z = (x - centre) / scale
        high, low = np.maximum(0, high + z - reference), np.maximum(0, low - z - reference)
        alarm = (high > threshold) | (low > threshold)
        high[alarm] = low[alarm] = 0.0
        ever |= alarm
        alarms += int(alarm.sum())
    return float(ever.mean()), rows * runs / max(alarms, 1)


# The budget


def test_budget():
    """One false alarm in 8 hours at 10 rows a second is a run of 288 000 rows, times 6 for 6 rules."""
    assert budget_rows(1, 8, 10) == pytest.approx(288_000)
    assert budget_rows(1, 8, 10, channels=6) == pytest.approx(6 * 288_000)
    assert budget_rows(2, 8, 10) == pytest.approx(144_000)


@pytest.mark.parametrize("wrong", [(0, 8, 10, 1), (1, -8, 10, 1), (1, 8, math.inf, 1), (1, 8, 10, 0)])
def test_impossible_budgets_are_refused(wrong: tuple[float, float, float, int]):
    """The error names the argument and its value."""
    with pytest.raises(ValueError, match=r"(false_alarms|hours|rows_per_second|channels)=\S+ must"):
        budget_rows(*wrong)


# Independent rows, known baseline: exact


def test_the_tables_threshold():
    """At k = .5, 465 rows need h = 5 (Montgomery 2013), 168 need 4 (Lucas & Crosier 1982); transcribed."""
    assert threshold_for(465.444, 0.5, two_sided=True) == pytest.approx(5.0, abs=1e-5)
    assert threshold_for(168, 0.5, two_sided=True) == pytest.approx(4.0, abs=5e-3)
    assert threshold_for(930.887, 0.5) == pytest.approx(5.0, abs=1e-5)


@settings(max_examples=30, deadline=None)
@given(
    k=st.floats(0.1, 2),
    run_length=st.floats(200, 1e7),
    two_sided=st.booleans(),
    correlation=st.sampled_from([0.0, 0.03, 0.4]),
)
def test_it_undoes_the_run_length(k: float, run_length: float, correlation: float, *, two_sided: bool):
    """The rule with the threshold that is found has the run length that was asked."""
    keywords = {"two_sided": two_sided, "correlation": correlation}
    h = threshold_for(run_length, k, **keywords)  # type: ignore[arg-type]
    if h > 0:
        assert cusum_run_length(0, k, h, **keywords) == pytest.approx(run_length, rel=1e-5)  # type: ignore[arg-type]


def test_a_run_that_needs_no_threshold():
    """A reference so large that single rows pass it seldom enough needs no sum at all."""
    assert threshold_for(10, 3.0) == 0.0


@pytest.mark.parametrize(
    ("run_length", "reference", "rows"), [(1, 0.5, 50), (1e13, 0.5, 50), (500, 0, 50), (500, 0.5, 3)]
)
def test_impossible_wishes_are_refused(run_length: float, reference: float, rows: float):
    """The error names the argument and its value."""
    with pytest.raises(ValueError, match=r"(run_length|reference|baseline_rows)=\S+ must"):
        threshold_for(run_length, reference, baseline_rows=rows)


# Correlated rows


@pytest.mark.slow
@pytest.mark.parametrize("correlation", [0.03, 0.10, 0.25, 0.43, 0.5])
def test_corrected_for_correlation(correlation: float):
    """Where h = 5 runs 386 to 52 rows, the corrected threshold runs the 465 that were asked, within 5 %."""
    h = threshold_for(465.444, 0.5, two_sided=True, correlation=correlation)
    assert false_alarms(h, correlation=correlation)[1] == pytest.approx(465.444, rel=0.05)


@pytest.mark.slow
@pytest.mark.parametrize(("reference", "correlation"), [(1.0, 0.25), (1.5, 0.43)])
def test_with_large_references_it_errs_on_the_safe_side(reference: float, correlation: float):
    """Away from small references the correction gives a run that is longer than asked, up to twice."""
    h = threshold_for(1000, reference, two_sided=True, correlation=correlation)
    assert 950 < false_alarms(h, reference=reference, correlation=correlation)[1] < 2000


# A baseline of few rows


@pytest.mark.slow
@pytest.mark.parametrize(("rows", "chance"), [(0, 0.094), (20, 0.305), (50, 0.188), (100, 0.140)])
def test_a_short_baseline_ruins_a_tables_threshold(rows: int, chance: float):
    """The chance of a false alarm within 50 rows at h = 5 rises to .305 (an independent simulation)."""
    assert false_alarms(5.0, baseline=rows, rows=50, runs=40_000)[0] == pytest.approx(chance, abs=0.006)


@pytest.mark.slow
@pytest.mark.parametrize("rows", [20, 50, 100])
def test_corrected_for_a_short_baseline(rows: int):
    """The corrected threshold keeps the chance and, on average over baselines, the run length within 10 %."""
    h = threshold_for(465.444, 0.5, two_sided=True, baseline_rows=rows)
    chance, run_length = false_alarms(h, baseline=rows)
    assert run_length == pytest.approx(465.444, rel=0.1)
    chance, _ = false_alarms(h, baseline=rows, rows=50, runs=40_000)
    assert chance < 0.094


@pytest.mark.slow
def test_corrected_for_both():
    """Correlated rows and a short baseline together: 465 rows within 10 %, where either alone falls short."""
    keywords = {"two_sided": True, "correlation": 0.25}
    both = threshold_for(465.444, 0.5, baseline_rows=50, **keywords)  # type: ignore[arg-type]
    one = threshold_for(465.444, 0.5, **keywords)  # type: ignore[arg-type]
    assert false_alarms(both, baseline=50, correlation=0.25)[1] == pytest.approx(465.444, rel=0.1)
    assert false_alarms(one, baseline=50, correlation=0.25)[1] < 250


@pytest.mark.slow
@pytest.mark.parametrize("rows", [50, 100])
def test_a_baseline_of_medians_keeps_the_budget(rows: int):
    """With median and median absolute deviation the run is at least what was asked, at most 1.6 times."""
    h = threshold_for(465.444, 0.5, two_sided=True, baseline_rows=rows, robust=True)
    assert 465.444 < 1.05 * false_alarms(h, baseline=rows, robust=True)[1] < 1.6 * 465.444
    naive = threshold_for(465.444, 0.5, two_sided=True, baseline_rows=rows)
    assert false_alarms(naive, baseline=rows, robust=True)[1] < 0.8 * 465.444


def test_the_longer_the_baseline_the_less_it_costs():
    """The threshold falls to that of a known baseline as rows are added; medians cost more than means."""
    means = [threshold_for(1e5, 1.0, baseline_rows=rows) for rows in (20, 40, 80, 1000, 1e9, math.inf)]
    assert means == sorted(means, reverse=True)
    assert means[-2] == pytest.approx(means[-1], rel=1e-3)
    assert threshold_for(1e5, 1.0, baseline_rows=40, robust=True) > means[1]


# The fastest rule


@pytest.mark.parametrize("shift", [0.5, 1.0, 2.0])
def test_matched_to_the_shift_is_fastest(shift: float):
    """With a known baseline the best reference is about half the shift (Moustakides 1986), near the limit."""
    rule = fastest_rule(shift, 10_000)
    assert rule.reference == pytest.approx(shift / 2, rel=0.11)
    assert cusum_run_length(0, rule.reference, rule.threshold) == pytest.approx(10_000, rel=1e-5)
    delay = cusum_run_length(shift, rule.reference, rule.threshold)
    assert delay == pytest.approx(least_delay(shift, 10_000), rel=0.06)


def test_a_short_baseline_wants_a_larger_reference():
    """A mean that may be off is forgiven by a larger reference, and the rule is faster for it."""
    keywords = {"baseline_rows": 30, "two_sided": True}
    rule = fastest_rule(2.0, 1e5, **keywords)  # type: ignore[arg-type]
    assert rule.reference > 1.1
    usual = threshold_for(1e5, 1.0, **keywords)  # type: ignore[arg-type]
    assert cusum_run_length(2, rule.reference, rule.threshold) < cusum_run_length(2, 1.0, usual)


def test_no_shift_has_no_fastest_rule():
    """The shift is a positive one."""
    with pytest.raises(ValueError, match="shift=0 must be positive"):
        fastest_rule(0, 1000)


# Several channels at once


@pytest.mark.parametrize(
    ("channels", "rows", "alpha", "limit"),
    [(2, 20, 0.01, 13.3286), (8, 30, 0.001, 56.557), (8, 1000, 0.001, 26.604)],
)
def test_hotelling(channels: int, rows: int, alpha: float, limit: float):
    """The limit for a future row, p(m+1)(m-1)/(m²-mp) F (NIST/SEMATECH 6.5.4.3; F recomputed)."""
    assert hotelling_limit(channels, rows, alpha) == pytest.approx(limit, rel=2e-5)


@pytest.mark.parametrize(
    ("channels", "chi_square"), [(1, 10.8276), (2, 13.8155), (5, 20.5150), (10, 29.5883), (20, 45.3147)]
)
def test_hotelling_of_an_endless_baseline_is_chi_square(channels: int, chi_square: float):
    """With rows without bound it is the 99.9 % point of chi-square, which is far too tight before that."""
    assert hotelling_limit(channels, 10_000_000, 0.001) == pytest.approx(chi_square, rel=1e-4)
    assert hotelling_limit(channels, 3 * channels + 5, 0.001) > 1.5 * chi_square


def test_hotelling_by_simulation():
    """Of 40 000 rows of three channels, each against 12 learned ones, one in a hundred exceeds the limit."""
    rng = np.random.default_rng(2)
    heard, future = rng.standard_normal((40_000, 12, 3)), rng.standard_normal((40_000, 3))
    off = future - heard.mean(axis=1)
    centred = heard - heard.mean(axis=1, keepdims=True)
    covariance = np.swapaxes(centred, 1, 2) @ centred / 11
    distance = np.sum(off * np.linalg.solve(covariance, off[:, :, np.newaxis])[:, :, 0], axis=1)
    assert np.mean(distance > hotelling_limit(3, 12, 0.01)) == pytest.approx(0.01, abs=0.002)


@pytest.mark.parametrize(("channels", "rows", "alpha"), [(0, 5, 0.01), (5, 5, 0.01), (2, 20, 0), (2, 20, 1)])
def test_impossible_limits_are_refused(channels: int, rows: int, alpha: float):
    """There are more rows than channels, and a probability lies between 0 and 1."""
    with pytest.raises(ValueError, match=r"(rows|alpha)=\S+ must"):
        hotelling_limit(channels, rows, alpha)
