"""A sheet that comes loose."""

import numpy as np
from setting import STEP, unfolded
from simulated import FAILS, RATE, change, cut_with, late, spectrum

from recordings_synthetic import LooseSheet
from recordings_synthetic.faults import Spell


def in_band(samples, low, high):
    """Power between two frequencies, dB."""
    frequencies, power = spectrum(samples)
    return 10.0 * np.log10(power[(frequencies > low) & (frequencies < high)].sum())


def test_it_beats_low():
    """Below 200 Hz the sound becomes louder by far more than the hiss of the cut does."""
    well, loose = late(cut_with()), late(cut_with(LooseSheet(at=FAILS)))
    low, high = (in_band(loose, *band) - in_band(well, *band) for band in ((60.0, 200.0), (2000.0, 6000.0)))
    assert low > 4.0
    assert low > high + 3.0


def test_its_level_jumps():
    """From a fifth of a second to the next the level differs by more than twice what it did."""
    levels = []
    for fault in (None, LooseSheet(at=FAILS)):
        sound = late(cut_with(fault))
        pieces = sound[: len(sound) // (RATE // 5) * (RATE // 5)].reshape(-1, RATE // 5)
        levels.append(10.0 * np.log10(np.mean(pieces.astype(np.float64) ** 2, axis=1)))
    assert np.diff(levels[1]).std() > 2.0 * np.diff(levels[0]).std()


def test_the_spindles_lines_stay_what_they_are_to_each_other():
    """The spindle's line and tooth-pass change alike, within 2 dB."""
    _, turn, tooth = change(LooseSheet(at=FAILS), 1.0, 2.0)
    assert abs(turn - tooth) < 2.0


def test_blows_are_tied_to_nothing():
    """Blows come between 22 and 45 times a second, at distances that differ by more than a tenth."""
    thumps = unfolded(LooseSheet(at=0.0), spell=Spell(0, 9000)).noise.thumps
    begins = np.flatnonzero((thumps[1:] > 0.0) & (thumps[:-1] == 0.0)) * STEP
    apart = np.diff(begins)
    assert 22.0 < 1.0 / apart.mean() < 45.0
    assert apart.std() / apart.mean() > 0.1
