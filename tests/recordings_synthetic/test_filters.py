"""Filters: what they pass, and that blocks do not matter."""

import numpy as np
import pytest
from scipy.signal import sosfreqz

from recordings_synthetic.filters import Filter, above, below, bump, gain_at, noise_power, resonance, steep

RATE = 16000


def response(sections, frequency):
    """Return the gain of a filter at one frequency."""
    _, gain = sosfreqz(sections, [2 * np.pi * frequency / RATE])
    return abs(gain[0])


def test_filters_pass_what_they_should():
    """A resonance is 1 at its frequency; half-power edges lie where they were asked for; a bump lifts."""
    assert response(resonance(1000.0, 5.0, RATE, gain=0.7), 1000.0) == pytest.approx(0.7)
    assert response(above(200.0, RATE), 200.0) == pytest.approx(np.sqrt(0.5), rel=1e-6)
    assert response(below(3000.0, RATE), 3000.0) == pytest.approx(np.sqrt(0.5), rel=1e-6)
    assert response(bump(2000.0, 1.0, 6.0, RATE), 2000.0) == pytest.approx(10 ** (6 / 20), rel=1e-6)


def test_a_filter_does_not_know_its_blocks():
    """The same sound in blocks of any size is filtered alike."""
    sound = np.random.default_rng(1).standard_normal(1000)
    whole = Filter(resonance(500.0, 3.0, RATE))(sound)
    pieces = Filter(resonance(500.0, 3.0, RATE))
    np.testing.assert_array_equal(
        whole, np.concatenate([pieces(sound[:77]), pieces(sound[77:500]), pieces(sound[500:])])
    )


def test_the_gain_is_scipys():
    """``gain_at`` agrees with scipy's frequency response, for sections in series."""
    sections = np.concatenate([above(100.0, RATE), bump(900.0, 2.0, -7.0, RATE), below(5000.0, RATE)])
    frequency, expected = sosfreqz(sections, 200, fs=RATE)
    np.testing.assert_allclose(gain_at(sections, frequency, RATE), np.abs(expected), atol=1e-12)


def test_the_power_of_noise_behind_a_resonance():
    """White noise through a resonance keeps pi/2 x its width of the band (closed form, for narrow ones)."""
    sections = resonance(2000.0, 20.0, 48000)
    assert noise_power(sections) == pytest.approx(np.pi / 2.0 * 100.0 / 24000.0, rel=0.03)
    heard = Filter(sections)(np.random.default_rng(1).standard_normal(400000))
    assert np.mean(heard**2) == pytest.approx(noise_power(sections), rel=0.05)


def test_a_steep_edge_falls_off_so_many_times_faster():
    """Three times the section is three times the decibels: 9.03 dB at the edge, and so at any frequency."""
    frequency = np.array([500.0, 1000.0, 4000.0])
    once = gain_at(below(500.0, RATE), frequency, RATE)
    thrice = gain_at(steep(below(500.0, RATE), 3), frequency, RATE)
    np.testing.assert_allclose(thrice, once**3, rtol=1e-9)
    assert 20.0 * np.log10(thrice[0]) == pytest.approx(-9.03, abs=0.01)
