"""Run lengths against published tables and a Markov chain written out for the purpose."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from analysis.change import (
    cusum_run_length,
    ewma_run_length,
    least_delay,
    siegmund_run_length,
)
from analysis.change.run_lengths import increasing_root, independent_equivalent

SHIFTS = [0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4]

RULES = st.tuples(st.floats(-0.5, 3), st.floats(0.1, 1.5), st.floats(0.5, 5))


def markov_chain(shift: float, reference: float, threshold: float, states: int) -> float:
    """Return the one-sided run length as Brook & Evans compute it, with sums rounded to ``states`` values."""
    width = 2 * threshold / (2 * states - 1)
    step = np.subtract.outer(np.arange(states), np.arange(states)).T  # to minus from
    upper = (step + 0.5) * width + reference - shift
    stay = ndtr(upper) - ndtr(upper - width)
    stay[:, 0] = ndtr(upper[:, 0])
    return float(np.linalg.solve(np.eye(states) - stay, np.ones(states))[0])


# CUSUM, against tables


@pytest.mark.parametrize(
    ("threshold", "head_start", "printed"),
    [
        (4, 0, [168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.19, 1.71]),
        (4, 2, [149, 62.7, 20.1, 8.97, 5.29, 2.86, 2.01, 1.32, 1.07]),
        (5, 0, [465.444, 139.494, 37.996, 17.048, 10.376, 5.747, 4.009, 2.573, 2.013]),
    ],
)
def test_lucas_and_crosier(threshold: float, head_start: float, printed: list[float]):
    """Two-sided, k = .5 (Lucas & Crosier 1982, Table 1, as transcribed; h = 5 recomputed)."""
    ours = [
        cusum_run_length(shift, 0.5, threshold, two_sided=True, head_start=head_start) for shift in SHIFTS
    ]
    assert ours == pytest.approx(printed, rel=5e-3 if threshold == 4 else 0, abs=6e-4)


def test_montgomery():
    """Two-sided k = .5, h = 5 runs 465 rows (Montgomery 2013, Table 9.3, as transcribed)."""
    assert round(cusum_run_length(0, 0.5, 5, two_sided=True)) == 465


def test_one_sided():
    """One-sided, k = .5, without a shift: 335.368 at h = 4 and 930.887 at h = 5 (recomputed)."""
    assert cusum_run_length(0, 0.5, 4) == pytest.approx(335.368, abs=5e-4)
    assert cusum_run_length(0, 0.5, 5) == pytest.approx(930.887, abs=5e-4)


def test_brook_and_evans():
    """One-sided k = .5, h = 3: 117.59, and 3.75 at a shift of 1.5 (Brook & Evans 1972, as transcribed)."""
    assert cusum_run_length(0, 0.5, 3) == pytest.approx(117.59, abs=0.01)
    assert cusum_run_length(1.5, 0.5, 3) == pytest.approx(3.75, abs=5e-3)


def test_brook_and_evans_s_own_way():
    """Their Markov chain gives 116.63, 117.56, 117.59 with 10, 50, 100 states, and closes in on ours."""
    chains = [markov_chain(0, 0.5, 3, states) for states in (10, 50, 100)]
    assert chains == pytest.approx([116.63, 117.56, 117.59], abs=5e-3)
    assert markov_chain(0, 0.5, 3, 400) == pytest.approx(cusum_run_length(0, 0.5, 3), rel=2e-5)


def test_vance():
    """One-sided k = 0, h = 10, means -.25 to 1 (Vance 1986, as transcribed)."""
    means = [-0.25, -0.125, 0, 0.125, 0.25, 0.5, 0.75, 1]
    printed = [2071.51, 400.28, 124.66, 59.30, 36.71, 20.37, 14.06, 10.75]
    assert [cusum_run_length(mean, 0, 10) for mean in means] == pytest.approx(printed, rel=3e-4)


# CUSUM, against other ways to compute it


@settings(max_examples=25, deadline=None)
@given(RULES)
def test_agrees_with_a_fine_markov_chain(rule: tuple[float, float, float]):
    """For any rule the chain of 300 states is within a few thousandths of the integral equation."""
    assert cusum_run_length(*rule) == pytest.approx(markov_chain(*rule, states=300), rel=5e-3)


@settings(max_examples=25, deadline=None)
@given(RULES)
def test_no_head_start_is_a_head_start_of_none(rule: tuple[float, float, float]):
    """A head start shortens the run, and the less it is the less it does."""
    shift, k, h = rule
    whole = cusum_run_length(shift, k, h)
    assert cusum_run_length(shift, k, h, head_start=h * 1e-9) == pytest.approx(whole, rel=1e-6)
    assert cusum_run_length(shift, k, h, head_start=h / 2) < whole


@given(shift=st.floats(0, 3), k=st.floats(0.1, 1.5), h=st.floats(0.5, 5))
@settings(max_examples=25, deadline=None)
def test_both_sides_run_shorter_than_one(shift: float, k: float, h: float):
    """The rates of the two sides add up; the direction of the shift does not matter."""
    both = cusum_run_length(shift, k, h, two_sided=True)
    up, down = cusum_run_length(shift, k, h), cusum_run_length(-shift, k, h)
    assert both == pytest.approx(1 / (1 / up + 1 / down), rel=1e-9)
    assert both == pytest.approx(cusum_run_length(-shift, k, h, two_sided=True), rel=1e-9)


def test_a_long_run_is_told_in_time():
    """Below 1e12 rows the logarithm grows by 2 k a unit of threshold, as it must; beyond, it is infinity."""
    lengths = [cusum_run_length(0, 0.5, h) for h in (16.0, 18.0, 20.0, 22.0)]
    assert np.diff(np.log(lengths)) == pytest.approx([2.0, 2.0, 2.0], abs=2e-3)
    assert cusum_run_length(0, 0.5, 100) == math.inf
    assert cusum_run_length(0, 0.5, 100, two_sided=True) == math.inf
    assert cusum_run_length(4, 0.5, 30, two_sided=True) == pytest.approx(cusum_run_length(4, 0.5, 30))


def test_above_a_threshold_of_60_the_approximation_joins_on():
    """Where Siegmund's approximation takes over, the run length does not jump by more than a percent."""
    for shift, k, start in ((0, 0.01, 0), (0, 0.0, 30), (0.6, 0.5, 0), (1.5, 0.5, 30), (3, 0.5, 0)):
        below, above = (cusum_run_length(shift, k, h, head_start=start) for h in (60.0, 60.001))
        assert above == pytest.approx(below, rel=0.02)


@pytest.mark.slow
def test_simulated_run_length():
    """20 000 simulated runs of the two-sided rule, with and without a head start, have the mean computed."""
    for shift, start in ((0.0, 0.0), (0.0, 2.0), (1.0, 2.0)):
        mean, error = simulated(0.0, shift=shift, h=4.0, head_start=start)
        expected = cusum_run_length(shift, 0.5, 4, two_sided=True, head_start=start)
        assert abs(mean - expected) < 4 * error


@pytest.mark.parametrize(
    ("keywords", "named"),
    [
        ({"threshold": 0}, "threshold=0"),
        ({"threshold": math.inf}, "threshold=inf"),
        ({"head_start": 5}, "head_start=5"),
        ({"head_start": -1}, "head_start=-1"),
        ({"correlation": 1}, "correlation=1"),
        ({"correlation": -0.1}, "correlation=-0.1"),
    ],
)
def test_impossible_rules_are_refused(keywords: dict[str, float], named: str):
    """The error names the argument and its value."""
    with pytest.raises(ValueError, match=f"^{named} must"):
        cusum_run_length(**{"shift": 0, "reference": 0.5, "threshold": 5, **keywords})


# Correlated rows


def simulated(  # the oracle: what a rule does, done
    correlation: float, *, shift: float = 0.0, h: float = 5.0, head_start: float = 0.0, runs: int = 20_000
) -> tuple[float, float]:
    """Return mean and standard error of simulated two-sided run lengths at k = .5."""
    rng = np.random.default_rng(7)
    x = rng.standard_normal(runs)
    high, low = np.full(runs, head_start), np.full(runs, head_start)
    lengths: list[int] = []
    rows = 0
    while len(x):
        rows += 1
        high = np.maximum(0, high + shift + x - 0.5)
        low = np.maximum(0, low - shift - x - 0.5)
        on = (high <= h) & (low <= h)
        lengths += [rows] * int(np.sum(~on))
        high, low, x = high[on], low[on], x[on]
        x = correlation * x + math.sqrt(1 - correlation**2) * rng.standard_normal(len(x))
    return float(np.mean(lengths)), float(np.std(lengths) / math.sqrt(runs))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("correlation", "expected"), [(0.03, 386), (0.10, 251), (0.25, 119), (0.43, 62), (0.5, 52)]
)
def test_correlation_ruins_a_table_s_threshold(correlation: float, expected: float):
    """A rule that should run 465 rows runs 386 to 52 on autoregressive rows (an independent simulation)."""
    mean, _ = simulated(correlation)
    assert mean == pytest.approx(expected, rel=0.035)
    assert cusum_run_length(0, 0.5, 5, two_sided=True, correlation=correlation) == pytest.approx(
        mean, rel=0.04
    )


def test_uncorrelated_is_the_equivalent_of_itself():
    """Without correlation nothing is corrected; with it the sum spreads by sqrt((1 + c)/(1 - c))."""
    assert independent_equivalent(0.0) == (1.0, 0.0)
    spread, margin = independent_equivalent(0.6)
    assert spread == pytest.approx(2.0)
    assert margin > 0.0


@pytest.mark.slow
@pytest.mark.parametrize("correlation", [0.1, 0.43, 0.7])
def test_the_overshoot_of_correlated_sums(correlation: float):
    """Simulated first passages of a driftless sum overshoot by what the equivalent rule's margin says."""
    rng = np.random.default_rng(3)
    spread, margin = independent_equivalent(correlation)
    # The sum plus c/(1 - c) times the row is a random walk; so is what must be added to the level.
    level, runs = 5 * spread, 40_000
    x, total = rng.standard_normal(runs), np.zeros(runs)
    passed = []
    for _ in range(4000):
        x = correlation * x + math.sqrt(1 - correlation**2) * rng.standard_normal(len(x))
        total = total + x
        over = total > level
        passed.append(total[over] - level + correlation / (1 - correlation) * x[over])
        total, x = total[~over], x[~over]
    excess = np.concatenate(passed).mean()
    assert 2 * (excess - 0.5826 * spread) == pytest.approx(margin, abs=0.03 * 2 * excess)


# EWMA


@pytest.mark.parametrize(
    ("weight", "width", "printed"),
    [
        (0.5, 3.071, [500, 255, 88.8, 35.9, 17.5, 6.53, 3.63, 2.50, 1.93, 1.58, 1.34, 1.07]),
        (0.03, 2.437, [500, 76.7, 29.3, 17.6, 12.6, 8.07, 5.99, 4.80, 4.03, 3.49, 3.11, 2.55]),
    ],
)
def test_lucas_and_saccucci(weight: float, width: float, printed: list[float]):
    """Shifts from 0 to 5 deviations (Lucas & Saccucci 1990, Table 3, as transcribed)."""
    shifts = [0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5]
    assert [ewma_run_length(s, weight, width) for s in shifts] == pytest.approx(printed, rel=4e-3)


def test_crowder_s_misprint():
    """At weight .5, width 2, shift 1.25 it is 3.59; Crowder 1987 prints 3.95, digits exchanged."""
    assert ewma_run_length(1.25, 0.5, 2) == pytest.approx(3.59, abs=5e-3)


@given(shift=st.floats(-4, 4), width=st.floats(0.5, 4))
def test_a_weight_of_one_remembers_nothing(shift: float, width: float):
    """Then each row is judged alone and the run length is one over the chance of a signal."""
    chance = ndtr(-width - shift) + ndtr(-width + shift)
    assert ewma_run_length(shift, 1.0, width) == pytest.approx(1 / chance, rel=1e-6)


@pytest.mark.parametrize(("weight", "width"), [(0, 3), (1.5, 3), (0.2, 0), (0.2, math.inf)])
def test_impossible_averages_are_refused(weight: float, width: float):
    """The error names the argument and its value."""
    with pytest.raises(ValueError, match=r"(weight|width)=\S+ must"):
        ewma_run_length(0, weight, width)


# Approximations and limits


def test_siegmund():
    """At k = .5, h = 5: 938.2, two-sided 469.1; 10.336 at one deviation (Siegmund, as transcribed)."""
    assert siegmund_run_length(0, 0.5, 5) == pytest.approx(938.2, abs=0.05)
    assert siegmund_run_length(0, 0.5, 5, two_sided=True) == pytest.approx(469.1, abs=0.05)
    assert siegmund_run_length(1, 0.5, 5) == pytest.approx(10.336, abs=5e-4)


def test_siegmund_without_a_drift():
    """Where shift and reference are equal the formula is b², and it comes there without a jump."""
    assert siegmund_run_length(0.5, 0.5, 5) == pytest.approx(6.166**2)
    around = siegmund_run_length(0.5 + np.array([-1e-4, -8e-5, -1e-9, 1e-9, 8e-5, 1e-4]), 0.5, 5)
    assert np.all(np.diff(around) < 0)
    assert around == pytest.approx(6.166**2, rel=1e-3)


@given(drift=st.floats(-2, 3), h=st.floats(2, 6))
def test_siegmund_is_the_formula_as_printed(drift: float, h: float):
    """(exp(-2 D b) + 2 D b - 1) / (2 D²), away from D = 0 where it cannot be evaluated so."""
    d, b = drift + math.copysign(0.1, drift), h + 1.166
    expected = (math.exp(-2 * d * b) + 2 * d * b - 1) / (2 * d * d)
    assert siegmund_run_length(d + 0.5, 0.5, h) == pytest.approx(expected, rel=1e-9)


def test_least_delay():
    """10.321 rows at one deviation and 931 rows between false alarms; exactly it is 10.376.

    The Brownian form of the least delay (Moustakides 1986, Ann. Statist. 14:1379; the form from memory).
    """
    assert least_delay(1, 930.887) == pytest.approx(10.321, abs=5e-4)
    assert cusum_run_length(1, 0.5, 5) == pytest.approx(10.376, abs=5e-4)


def test_the_asymptotic_delay_is_no_bound():
    """log(run length)/I, 13.67 here, is more than the rule needs: it holds for run lengths without end."""
    asymptotic = math.log(cusum_run_length(0, 0.5, 5)) / 0.5
    assert asymptotic == pytest.approx(13.67, abs=5e-3)
    assert cusum_run_length(1, 0.5, 5) < asymptotic


@settings(max_examples=25, deadline=None)
@given(shift=st.floats(0.3, 1.5), k=st.floats(0.1, 1.0), h=st.floats(2, 6))
def test_no_rule_beats_the_least_delay(shift: float, k: float, h: float):
    """No CUSUM, matched to the shift or not, is faster than the limit for its own run length."""
    if (run_length := cusum_run_length(0, k, h)) < 1e9:
        # Brownian motion is watched without a pause, rows are not: half a row is between the two.
        assert cusum_run_length(shift, k, h) > least_delay(shift, run_length) - 0.5


@pytest.mark.parametrize(("shift", "run_length"), [(0, 100), (math.nan, 100), (1, 0), (1, math.inf)])
def test_no_change_has_no_delay(shift: float, run_length: float):
    """The error names the argument and its value."""
    with pytest.raises(ValueError, match=r"(shift|run_length)=\S+ must"):
        least_delay(shift, run_length)


@given(st.floats(1e-3, 1e6))
def test_increasing_root(target: float):
    """The square root, found as the root of the square."""
    assert increasing_root(lambda x: x * x, target) == pytest.approx(math.sqrt(target), rel=1e-9)


def test_increasing_root_below_the_start():
    """A function that is above the target from the start has its root at 0."""
    assert increasing_root(lambda x: x + 2.0, 1.0) == 0.0
