"""What wears."""

import pytest
from setting import STEP, unfolded
from simulated import FAILS, change, cut_with, late, swell, turns_per_second

from recordings_synthetic import DullBit
from recordings_synthetic.faults import Spell

WORN = DullBit(at=FAILS, over=1.0)


def test_a_dull_bit_is_louder_and_has_nothing_new_once_a_turn():
    """Worn edges are 3 dB louder or more; the spindle's line rises no more, the swell not at all."""
    louder, turn = change(WORN, 1.0)
    well, worn = cut_with(), cut_with(WORN)
    assert louder > 3.0
    assert turn < louder + 0.5
    frequency = turns_per_second(well)
    assert swell(late(worn), frequency) < 1.1 * swell(late(well), frequency)


def test_it_wears_slowly():
    """Wear grows evenly over the time it is given, and stays."""
    wear = unfolded(DullBit(at=0.0, wear=4.0, over=2.0), spell=Spell(0, 9000)).wear
    for at, wanted in ((0.5, 1.0), (1.0, 2.0), (2.0, 4.0), (8.0, 4.0)):
        assert wear[round(at / STEP)] == pytest.approx(wanted)


def test_half_of_it_is_reached_at_half_its_time():
    """The truth's half is where half of the wear is reached."""
    truth = cut_with(DullBit(at=FAILS, over=4.0)).truth
    assert truth.half == pytest.approx(FAILS + 2.0, abs=0.01)
