"""Scores become alarms, and thresholds come from a budget."""

import numpy as np
import pytest
from hearing.budget import false_alarms, threshold_for
from hearing.episodes import Series
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analysis.watcher import USUAL

STEP = 0.5  # s; ten good rows end an alarm
SCORES = arrays(np.float64, st.integers(1, 80), elements=st.integers(0, 6) | st.just(float("nan")))


def by_hand(values, threshold):
    """Return the alarms' row numbers, counted row by row."""
    found, good, alarmed = [], 0, False
    for row, value in enumerate(values):
        if np.isnan(value):
            continue
        good = 0 if value > threshold else good + 1
        if alarmed and good * STEP >= USUAL.forget:
            alarmed = False
        if value > threshold and not alarmed:
            found.append(row)
            alarmed = True
    return found


@given(SCORES, st.floats(-1, 7))
def test_alarms(values, threshold):
    """One event is one alarm: the next needs so many seconds of good cutting, rows without a score apart."""
    series = Series(2.0, STEP, values)
    assert series.alarms(threshold).tolist() == [2.0 + STEP * row for row in by_hand(values, threshold)]


@given(SCORES)
def test_kept(values):
    """What is written into a line of JSON comes back."""
    back = Series.unpack(Series(2.0, STEP, values).pack())
    assert (back.first, back.step) == (2.0, STEP)
    np.testing.assert_array_equal(back.values, values)


@pytest.mark.parametrize("value", [1e9, np.inf])
def test_a_score_beyond_all_measure_is_kept_high(value):
    """A score that is too large to be kept still is above any threshold in use."""
    back = Series.unpack(Series(0.0, STEP, np.array([value])).pack())
    assert back.alarms(5e4).tolist() == [0.0]


@given(
    st.lists(SCORES.filter(lambda values: not np.isnan(values).all()), min_size=1, max_size=4),
    st.integers(0, 3),
)
def test_budget(scores, allowed):
    """At the threshold and above there are no more alarms than allowed; none allowed is the highest score."""
    runs = [Series(0.0, STEP, values) for values in scores]
    threshold = threshold_for(runs, allowed)
    for higher in (threshold, threshold + 0.5, threshold + 2.0):
        assert false_alarms(runs, higher) <= allowed
    if allowed == 0:
        assert threshold == max(np.nanmax(values) for values in scores)


def test_alarms_that_become_one_lower_down_count_as_they_are_above():
    """Of four alarms just below 3 two become one at 0, and three are allowed: it stays at 3."""
    apart = np.ones(22)
    apart[0] = apart[-1] = 3.0
    runs = [Series(0.0, STEP, values) for values in (np.zeros(1), np.full(1, 3.0), np.full(1, 3.0), apart)]
    assert false_alarms(runs, 2.0) == 4
    assert false_alarms(runs, 0.0) == 3
    assert threshold_for(runs, 3) == 3.0


def test_a_budget_buys_a_lower_threshold():
    """With one alarm allowed the threshold goes down to where a second would come."""
    one, two = np.zeros(40), np.zeros(40)
    one[10], two[30] = 5.0, 3.0
    assert threshold_for([Series(0.0, STEP, one), Series(0.0, STEP, two)], 1) == 3.0
