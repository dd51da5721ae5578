"""A spindle that stops."""

import numpy as np
import pytest
from setting import STEP, unfolded
from simulated import FAILS, change, cut_with, late, peak_near, turns_per_second

from recordings_synthetic import StoppedSpindle
from recordings_synthetic.faults import Spell


def test_nothing_turns_any_more_and_the_axes_go_on():
    """Tooth-pass is gone, the whine of the moving axis is there, and the truth knows when it stopped."""
    stopped = cut_with(StoppedSpindle(at=FAILS, within=0.5))
    _, tooth = change(StoppedSpindle(at=FAILS, within=0.5), 2.0)
    assert tooth < -15.0
    assert peak_near(late(stopped), 800.0, 4.0)[2] > 5.0
    assert stopped.truth.spindle[0].off == pytest.approx(FAILS + 0.5, abs=0.01)


def test_the_force_rises_while_it_slows_down():
    """With half the speed left each tooth cuts twice the chip: the sound is louder than the healthy cut's."""
    within = StoppedSpindle(at=FAILS, within=2.0)
    well, slowing = cut_with(), cut_with(within)
    part = slice(round(5.8 * well.rate), round(6.4 * well.rate))
    assert np.std(slowing.samples[part]) > 1.3 * np.std(well.samples[part])


def test_a_spindle_may_lose_a_part_of_its_speed():
    """At seven tenths of the speed tooth-pass is heard at seven tenths of its frequency."""
    slower = cut_with(StoppedSpindle(at=FAILS, to=0.7))
    before = 2.0 * turns_per_second(cut_with())
    frequency, _, above = peak_near(late(slower), 0.7 * before, 6.0)
    assert frequency == pytest.approx(0.7 * before, rel=0.01)
    assert above > 10.0


def test_it_slows_down_evenly():
    """Half of the loss is reached at half the time."""
    speed = unfolded(StoppedSpindle(at=0.0, within=2.0, to=0.2), spell=Spell(0, 9000)).speed
    assert speed[round(1.0 / STEP)] == pytest.approx(0.6)
    assert speed[round(2.0 / STEP) :] == pytest.approx(0.2)


def test_a_bit_that_is_dragged_is_heard_only_when_it_stands():
    """Dragging makes noise from when the spindle stands, and none while it turns."""
    bursts = unfolded(StoppedSpindle(at=0.0, within=1.0), spell=Spell(0, 9000)).noise.bursts
    assert not bursts[:999].any()
    assert (bursts[1001:8999] > 0.0).all()
