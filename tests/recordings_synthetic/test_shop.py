"""Sounds of the shop: time, level, seed and sample rate of each kind."""

import math
import shutil

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from listened import share_of_power, size

from recordings_synthetic.shop import KINDS, MAKERS, ShopSound, active, add
from recordings_synthetic.shop.sound import FIRST, LASTING, STRUCK

RATE = 16000
needs_espeak = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="needs Debian's espeak-ng")
EVERY = [pytest.param(kind, marks=needs_espeak) if kind == "talk" else kind for kind in KINDS]


def heard(sound, seconds, rate=RATE):
    """Return a recording's air with one sound in it."""
    air = np.zeros(round(seconds * rate), np.float32)
    add(sound, air, rate)
    return air


def measured(kind, air, rate):
    """Return the size that a kind's level speaks of."""
    if kind in STRUCK:
        return np.abs(air).max()
    return size(air) if kind in FIRST else active(air, rate)


def test_each_kind_can_be_made():
    """There is a maker for each kind, and no other."""
    assert set(MAKERS) == set(KINDS)


@pytest.mark.parametrize("kind", EVERY)
def test_a_sound_keeps_to_its_time_and_level(kind):
    """It sounds between its beginning and its end only, at the level that was asked for."""
    end = 1.0 + LASTING.get(kind, 6.0)
    air = heard(ShopSound(kind, begin=1.0, end=end, level=-20.0, seed=2), 9.0)
    on = air[RATE : round(end * RATE)]
    assert not air[:RATE].any()
    assert not air[round(end * RATE) :].any()
    assert measured(kind, on, RATE) == pytest.approx(0.1, rel=1e-3)
    assert np.abs(on[: RATE // 2]).max() > 1e-4


@pytest.mark.parametrize("kind", EVERY)
def test_a_sound_comes_from_its_own_seed(kind):
    """The same seed gives the same sound, another seed another."""
    made = [heard(ShopSound(kind, begin=0.0, seed=seed), 2.0) for seed in (1, 1, 2)]
    np.testing.assert_array_equal(made[0], made[1])
    assert not np.array_equal(made[0], made[2])


@pytest.mark.parametrize("kind", EVERY)
def test_what_was_there_before_it_begins_stays_to_the_last_bit(kind):
    """A sound is added to what sounds already, and only from its beginning on."""
    before = np.random.default_rng(1).standard_normal(4 * RATE).astype(np.float32)
    after = before.copy()
    add(ShopSound(kind, begin=1.5, level=-10.0, seed=3), after, RATE)
    np.testing.assert_array_equal(after[: round(1.5 * RATE)], before[: round(1.5 * RATE)])
    assert not np.array_equal(after, before)


@pytest.mark.parametrize("rate", [16000, 22050, 44100, 96000])
@pytest.mark.parametrize("kind", EVERY)
def test_a_sound_can_be_made_at_any_rate(kind, rate):
    """From 16 to 96 kHz it is finite and has its level."""
    air = heard(ShopSound(kind, begin=0.3, level=-26.0, seed=4), 2.5, rate)
    assert air.dtype == np.float32
    assert np.isfinite(air).all()
    last = len(air) if kind not in LASTING else round((0.3 + LASTING[kind]) * rate)
    assert measured(kind, air[round(0.3 * rate) : last], rate) == pytest.approx(10 ** (-26 / 20), rel=0.12)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in FIRST])
def test_a_sound_ends_without_a_click(kind):
    """What ends in the recording has died away: its last millisecond is far below it."""
    if kind == "talk" and shutil.which("espeak-ng") is None:
        pytest.skip("needs Debian's espeak-ng")
    end = LASTING.get(kind, 8.0)
    air = heard(ShopSound(kind, begin=0.0, end=end, level=0.0, seed=5), 9.0)
    assert np.abs(air[round(end * RATE) - RATE // 1000 : round(end * RATE)]).max() < 0.25


@given(
    kind=st.sampled_from([kind for kind in KINDS if kind != "talk"]),
    begin=st.floats(-3.0, 3.0),
    length=st.one_of(st.just(1.0 / RATE), st.floats(0.0, 4.0)),
    seed=st.integers(0, 2**32),
)
@settings(max_examples=60, deadline=None)
def test_a_sound_of_any_length_stays_within_its_time(kind, begin, length, seed):
    """However short, wherever it lies, from whatever seed: finite, and nothing before or after it."""
    air = heard(ShopSound(kind, begin, begin + length, level=-20.0, seed=seed), 2.0)
    first = max(round(begin * RATE), 0)
    last = max(round((begin + LASTING.get(kind, length)) * RATE), 0)
    assert np.isfinite(air).all()
    assert not air[:first].any()
    assert not air[last:].any()


@pytest.mark.parametrize("kind", ["extractor", "planer", "rain", "music"])
def test_a_sound_is_alike_at_any_rate(kind):
    """The octaves from 250 to 4000 Hz have the same levels at 16 and at 48 kHz, within 3 dB."""
    levels = []
    for rate in (16000, 48000):
        air = heard(ShopSound(kind, begin=0.0, level=-20.0, seed=3), 24.0, rate)[6 * rate :]
        levels.append([share_of_power(air, f / 1.41, f * 1.41, rate) for f in (250, 500, 1000, 2000, 4000)])
    shares = np.array(levels)
    relative = shares / shares.sum(axis=1)[:, None]
    np.testing.assert_allclose(10.0 * np.log10(relative[0] / relative[1]), 0.0, atol=3.0)


def test_a_sound_outside_the_recording_is_left_out():
    """What begins after its end, or has ended before it begins, adds nothing."""
    for kind, begin, end in (("collector", 5.0, math.inf), ("sander", -3.0, -1.0), ("bar", -9.0, math.inf)):
        assert not heard(ShopSound(kind, begin, end), 0.5).any()


def test_what_began_before_the_recording_is_under_way():
    """An extractor that was switched on before has run up when the recording begins, however long ago."""
    for begin in (-15.0, -math.inf):
        air = heard(ShopSound("extractor", begin, level=-20.0, seed=1), 3.0)
        assert size(air[: RATE // 2]) == pytest.approx(size(air[-RATE // 2 :]), rel=0.25)
    late = heard(ShopSound("extractor", 0.0, level=-20.0, seed=1), 3.0)
    assert size(late[: RATE // 2]) < 0.3 * size(late[-RATE // 2 :])


def test_the_active_level_does_not_count_pauses():
    """A sine that is on for a second in ten has the level that it has while it is on."""
    tone = 0.2 * np.sin(2.0 * np.pi * 500.0 * np.arange(10 * RATE) / RATE)
    tone[RATE:] = 0.0
    assert active(tone, RATE) == pytest.approx(0.2 / math.sqrt(2.0), rel=1e-3)
