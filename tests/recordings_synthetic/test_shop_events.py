"""Blows, beeps and weather: each has the rhythm, the tones and the colour that its kind states."""

import numpy as np
import pytest
from listened import (
    RATE,
    band,
    beginnings,
    between,
    chance,
    decibels,
    lines,
    loudness,
    rhythm,
    share_of_power,
    size,
    stretch,
    strongest,
)
from scipy.optimize import brentq

from recordings_synthetic.shop.beeper import Beeper
from recordings_synthetic.shop.blows import FREE_BAR, Bar, Door, Hammer, ring
from recordings_synthetic.shop.weather import Rain, Wind


def test_what_rings_dies_away_as_it_should():
    """A single mode is a sine that fades with its time constant: the closed form, to the last digits."""
    now = np.arange(RATE) / RATE
    sound = ring(now, np.array([[440.0, 0.2, 0.7], [20000.0, 0.2, 9.0]]), RATE)
    np.testing.assert_allclose(sound, 0.7 * np.exp(-now / 0.2) * np.sin(2 * np.pi * 440.0 * now), atol=1e-5)


def test_a_hammer_drives_nails_blow_by_blow():
    """The first blow comes at once; within a nail they follow one another by its beat, within 15 %."""
    sound = Hammer(beat=0.45).play(stretch(30.0), chance())
    blows = beginnings(sound, 0.2, 0.15)
    apart = np.diff(blows)
    assert blows[0] < 0.01
    assert len(blows) > 12
    assert np.median(apart) == pytest.approx(0.45, rel=0.1)
    assert apart.min() > 0.8 * 0.45
    assert apart.max() > 2.0


def test_a_nail_rings_higher_with_each_blow():
    """As the nail becomes shorter, its tone rises."""
    sound = Hammer(beat=0.45, nail=1500.0).play(stretch(3.0), chance())
    blows = beginnings(sound, 0.2, 0.15)
    tones = [strongest(between(sound, at + 0.006, at + 0.04), 1300.0, 2400.0) for at in blows[:3]]
    assert tones == pytest.approx([1500.0, 1680.0, 1860.0], rel=0.04)


def test_a_door_thumps():
    """A slam begins with the latch; most of its power lies below 300 Hz; in half a second it is gone."""
    sound = Door(thump=38.0).play(stretch(1.0), chance())
    assert np.abs(sound[: RATE // 50]).max() > 0.2
    assert share_of_power(sound, 20.0, 300.0) > 0.8
    assert strongest(sound, 15.0, 70.0) == pytest.approx(38.0, abs=4.0)
    assert size(sound[RATE // 2 :]) < 0.05 * size(sound[: RATE // 4])


def test_a_free_bars_tones_follow_from_its_bending():
    """They go with the squares of the roots of cos(x) cosh(x) = 1 (Euler and Bernoulli; from memory)."""
    roots = [
        brentq(lambda x: np.cos(x) * np.cosh(x) - 1.0, (n + 0.5) * np.pi - 0.5, (n + 0.5) * np.pi + 0.5)
        for n in range(1, 6)
    ]
    np.testing.assert_allclose(FREE_BAR, (np.array(roots) / roots[0]) ** 2, rtol=1e-4)


def test_a_bar_rings_long_and_high():
    """Its lines lie where a free bar's do; the lowest fades with its time constant."""
    sound = Bar(lowest=500.0, fade=0.5, bounce=0.0).play(stretch(3.0), chance())
    for share in FREE_BAR[:4]:
        assert strongest(sound, 500.0 * share - 60.0, 500.0 * share + 60.0) == pytest.approx(
            500.0 * share, abs=1.0
        )
    low = band(sound, 400.0, 600.0)
    assert size(between(low, 1.4, 1.6)) / size(between(low, 0.4, 0.6)) == pytest.approx(np.exp(-2.0), rel=0.1)


def test_a_bar_bounces_faster_and_faster():
    """Clicks follow at .45 s, then each time after a share of the time before."""
    sound = band(Bar(lowest=300.0, bounce=0.5).play(stretch(3.0), chance()), 10000.0, 15000.0)
    found = beginnings(loudness(sound, 0.002), 0.008, 0.03, rate=500)
    assert found[:4] == pytest.approx([0.0, 0.45, 0.675, 0.7875], abs=0.005)


def test_a_beeper_beeps():
    """Its tone and its pulses are those that it states, half of the time on."""
    sound = Beeper(tone=1200.0, pulses=1.0).play(stretch(6.0), chance())
    assert strongest(sound, 500.0, 15000.0) == pytest.approx(1200.0, abs=1.0)
    assert beginnings(sound, 0.05, 0.2) == pytest.approx(np.arange(6), abs=0.02)
    assert (loudness(sound, 0.01) > 0.05).mean() == pytest.approx(0.5, abs=0.04)


def test_rain_becomes_heavier_and_stays():
    """It rises with its time constant, and is broad: power from below 600 Hz to above 6 kHz."""
    sound = Rain(rise=8.0).play(stretch(60.0), chance())
    start, later = size(between(sound, 1.0, 2.0)), size(between(sound, 45.0, 60.0))
    assert start / later == pytest.approx(1.0 - np.exp(-1.5 / 8.0), rel=0.4)
    for low, high in ((300.0, 900.0), (900.0, 2500.0), (2500.0, 6000.0), (6000.0, 12000.0)):
        assert share_of_power(between(sound, 40.0, 60.0), low, high) > 0.05


def test_rain_has_no_tone():
    """No line stands out: the strongest twentieth of a second's spectrum is spread as noise is."""
    frequency, height = lines(between(Rain().play(stretch(40.0), chance()), 30.0, 40.0))
    inside = height[(frequency > 1000.0) & (frequency < 6000.0)]
    assert inside.max() < 6.0 * np.sqrt(np.mean(inside**2))


def test_wind_rumbles_in_gusts():
    """Most of its power lies below 300 Hz, and its loudness changes by many dB within seconds."""
    sound = Wind().play(stretch(40.0), chance())
    assert share_of_power(sound, 20.0, 300.0) > 0.6
    gusts = loudness(between(sound, 4.0, 40.0), 0.5)
    assert decibels(gusts.max() / gusts.min()) > 6.0


def test_a_gap_whistles_higher_in_a_gust():
    """The whistle follows Strouhal's number: at 10 m/s and 4 mm about 500 Hz, and it rises with the gust."""
    sound = Wind(gap=4.0, speed=10.0).play(stretch(60.0), chance())
    pieces = [between(sound, at, at + 0.5) for at in np.arange(5.0, 55.0, 0.5)]
    loud = np.array([size(piece) for piece in pieces])
    pitch = np.array([strongest(piece, 350.0, 1500.0) for piece in pieces])
    assert 350.0 < np.median(pitch) < 800.0
    assert np.corrcoef(loud, pitch)[0, 1] > 0.5
    assert rhythm(sound, 0.05, 1.0, 0.5) < 1.0
