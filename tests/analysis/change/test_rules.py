"""CUSUM and EWMA against the handbook's worked examples, a brute-force oracle, and their promises."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analysis.change import Cusum, Sums, cusum, ewma, ewma_limits

ROWS = arrays(np.float64, st.tuples(st.integers(1, 40), st.integers(1, 4)), elements=st.floats(-5, 5))

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3, as transcribed: group means, target 325.
GROUPS = """324.925 324.675 324.725 324.350 325.350 325.225 324.125 324.525 325.225 324.600 324.625 325.150
328.325 327.250 327.825 328.500 326.675 327.775 326.875 328.350"""
S_HI = "0 0 0 0 .03 0 0 0 0 0 0 0 3.01 4.94 7.45 10.63 11.99 14.44 16.00 19.04"
S_LO = "0 .01 0 .33 0 0 .56 .72 .17 .25 .31 0 0 0 0 0 0 0 0 0"

# The same, 6.3.2.4, as transcribed.
SAMPLE = "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
AVERAGES = """50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92
50.73 51.23 51.94 51.99"""

# Flow of the Nile at Aswan 1871-1970, 1e8 m³ a year.
NILE = """1120 1160 963 1210 1160 1160 813 1230 1370 1140 995 935 1110 994 1020 960 1180 799 958 1140 1100
1210 1150 1250 1260 1220 1030 1100 774 840 874 694 940 833 701 916 692 1020 1050 969 831 726 456
824 702 1120 1100 832 764 821 768 845 864 862 698 845 744 796 1040 759 781 865 845 944 984 897 822
1010 771 676 649 846 812 742 801 1040 860 874 848 890 744 749 838 1050 918 986 797 923 975 815
1020 906 901 1170 912 746 919 718 714 740"""


def numbers(text: str) -> np.ndarray:
    """The numbers in a text."""
    return np.array(text.split(), dtype=np.float64)


def until_signal(rule: Cusum, x: np.ndarray) -> Sums:
    """Where the rule stands when it signals; it must."""
    sums = rule.start()
    for value in x:
        sums = rule.step(sums, [value])
        if rule.signals(sums)[0]:
            return sums
    pytest.fail("no signal")


# CUSUM


def test_the_handbook_s_cusum():
    """NIST/SEMATECH 6.3.2.3: both sums at each group, and signals at groups 14 to 20 upwards, none down."""
    high, low = cusum(numbers(GROUPS), target=325, reference=0.3175)
    # Two printed values are ties that were rounded the other way.
    np.testing.assert_allclose(high, numbers(S_HI), rtol=0, atol=0.0051)
    np.testing.assert_allclose(low, numbers(S_LO), rtol=0, atol=0.0051)
    assert np.flatnonzero(high > 4.1959).tolist() == list(range(13, 20))
    assert not (low > 4.1959).any()


def test_the_handbook_s_onset():
    """In the same example the sum that signals began to grow at group 13, where the mean shifted."""
    sums = until_signal(Cusum(reference=0.3175, threshold=4.1959), numbers(GROUPS) - 325)
    assert sums.rows == 14
    assert sums.high_since[0] == 12


def test_the_nile():
    """The flow of the Nile fell after 1898 (Cobb 1978, Biometrika 65:243, from memory): found, and dated."""
    flow = numbers(NILE)
    assert len(flow) == 100
    assert flow[:28].mean() == pytest.approx(1097.75)
    assert flow[28:].mean() == pytest.approx(849.97, abs=5e-3)
    before, spread = flow[:20].mean(), flow[:20].std(ddof=1)
    sums = until_signal(Cusum(reference=0.5, threshold=5.0), (flow - before) / spread)
    assert 1899 < 1870 + sums.rows < 1910
    assert abs(1871 + int(sums.low_since[0]) - 1899) <= 1


@given(x=ROWS, reference=st.floats(0, 2))
def test_the_sum_is_the_greatest_of_all_tails(x: np.ndarray, reference: float):
    """By brute force: the sum is the largest of the sums of (x - k) over the last 0, 1, 2, ... rows."""
    high, low = cusum(x, target=0.0, reference=reference)
    for n in range(1, len(x) + 1):
        tails = np.cumsum(x[:n][::-1] - reference, axis=0)
        np.testing.assert_allclose(high[n - 1], np.maximum(0, tails.max(axis=0)), rtol=0, atol=1e-9)
        tails = np.cumsum(-x[:n][::-1] - reference, axis=0)
        np.testing.assert_allclose(low[n - 1], np.maximum(0, tails.max(axis=0)), rtol=0, atol=1e-9)


@given(x=ROWS, reference=st.floats(0, 2), head_start=st.floats(0, 3))
def test_row_by_row_is_the_same_as_all_at_once(x: np.ndarray, reference: float, head_start: float):
    """The chart's last row is where the rule stands, and each channel is what it would be alone."""
    chart = cusum(x, 0.0, reference, head_start)
    rule = Cusum(reference, threshold=3.0, head_start=head_start)
    sums = rule.start(x.shape[1])
    for row in x:
        sums = rule.step(sums, row)
    assert sums.rows == len(x)
    assert sums.high.tolist() == chart.high[-1].tolist()
    assert sums.low.tolist() == chart.low[-1].tolist()
    for channel in range(x.shape[1]):
        alone = cusum(x[:, channel], 0.0, reference, head_start)
        assert alone.high.tolist() == chart.high[:, channel].tolist()
    expected = (chart.high[-1] > 3.0) | (chart.low[-1] > 3.0)
    assert rule.signals(sums).tolist() == expected.tolist()


@given(x=ROWS, reference=st.floats(0, 2))
def test_turned_upside_down_the_sums_change_places(x: np.ndarray, reference: float):
    """What listens upwards to x listens downwards to -x."""
    high, low = cusum(x, 0.0, reference)
    turned = cusum(-x, 0.0, reference)
    assert (turned.low.tolist(), turned.high.tolist()) == (high.tolist(), low.tolist())


@given(x=ROWS, reference=st.floats(0, 2))
def test_since_is_the_row_after_the_last_zero(x: np.ndarray, reference: float):
    """The likeliest onset is the row after the sum was last zero."""
    chart = cusum(x, 0.0, reference)
    rule = Cusum(reference, threshold=3.0)
    sums = rule.start(x.shape[1])
    for row in x:
        sums = rule.step(sums, row)
    for channel in range(x.shape[1]):
        zeros = np.flatnonzero(chart.high[:, channel] == 0.0)
        assert sums.high_since[channel] == (zeros[-1] + 1 if len(zeros) else 0)
        zeros = np.flatnonzero(chart.low[:, channel] == 0.0)
        assert sums.low_since[channel] == (zeros[-1] + 1 if len(zeros) else 0)


def test_a_head_start_shortens_the_way():
    """Started half way, the sum of a shift that was there from the first row passes the threshold sooner."""
    x = np.full(20, 1.0)
    late, early = (int(np.argmax(cusum(x, 0.0, 0.5, ahead).high > 4.0)) for ahead in (0.0, 2.0))
    assert (late, early) == (8, 4)


def test_a_step_leaves_what_it_was_given():
    """Sums and rows may be kept: a step changes neither, so that a watcher can look back."""
    rule = Cusum(reference=0.5, threshold=4.0, head_start=1.0)
    first = rule.start(channels=2)
    row = np.array([3.0, -3.0])
    row.setflags(write=False)
    rule.step(first, row)
    assert (first.rows, first.high.tolist(), first.low.tolist()) == (0, [1, 1], [1, 1])


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_row_that_is_not_finite_is_refused(bad: float):
    """One NaN would make a sum NaN for good, and the rule deaf without a word."""
    rule = Cusum(reference=0.5, threshold=4.0)
    sums = rule.step(rule.start(channels=3), [0.0, 0.0, 0.0])
    with pytest.raises(ValueError, match="row 1 is not finite in channel 2"):
        rule.step(sums, [0.0, 0.0, bad])


def test_a_row_of_another_width_is_refused():
    """A row that lacks a channel is not spread over the others."""
    rule = Cusum(reference=0.5, threshold=4.0)
    with pytest.raises(ValueError, match=r"shape \(1,\) must have the shape \(3,\)"):
        rule.step(rule.start(channels=3), [1.0])


# EWMA


def test_the_handbook_s_ewma():
    """NIST/SEMATECH 6.3.2.4: the average at each row, its limits, and no alarm."""
    averages = ewma(numbers(SAMPLE), weight=0.3, start=50)
    np.testing.assert_allclose(averages, numbers(AVERAGES), rtol=0, atol=0.0051)
    lower, upper = ewma_limits(target=50, deviation=2.0539, weight=0.3)
    assert lower == pytest.approx(47.4115, abs=1e-4)
    assert upper == pytest.approx(52.5884, abs=1e-4)
    assert np.all((averages > lower) & (averages < upper))


@given(x=ROWS, weight=st.floats(0.01, 1), start=st.floats(-5, 5))
def test_the_average_is_the_weighted_sum(x: np.ndarray, weight: float, start: float):
    """By brute force: each row weighs less by (1 - weight) than the one after it."""
    n = len(x)
    weights = weight * (1 - weight) ** np.arange(n)[::-1]
    expected = weights @ x + (1 - weight) ** n * start
    np.testing.assert_allclose(ewma(x, weight, start)[-1], expected, rtol=0, atol=1e-9)


def test_limits_grow_to_their_final_width():
    """At the first row the average spreads by weight times the deviation; later limits approach the last."""
    assert ewma_limits(0, 1, 0.3, width=1, row=1) == pytest.approx((-0.3, 0.3))
    widths = [ewma_limits(0, 2, 0.2, row=row)[1] for row in (1, 2, 5, 50)]
    assert widths == sorted(widths)
    assert widths[-1] == pytest.approx(ewma_limits(0, 2, 0.2)[1], rel=1e-6)


@pytest.mark.parametrize("weight", [0.0, -0.1, 1.1, np.nan])
def test_a_weight_that_is_none_is_refused(weight: float):
    """A weight lies above 0 and is at most 1."""
    with pytest.raises(ValueError, match=r"weight=.* must be above 0"):
        ewma([1.0], weight, 0.0)
