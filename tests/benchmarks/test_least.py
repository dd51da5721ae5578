"""The yardstick of delays is right: the best rule measured by it is the best rule."""

import math

import numpy as np
import pytest
from hearing.least import Change, least_delay, measure, run_lengths

from analysis.change import cusum_run_length, threshold_for


def matched(change, limit):
    """Return the rule that knows the change, for independent rows: a CUSUM of the channels added up."""
    weights = np.array(change.shift) / change.size

    def fresh():
        total = 0.0

        def step(row):
            nonlocal total
            total = max(0.0, total + float(weights @ row) - change.size / 2.0)
            return total > limit

        return step

    return fresh


def matched_autoregression(change, limit):
    """Return the rule that knows the change of an autoregression of one channel, by its likelihood ratio."""
    rho, shift = change.correlation, change.shift[0]
    spread = math.sqrt(1.0 - rho * rho)
    first, later = shift / spread, shift * (1.0 - rho) / spread

    def fresh():
        total, last = -math.inf, None

        def step(row):
            nonlocal total, last
            value = float(row[0])
            # The row before the first is unknown: what it may have been is what it is on average, 0.
            new = (value - rho * (last or 0.0)) / spread
            last = value
            total = max(total + later * new - later**2 / 2.0, first * new - first**2 / 2.0)
            return total >= limit

        return step

    return fresh


@pytest.mark.parametrize("shift", [(1.0,), (0.6, 0.8)])
def test_the_matched_rule_has_a_ratio_of_one(shift):
    """The CUSUM that knows the change needs the least delay, at its own exact run length."""
    change = Change("any", shift)
    limit = threshold_for(300.0, change.size / 2.0)
    (found,) = measure(matched(change, limit), [change], alarms=300, seed=4)
    assert found.run_length == pytest.approx(300.0, rel=0.15)
    assert found.ratio == pytest.approx(1.0, abs=4.0 * found.error / found.least + 0.04)


def test_published_delay():
    """At one deviation and 930.887 rows between alarms the least is 10.376 rows (Lucas & Crosier's chart)."""
    assert least_delay(Change("one", (1.0,)), 930.887) == pytest.approx(10.376, abs=0.01)


def test_another_rule_needs_longer():
    """A CUSUM made for a change four times as small needs a quarter longer than the least, or more."""
    change = Change("one", (2.0,))
    limit = threshold_for(300.0, 0.25)
    slow = matched(Change("small", (0.5,)), limit)
    (found,) = measure(slow, [change], alarms=300, seed=5)
    assert found.ratio == pytest.approx(
        cusum_run_length(2.0, 0.25, limit) / found.least, abs=4.0 * found.error / found.least
    )
    assert found.ratio > 1.25


def test_autoregression_without_correlation_is_the_independent_case():
    """The simulated rule for correlated rows meets the exact one where the correlation vanishes."""
    exact = least_delay(Change("one", (1.0,)), 500.0)
    assert least_delay(Change("one", (1.0,), 1e-9), 500.0) == pytest.approx(exact, rel=0.03)


def test_the_matched_rule_for_correlated_rows():
    """The likelihood-ratio rule, run row by row on such rows, needs what is called least."""
    change = Change("two", (2.0,), 0.5)
    still = Change("none", (0.0,), 0.5)
    rule = matched_autoregression(change, 3.5)
    length = float(np.mean(run_lengths(rule, still, 500, 6)))
    delays = run_lengths(rule, change, 1500, 7)
    assert np.mean(delays) == pytest.approx(least_delay(change, length), rel=0.06)


def test_correlation_makes_changes_harder():
    """The same change is found later in correlated rows, by the best rule as by any."""
    least = [least_delay(Change("one", (1.0,), rho), 500.0) for rho in (0.0, 0.3, 0.6)]
    assert least == sorted(least)


def test_rows_are_what_they_are_said_to_be():
    """Made-up rows have the mean, the deviation and the correlation that the change names."""
    from hearing.least import _rows  # noqa: PLC0415 - the part under test

    rows = _rows(Change("any", (0.0, 2.0), 0.5), np.random.default_rng(8))
    table = np.stack([next(rows) for _ in range(20000)])
    np.testing.assert_allclose(table.mean(axis=0), (0.0, 2.0), atol=0.06)
    np.testing.assert_allclose(table.std(axis=0), 1.0, atol=0.03)
    for channel in table.T:
        assert np.corrcoef(channel[1:], channel[:-1])[0, 1] == pytest.approx(0.5, abs=0.03)
