"""What a slip does."""

from dataclasses import replace

import numpy as np
import pytest
from setting import STEP, unfolded
from simulated import CUT, FAILS, change, cut_with, late, peak_near, swell, turns_per_second

from recordings_synthetic import Slip
from recordings_synthetic.faults import Spell, tight
from recordings_synthetic.faults.slip import ECCENTRICITY, PULL_OUT, loosen


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


@pytest.mark.parametrize("over", [20.0, 180.0])
def test_a_creeping_slip_is_half_way_at_half_its_time(over):
    """Over a pass or over parts: half aside and half of its way out at half of its time, never back again."""
    count = round(1.5 * over / STEP)
    loose = loosen(Slip.creeping(over, at=0.0), Spell(0, count), count, STEP, seed=1)
    half, rattle = count // 3, slice(-200, 200)
    around = loose.eccentricity[half + rattle.start : half + rattle.stop]
    assert around.mean() == pytest.approx(0.25 * ECCENTRICITY, rel=0.4)
    assert loose.pulled[half] == pytest.approx(0.25 * PULL_OUT, rel=0.01)
    assert (np.diff(loose.pulled) >= 0.0).all()
    assert unfolded(Slip.creeping(over, at=0.0), spell=Spell(0, count), count=count).grown[
        half
    ] == pytest.approx(0.5, abs=0.01)


def test_the_truth_of_a_creeping_slip_knows_its_half():
    """Half of what a creeping slip changes is reached in the middle of its way, or of what is heard of it."""
    whole, part = (cut_with(Slip.creeping(over, at=FAILS)).truth for over in (4.0, 60.0))
    assert whole.half == pytest.approx(FAILS + 2.0, abs=0.01)
    assert part.half == pytest.approx((FAILS + CUT.seconds) / 2.0, abs=0.01)


def test_an_intermittent_slip_grips_again():
    """It is loose for about as long as asked, held for about as long, and what is out stays out."""
    slip = Slip.intermittent(1.0, 3.0, at=0.0)
    loose = loosen(slip, Spell(0, 200_000), 200_000, STEP, seed=4)
    free = loose.eccentricity > 0.0
    spells = np.diff(np.flatnonzero(np.diff(free.astype(int))) * STEP)
    slipping, held = spells[::2], spells[1::2]
    assert len(held) > 20
    assert slipping.mean() == pytest.approx(1.15, abs=0.2)  # with the time it takes to grip
    assert held.mean() == pytest.approx(2.85, abs=0.5)
    assert not loose.rocking[~free].any()
    assert (np.diff(loose.pulled) >= 0.0).all()


def test_a_subtle_slip_hardly_changes_the_level():
    """Its level changes by less than 1.5 dB in each of many cuts, yet half orders rise by more than 8 dB."""
    for seed in range(4):
        louder, half, one_and_a_half = change(Slip.subtle(at=FAILS), 0.5, 1.5, seeds=range(seed, seed + 1))
        assert abs(louder) < 1.5
        assert max(half, one_and_a_half) > 8.0


def test_a_bit_that_was_never_tight_is_loose_from_its_first_cut():
    """Within half a second of the first cut half orders stand out as they do later."""
    loose = cut_with(Slip.from_the_start())
    turn = turns_per_second(loose)
    first = loose.samples[round(3.1 * loose.rate) : round(4.2 * loose.rate)]
    assert loose.truth.onset == pytest.approx(CUT.cut_from, abs=0.002)
    assert loose.truth.half == pytest.approx(CUT.cut_from, abs=0.01)
    assert peak_near(first, 0.5 * turn, 4.0)[2] > 8.0


def test_one_flute_shows_what_differs_from_turn_to_turn_only():
    """A single flute's own line hardly rises, for it cuts what it left itself; half orders do."""
    louder, turn, half = change(Slip.subtle(at=FAILS, severity=0.5), 1.0, 0.5, flutes=1)
    assert abs(louder) < 1.5
    assert turn < 2.0
    assert half > 6.0


def test_without_rocking_there_are_no_half_orders():
    """A bit that only runs out of true differs from tooth to tooth, and no turn from the one before."""
    _, turn, half = change(Slip.subtle(at=FAILS, severity=0.5), 1.0, 0.5)
    _, turn_alone, half_alone = change(replace(Slip.subtle(at=FAILS, severity=0.5), rocking=0.0), 1.0, 0.5)
    assert half > 6.0
    assert abs(half_alone) < 3.0
    assert turn_alone == pytest.approx(turn, abs=3.0)


def test_it_modulates_the_noise_of_three_flutes_too():
    """With three flutes the hiss swells once a turn more than it did before the slip."""
    well, wrong = (cut_with(slip, flutes=3) for slip in (None, Slip(at=FAILS)))
    turn = turns_per_second(well)
    assert swell(late(wrong), turn) > 1.5 * swell(late(well), turn)
