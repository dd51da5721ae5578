"""What breaks off."""

import numpy as np
import pytest
from setting import unfolded
from simulated import FAILS, RATE, change, cut_with, late, level, peak_near, swell, turns_per_second

from recordings_synthetic import BrokenBit, ChippedFlute


def test_a_broken_bit_cuts_no_more():
    """The level falls, tooth-pass is gone and the spindle still turns."""
    louder, tooth = change(BrokenBit(at=FAILS), 2.0)
    broken = cut_with(BrokenBit(at=FAILS))
    assert louder < -6.0
    assert tooth < -15.0
    assert peak_near(late(broken), turns_per_second(broken), 3.0)[2] > 10.0


def test_what_follows_the_break_is_the_idle_spindle():
    """Half a second after it broke the machine sounds as loud as it did before the cut, within 1 dB."""
    broken = cut_with(BrokenBit(at=FAILS))
    before = broken.samples[round(2.4 * RATE) : round(2.95 * RATE)]
    assert level(late(broken, 0.5)) == pytest.approx(level(before), abs=1.0)


def test_it_breaks_with_a_crack():
    """In the 30 ms after the onset a peak stands out above all of the healthy cut's."""
    well, broken = cut_with(), cut_with(BrokenBit(at=FAILS))
    crack = slice(round(FAILS * RATE), round((FAILS + 0.03) * RATE))
    assert np.abs(broken.samples[crack]).max() > 1.2 * np.abs(well.samples[crack]).max()


def test_a_bit_that_loses_its_tip_cuts_less():
    """A bit that is shorter by half the depth of the cut goes on, quieter, at its tooth-pass frequency."""
    tipped = cut_with(BrokenBit(at=FAILS, length=2.0))
    louder, _ = change(BrokenBit(at=FAILS, length=2.0), 2.0)
    assert -7.0 < louder < -2.0
    assert peak_near(late(tipped), 2.0 * turns_per_second(tipped), 3.0)[2] > 10.0


def test_a_chipped_flute_leaves_its_work_to_the_other():
    """Once a turn the other tooth cuts twice as much: the spindle's line rises, half orders do not."""
    louder, turn, half = change(ChippedFlute(at=FAILS), 1.0, 0.5)
    well, chipped = cut_with(), cut_with(ChippedFlute(at=FAILS))
    assert turn > louder + 3.0
    assert half < 3.0
    frequency = turns_per_second(well)
    assert swell(late(chipped), frequency) > 3.0 * swell(late(well), frequency)


def test_a_single_flute_that_is_chipped_cuts_less_deep():
    """With one flute nobody cuts what it leaves: quieter, and no swell that was not there before."""
    louder, _ = change(ChippedFlute(at=FAILS, share=0.7), 1.0, flutes=1)
    assert louder < -3.0
    trouble = unfolded(ChippedFlute(at=FAILS, share=0.7))
    assert trouble.chipped.max() == pytest.approx(0.7)
