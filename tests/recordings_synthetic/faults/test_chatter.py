"""Vibration that feeds itself."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from setting import STEP, unfolded
from simulated import FAILS, change, cut_with, late, spectrum, turns_per_second

from recordings_synthetic import Chatter
from recordings_synthetic.faults import Spell
from recordings_synthetic.faults.chatter import DAMPING, FAINT, GROWTH, frequency, waves


@given(tooth_pass=st.floats(100.0, 2000.0), mode=st.floats(400.0, 3000.0), damping=st.floats(0.01, 0.1))
def test_chatter_lies_off_the_tooth_pass_multiples(tooth_pass, mode, damping):
    """
    There are N + e/2 pi waves from tooth to tooth, with a fraction between a half and 1.

    Schmitz & Smith, Machining Dynamics, eq. 6.1.2.
    """
    found = frequency(tooth_pass, mode, damping)
    fraction = waves(found / mode, damping)
    whole = found / tooth_pass - fraction
    assert 0.5 < fraction < 1.0
    assert whole == pytest.approx(round(whole), abs=1e-6)
    assert found > mode


def test_the_fraction_is_that_of_the_response():
    """Where the response's real part is the most negative, at sqrt(1 + 2 damping), e is near 3 pi / 2."""
    # Closed form: Re / Im = 1 / ratio there.
    ratio = math.sqrt(1.0 + 2.0 * DAMPING)
    assert waves(ratio, DAMPING) == pytest.approx(1.0 - math.atan(1.0 / ratio) / math.pi)
    assert waves(math.sqrt(1.002), 0.001) == pytest.approx(0.75, abs=0.001)


@pytest.mark.parametrize("tooth_pass", [150.0, 300.0, 600.0, 1100.0])
def test_the_least_limiting_depth_is_taken(tooth_pass):
    """No other whole number of waves has a response whose real part is more negative (brute force)."""
    mode, ratios = 1200.0, np.linspace(1.0001, 6.0, 500_001)
    away, lost = 1.0 - ratios**2, 2.0 * DAMPING * ratios
    real, fraction = away / (away**2 + lost**2), 1.0 - np.arctan(away / -lost) / np.pi
    missing = ratios * mode / tooth_pass - fraction
    crossings = np.flatnonzero(np.diff(np.floor(missing)) > 0)
    best = ratios[crossings[np.argmin(real[crossings])]]
    assert frequency(tooth_pass, mode) == pytest.approx(best * mode, rel=1e-4)


def test_it_sounds_at_its_frequency_and_tooth_pass_multiples_from_it():
    """
    New lines stand at the chatter's frequency plus whole multiples of tooth-pass: those that rise most.

    Dombovari, Zatarain & Insperger 2010: a base frequency plus integer multiples of tooth-pass.
    """
    well, wrong = cut_with(), cut_with(Chatter(at=FAILS, mode=1000.0))
    tooth = 2.0 * turns_per_second(well)
    tone = frequency(tooth, 1000.0)
    frequencies, before = spectrum(late(well))
    _, after = spectrum(late(wrong))
    risen = 10.0 * np.log10(after / before)
    for multiple in (-1, 0, 1):
        near = np.abs(frequencies - tone - multiple * tooth) < 0.01 * tone
        assert risen[near].max() > 8.0
    highest = frequencies[np.argsort(risen)[-10:]]
    waves_apart = (highest - tone) / tooth
    assert np.abs(waves_apart - np.round(waves_apart)).max() < 0.03


def test_the_spindles_own_lines_stay():
    """Chatter makes the cut louder and leaves the spindle's line and half orders nearly as they were."""
    louder, turn, tooth = change(Chatter(at=FAILS), 1.0, 2.0)
    assert louder > 3.0
    assert abs(turn) < 2.0
    assert abs(tooth) < 4.0


def test_it_grows_within_tenths_of_a_second():
    """At twice the limiting depth it grows by a factor e in its time, up to its size."""
    swing = unfolded(Chatter(at=0.0, limit=0.5, size=2.0), spell=Spell(0, 9000)).swing
    ticks = round(GROWTH / STEP)
    assert swing.size[1 + ticks] / swing.size[1] == pytest.approx(math.e, rel=0.01)
    full = np.flatnonzero(swing.size >= 1.99)[0] * STEP
    assert full == pytest.approx(GROWTH * math.log(2.0 / FAINT), abs=0.005)
    assert full < 0.3


def test_it_comes_with_depth_and_goes_without():
    """Where the cut is shallower than the limit it dies away, and comes back where it is deep."""
    depth = np.where(np.arange(9000) // 1500 % 2 == 0, 4.0, 1.0)
    size = unfolded(Chatter(at=0.0), spell=Spell(0, 9000), depth=depth).swing.size
    for first in (0, 3000, 6000):
        assert size[first + 1400] == pytest.approx(3.0)
        assert size[first + 2900] == pytest.approx(FAINT)
