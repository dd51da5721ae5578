"""An axis that stops."""

import numpy as np
import pytest
from setting import setting
from simulated import FAILS, change, cut_with, late, peak_near

from recordings_synthetic import StalledAxis

STEPS = 40.0 * 20.0  # a second, of the axis that moves in the straight cut


def test_without_feed_the_chips_are_gone():
    """The level falls and tooth-pass falls by far more than 10 dB."""
    louder, tooth = change(StalledAxis(at=FAILS, axis="all"), 2.0)
    assert louder < -6.0
    assert tooth < -10.0


def test_what_still_rubs_is_heard_once_a_turn():
    """The tooth that stands out furthest rubs in place: of the lines the spindle's is left."""
    _, turn, tooth = change(StalledAxis(at=FAILS, axis="all"), 1.0, 2.0)
    assert turn > tooth + 10.0


def test_a_stalled_motor_groans_at_a_quarter_of_its_steps():
    """The axis' motor falls back by four full steps at a time (two windings; common practice)."""
    groaning, silent = (cut_with(StalledAxis(at=FAILS, axis=axis)) for axis in ("x", "all"))
    for multiple in (1, 2):
        assert peak_near(late(groaning), multiple * STEPS / 4.0, 4.0)[2] > 10.0
        assert peak_near(late(silent), multiple * STEPS / 4.0, 4.0)[2] < 8.0


def test_its_whine_is_gone():
    """The whine at its rate of steps stops with the axis."""
    well, stalled = cut_with(), cut_with(StalledAxis(at=FAILS, axis="all"))
    assert peak_near(late(well), STEPS, 4.0)[1] > peak_near(late(stalled), STEPS, 4.0)[1] + 6.0


@pytest.mark.parametrize(("axis", "stands"), [(None, 0), ("x", 0), ("y", 1)])
def test_the_other_axes_go_on(axis, stands):
    """Only the stalled axis stands; without a choice it is the one that moves faster."""
    given = setting(towards=(30.0, 20.0, 0.0))
    trouble = StalledAxis(at=0.0, axis=axis).unfold(given)
    real = given.position + trouble.offset
    other = 1 - stands
    np.testing.assert_allclose(real[:1002], given.position[:1002])
    np.testing.assert_allclose(real[1001:, stands], given.position[1001, stands])
    np.testing.assert_allclose(real[:, other], given.position[:, other])
    assert (trouble.whine[2000] == np.where(np.arange(3) == stands, 0.0, 1.0)).all()
