"""Every bit, speed and sample rate that a shop may have."""

import numpy as np
import pytest
from simulated import EXACT, peak_near

from analysis.cutting import Bit, tooth_pass_frequency
from recordings_synthetic import Slip, Straight, steady

BRIEF = {"seconds": 4.5, "cut_from": 3.2, "spindle_from": 0.1}


@pytest.mark.parametrize("flutes", [1, 2, 3, 4])
@pytest.mark.parametrize("speed", [8000.0, 18000.0, 30000.0])
def test_tooth_pass_is_where_it_belongs(flutes, speed):
    """With 1 to 4 flutes at 8 000 to 30 000 rpm a side cut's line stands at z n / 60 (common practice)."""
    feed = 0.08 * flutes * speed
    cut = Straight(feed=feed, depth=5.0, width=1.5, **BRIEF)
    made = steady(Bit("any", 6.0, flutes, speed), seed=4, rate=16000, cut=cut, machine=EXACT)
    turning = made.truth.spindle[0].speed
    assert turning == pytest.approx(speed, rel=0.005)
    wanted = tooth_pass_frequency(turning, flutes)
    frequency, _, above = peak_near(made.samples[round(3.4 * 16000) :], wanted, 8.0)
    assert frequency == pytest.approx(wanted, abs=2.0)  # the spectrum's step
    assert above > 5.0


@pytest.mark.parametrize("rate", [16000, 22050, 32000, 44100, 48000, 96000])
def test_the_sample_rate_changes_little(rate):
    """From 16 to 96 kHz: as long as asked, finite, and below 4 kHz coloured as at 48 kHz, within 1.5 dB."""
    made, other = (
        steady(Bit("any", 6.0, 2, 18000.0), seed=4, rate=r, cut=Straight(**BRIEF), machine=EXACT)
        for r in (rate, 48000)
    )
    assert len(made.samples) / rate == pytest.approx(4.5, abs=0.002)
    assert np.isfinite(made.samples).all()
    assert made.truth.spindle[0].speed == pytest.approx(other.truth.spindle[0].speed, rel=1e-3)
    assert colour(made.samples, rate) == pytest.approx(colour(other.samples, 48000), abs=1.5)


def colour(samples, rate):
    """Return by how much the cut is louder below 1 kHz than from 1 to 4 kHz, dB."""
    part = samples[round(3.4 * rate) :]
    power = np.abs(np.fft.rfft(part * np.hanning(len(part)))) ** 2
    frequency = np.fft.rfftfreq(len(part), 1.0 / rate)
    low, high = (power[(frequency > a) & (frequency < b)].sum() for a, b in ((100, 1000), (1000, 4000)))
    return 10.0 * np.log10(low / high)


@pytest.mark.parametrize("flutes", [2, 3, 4])
def test_a_slip_is_in_the_sound_whatever_the_flutes(flutes):
    """With several flutes a slip raises the spindle's line and half orders by some dB."""
    bit = Bit("any", 6.0, flutes, 16000.0)
    cut = Straight(seconds=7.0, cut_from=3.0, width=3.0, feed=0.06 * flutes * 16000.0)
    well, wrong = (
        steady(bit, seed=4, rate=16000, cut=cut, fault=slip, machine=EXACT).samples[5 * 16000 :]
        for slip in (None, Slip(at=4.0, severity=0.7))
    )
    turn = 16000.0 / 60.0
    for order, rise in ((1.0, 3.0), (0.5, 4.0)):
        assert peak_near(wrong, order * turn, 4.0)[1] > peak_near(well, order * turn, 4.0)[1] + rise
