"""The room: other sounds, background, microphone, filters."""

import numpy as np
import pytest
from scipy.signal import sosfreqz

from recordings_synthetic.filters import Filter, above, below, bump, resonance
from recordings_synthetic.room import Ear, Microphone, Shop, air_of
from recordings_synthetic.shop import MAKERS, ShopSound, add

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


@pytest.mark.parametrize("kind", sorted(MAKERS))
def test_a_sound_of_the_shop_keeps_to_its_time_and_level(kind):
    """It sounds between its beginning and its end only, at the level that was asked for."""
    air = np.zeros(6 * RATE, np.float32)
    add(ShopSound(kind, begin=1.0, end=4.0, level=-20.0, seed=2), air, RATE)
    on = air[RATE : 4 * RATE]
    assert not air[:RATE].any()
    assert not air[4 * RATE :].any()
    size = np.abs(on).max() if kind == "knock" else np.sqrt(np.mean(on.astype(np.float64) ** 2))
    assert size == pytest.approx(0.1, rel=1e-3)


@pytest.mark.parametrize("kind", sorted(MAKERS))
def test_a_sound_of_the_shop_comes_from_its_own_seed(kind):
    """The same seed gives the same sound, another seed another."""
    made = []
    for seed in (1, 1, 2):
        air = np.zeros(2 * RATE, np.float32)
        add(ShopSound(kind, begin=0.0, seed=seed), air, RATE)
        made.append(air)
    np.testing.assert_array_equal(made[0], made[1])
    assert not np.array_equal(made[0], made[2])


def test_a_sound_that_ends_before_the_recording_begins_is_left_out():
    """Sounds outside the recording add nothing."""
    air = np.zeros(100, np.float32)
    add(ShopSound("collector", begin=5.0), air, RATE)
    add(ShopSound("sander", begin=-3.0, end=-1.0), air, RATE)
    assert not air.any()


def test_the_background_has_its_level():
    """With nothing on, the shop's root mean square is what was asked for."""
    air = air_of(Shop(background=-50.0), 20 * RATE, RATE, seed=3)
    assert 20 * np.log10(air.std()) == pytest.approx(-50.0, abs=1.0)


def test_a_microphone_clips_at_full_scale_and_keeps_its_steps():
    """What is too loud is cut off at full scale; every sample is a whole number of steps."""
    loud = 3.0 * np.sin(2 * np.pi * 500.0 * np.arange(RATE) / RATE)
    heard = Ear(Microphone(bits=8), RATE, seed=1)(loud)
    assert heard.dtype == np.float32
    assert heard.max() == 127 / 128
    assert heard.min() == -1.0
    np.testing.assert_array_equal(heard * 128, np.rint(heard * 128))
