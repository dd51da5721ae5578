"""Robust location and scale against the handbook's example and their breakdown point."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analysis.robust import MAD_TO_DEVIATION, modified_z, robust_scale

HANDBOOK = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
FINITE = arrays(np.float64, st.integers(3, 30), elements=st.floats(-1e3, 1e3))


def test_the_handbook_s_outlier():
    """NIST/SEMATECH 1.3.5.17: the plain z of 245.57 is 2.4687, masked by itself; the modified is 29.96."""
    values = np.array(HANDBOOK)
    plain = (values - values.mean()) / values.std(ddof=1)
    assert np.abs(plain).max() == pytest.approx(2.4687, abs=1e-4)
    # The handbook's factor .6745 is 1 / 1.4826 to four digits.
    assert modified_z(values).max() == pytest.approx(29.96, abs=5e-3)
    assert (np.abs(modified_z(values)) > 3.5).tolist() == [False] * 7 + [True]


def test_the_factor_makes_it_a_standard_deviation():
    """1 / Phi^-1(.75), by scipy's inverse normal; and a large normal sample reads its deviation."""
    from scipy.special import ndtri  # noqa: PLC0415  # an oracle for this test alone

    assert pytest.approx(1 / ndtri(0.75), rel=1e-14) == MAD_TO_DEVIATION
    sample = np.random.default_rng(0).normal(5.0, 3.0, 100_000)
    assert robust_scale(sample) == pytest.approx(3.0, rel=0.02)


@given(x=FINITE, shift=st.floats(-100, 100), factor=st.floats(-10, 10))
def test_scale_follows_the_unit_and_not_the_origin(x: np.ndarray, shift: float, factor: float):
    """Shifted values have the same scale, scaled ones a scaled scale, whatever the sign."""
    assert robust_scale(factor * x + shift) == pytest.approx(
        abs(factor) * robust_scale(x), rel=1e-9, abs=1e-9
    )


@given(x=arrays(np.float64, 21, elements=st.floats(-1, 1)), wild=st.floats(-1e9, 1e9))
def test_ten_wild_values_in_twenty_one_do_no_harm(x: np.ndarray, wild: float):
    """With fewer than half the values replaced the scale stays within what the others span."""
    x[:10] = wild
    assert robust_scale(x) <= MAD_TO_DEVIATION * 2.0


@given(x=arrays(np.float64, (9, 3), elements=st.floats(-1e3, 1e3)))
def test_channels_are_measured_one_by_one(x: np.ndarray):
    """Each column is what it would be alone, along either axis; the input is left as it was."""
    before = x.copy()
    x.setflags(write=False)
    alone = [robust_scale(x[:, c]) for c in range(3)]
    assert robust_scale(x).tolist() == alone
    assert robust_scale(x.T, axis=1).tolist() == alone
    assert modified_z(x)[:, 1].tolist() == modified_z(x[:, 1]).tolist()
    assert np.array_equal(x, before)


def test_no_spread():
    """Where more than half the values are equal, whatever differs is infinitely far."""
    assert modified_z([1.0, 1.0, 1.0, 2.0, 0.0]).tolist() == [0, 0, 0, np.inf, -np.inf]
    assert modified_z([0.0, 1e-310, 2e-310, 1.0, -1.0])[3:].tolist() == [np.inf, -np.inf]


@pytest.mark.parametrize("x", [[], [1.0, np.nan], [np.inf, 1.0], 3.0])
def test_what_has_no_spread_to_measure_is_refused(x: object):
    """No values, or some that are not finite, are refused with the reason."""
    with pytest.raises(ValueError, match=r"no median|not finite"):
        robust_scale(x)  # type: ignore[arg-type]
