"""What software does to the sound: automatic gain and noise suppression."""

from dataclasses import replace

import numpy as np
import pytest
from listened import decibels, size

from recordings_synthetic.room import PUMPING, AutomaticGain, Ear, Microphone, Suppression
from recordings_synthetic.room.gain import SelfSetting
from recordings_synthetic.room.suppression import Suppressor

RATE = 16000


def noise(seconds, level, seed=1):
    """Return white noise of a level in dB."""
    return 10 ** (level / 20) * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def gained(settings, sound):
    """Return the gain that was applied, sample by sample (the sound has no zeros)."""
    return SelfSetting(settings, RATE)(sound) / sound


@pytest.mark.parametrize("level", [-34.0, -22.0, -12.0])
def test_an_automatic_gain_settles_at_its_target(level):
    """Steady sound within its reach comes out at the target, a little below for it heeds the loud sooner."""
    heard = SelfSetting(AutomaticGain(target=-22.0), RATE)(noise(8.0, level))
    assert decibels(size(heard[6 * RATE :])) == pytest.approx(-22.4, abs=0.5)


def test_an_automatic_gain_stays_within_its_bounds():
    """Silence is raised by no more than ``most``, and the loudest lowered by no more than ``least``."""
    settings = AutomaticGain(most=12.0, least=-9.0)
    assert decibels(gained(settings, noise(10.0, -90.0))[-1]) == pytest.approx(12.0)
    assert decibels(gained(settings, noise(2.0, 20.0))[-1]) == pytest.approx(-9.0)


def test_an_automatic_gain_begins_at_one_and_knows_nothing_of_what_comes():
    """Up to a frame after a sound becomes louder the samples are those of a sound that stays."""
    settings = AutomaticGain()
    calm = noise(2.0, -30.0)
    loud = calm.copy()
    loud[RATE:] *= 10.0
    assert gained(settings, calm)[0] == 1.0
    steady, turned = gained(settings, calm), gained(settings, loud)
    np.testing.assert_array_equal(steady[:RATE], turned[:RATE])
    assert turned[RATE + RATE // 10] < 0.8 * steady[RATE + RATE // 10]


def test_attack_and_release_take_their_times():
    """After a step the power it heeds has gone 63 % of the way after one time constant, up and down."""
    settings = AutomaticGain(attack=0.2, release=1.0, most=60.0, least=-60.0)
    level = np.concatenate([np.full(8 * RATE, 0.01), np.full(4 * RATE, 0.1), np.full(8 * RATE, 0.01)])
    power = 10 ** (settings.target / 10) / gained(settings, level) ** 2
    up, down = power[round(8.22 * RATE)], power[round(13.02 * RATE)]  # a frame later
    assert up == pytest.approx(1e-4 + (1e-2 - 1e-4) * (1.0 - np.exp(-1.0)), rel=0.1)
    assert down == pytest.approx(1e-4 + (1e-2 - 1e-4) * np.exp(-1.0), rel=0.1)


def test_a_gain_that_pumps_holds_down_what_follows_a_bang():
    """After a bang the steady sound is softer by several dB, and is back in four seconds."""
    sound = noise(8.0, -30.0)
    sound[4 * RATE : 4 * RATE + RATE // 10] *= 30.0
    heard = Ear(replace(PUMPING, hiss=-140.0), RATE, 1)(sound)
    before, after, later = (size(heard[round(at * RATE) :][: RATE // 5]) for at in (3.7, 4.2, 7.8))
    assert decibels(after / before) < -6.0
    assert decibels(later / before) == pytest.approx(0.0, abs=1.5)


def test_suppression_swallows_what_is_steady():
    """Steady noise is heard at first, and is down by most of the depth after some seconds."""
    sound = noise(16.0, -25.0)
    left = Suppressor(Suppression(depth=18.0, learn=3.0), RATE)(sound)
    assert decibels(size(left[: RATE // 5]) / size(sound[: RATE // 5])) == pytest.approx(0.0, abs=1.0)
    assert decibels(size(left[12 * RATE :]) / size(sound[12 * RATE :])) < -12.0


def test_suppression_swallows_a_steady_tone():
    """A spindle's hum goes the way of the noise."""
    tone = 0.1 * np.sin(2.0 * np.pi * 300.0 * np.arange(16 * RATE) / RATE)
    left = Suppressor(Suppression(depth=18.0, learn=3.0), RATE)(tone)
    assert decibels(size(left[12 * RATE :]) / size(tone)) == pytest.approx(-18.0, abs=1.0)


def test_suppression_lets_pass_what_comes_and_goes():
    """Bursts in the rhythm of syllables lose less than 3 dB where the noise between them loses much more."""
    on = np.mod(np.arange(16 * RATE) / RATE, 1.0) < 0.25
    sound = np.where(on, noise(16.0, -20.0), noise(16.0, -50.0, seed=2))
    left = Suppressor(Suppression(depth=18.0, learn=3.0), RATE)(sound)
    late = np.arange(16 * RATE) > 12 * RATE
    well_within = late & (np.mod(np.arange(16 * RATE) / RATE, 1.0) > 0.05)
    assert decibels(size(left[well_within & on]) / size(sound[well_within & on])) > -3.0
    off = late & (np.mod(np.arange(16 * RATE) / RATE, 1.0) > 0.7)
    assert decibels(size(left[off]) / size(sound[off])) < -10.0


@pytest.mark.parametrize("rate", [16000, 48000, 96000])
def test_the_bands_add_up_to_the_sound(rate):
    """With nothing to take off, what comes out is what came in, whatever the rate."""
    sound = noise(0.5, -20.0)
    np.testing.assert_allclose(Suppressor(Suppression(depth=0.0), rate)(sound), sound, atol=1e-12)


def test_suppression_comes_before_the_gain():
    """With both, what the suppression swallowed the gain raises again, to its target if it can."""
    both = Microphone(hiss=-140.0, suppression=Suppression(depth=12.0), gain=AutomaticGain(target=-25.0))
    heard = Ear(both, RATE, 1)(noise(16.0, -25.0))
    assert decibels(size(heard[13 * RATE :])) == pytest.approx(-25.0, abs=1.0)
