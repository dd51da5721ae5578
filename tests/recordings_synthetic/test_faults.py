"""What a slip does."""

import numpy as np
import pytest

from recordings_synthetic.faults import ECCENTRICITY, PULL_OUT, Slip, Spell, loosen, tight

STEP = 0.001


@pytest.mark.parametrize("when", [{}, {"at": 1.0, "at_line": 3}])
def test_a_slip_has_one_beginning(when):
    """A slip without a beginning, or with two, is refused."""
    with pytest.raises(ValueError, match="give one of them"):
        Slip(**when)


def test_all_is_well_before_it_and_with_the_next_bit():
    """Up to the onset and from the bit change on, nothing is loose."""
    loose = loosen(Slip(at=1.0), Spell(1000, 5000), 9000, STEP, seed=1)
    for curve in (loose.eccentricity, loose.rocking, loose.pulled):
        assert not curve[:1001].any()
        assert curve[1001:5000].any()
        assert not curve[5000:].any()


def test_it_rises_over_the_time_it_is_given():
    """Eccentricity reaches the slip's size after its rise and rattles about that; the bit is pulled out."""
    slip = Slip(at=1.0, severity=0.5, rise=0.4)
    loose = loosen(slip, Spell(1000, 30000), 30000, STEP, seed=2)
    settled = loose.eccentricity[1400:]
    assert np.exp(np.log(settled).mean()) == pytest.approx(0.5 * ECCENTRICITY, rel=0.1)
    assert 0.03 < np.log(settled).std() < 0.5
    assert loose.eccentricity[1001:1040].max() < 0.2 * 0.5 * ECCENTRICITY
    assert (np.diff(loose.pulled[1000:]) > 0.0).all()
    assert loose.pulled[-1] == pytest.approx(0.5 * PULL_OUT, rel=0.01)


def test_severity_scales_it():
    """Twice the severity is twice as far off and pulled out, with the same chance."""
    mild, hard = (loosen(Slip(at=0.0, severity=s), Spell(0, 2000), 2000, STEP, seed=3) for s in (0.2, 0.4))
    np.testing.assert_allclose(hard.eccentricity, 2.0 * mild.eccentricity)
    np.testing.assert_allclose(hard.pulled, 2.0 * mild.pulled)


def test_a_tight_bit_is_tight():
    """A held bit is off by nothing."""
    held = tight(5)
    for curve in (held.eccentricity, held.rocking, held.pulled):
        assert not curve.any()
