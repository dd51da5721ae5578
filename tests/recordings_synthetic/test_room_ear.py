"""Microphones at work: what each does to the sound, and that blocks do not matter."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from listened import decibels, lines, size

from recordings_synthetic.room import (
    CHEAP_USB,
    CONTACT,
    ENHANCED,
    OVERDRIVEN,
    PHONE,
    PUMPING,
    Change,
    Ear,
    Microphone,
    Room,
    lid_closed,
    moved,
)

RATE = 16000
CLEAN = Microphone(hiss=-140.0)
TROUBLED = Microphone(
    room=Room(),
    changes=(moved(0.4, seed=1), lid_closed(0.2)),
    gaps=((0.3, 0.05),),
    dropouts=400.0,
    ceiling=0.5,
    hum=-50.0,
    offset=0.01,
)
MICROPHONES = {
    "plain": Microphone(),
    "overdriven": OVERDRIVEN,
    "pumping": PUMPING,
    "phone": PHONE,
    "enhanced": ENHANCED,
    "cheap": CHEAP_USB,
    "contact": CONTACT,
    "troubled": TROUBLED,
}


def noise(seconds, level=0.1, seed=1):
    """Return white noise."""
    return level * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def tone(frequency, seconds=1.0, amplitude=0.1):
    """Return a sine."""
    return amplitude * np.sin(2.0 * np.pi * frequency * np.arange(round(seconds * RATE)) / RATE)


def answer(microphone, frequency):
    """Return how much a microphone raises a frequency, dB, once it has settled."""
    heard = Ear(microphone, RATE, 1)(tone(frequency))
    return decibels(size(heard[RATE // 2 :]) / size(tone(frequency)))


@pytest.mark.parametrize("name", sorted(MICROPHONES))
@given(cuts=st.lists(st.integers(0, RATE // 2), max_size=12))
@settings(max_examples=6, deadline=None)
def test_the_size_of_the_blocks_does_not_matter(name, cuts):
    """Whatever the blocks, empty ones among them, the samples are the same to the last bit."""
    sound = noise(0.5)
    whole = Ear(MICROPHONES[name], RATE, 5)(sound)
    ear = Ear(MICROPHONES[name], RATE, 5)
    pieces = [ear(piece) for piece in np.split(sound, sorted(cuts))]
    np.testing.assert_array_equal(whole, np.concatenate(pieces))


@pytest.mark.parametrize("name", ["plain", "enhanced", "troubled"])
def test_sample_by_sample_is_the_same_as_well(name):
    """Blocks of one sample give the same, across frames and the delays of the room."""
    sound = noise(0.04)
    ear = Ear(MICROPHONES[name], RATE, 5)
    one_by_one = np.concatenate([ear(sound[i : i + 1]) for i in range(len(sound))])
    np.testing.assert_array_equal(Ear(MICROPHONES[name], RATE, 5)(sound), one_by_one)


@pytest.mark.parametrize("rate", [16000, 22050, 44100, 48000, 96000])
@pytest.mark.parametrize("name", sorted(MICROPHONES))
def test_every_microphone_works_at_any_rate(name, rate):
    """Samples are float32, finite, within full scale, whole steps, and as many as came."""
    microphone = MICROPHONES[name]
    heard = Ear(microphone, rate, 2)(0.3 * np.random.default_rng(2).standard_normal(rate // 2))
    assert heard.dtype == np.float32
    assert len(heard) == rate // 2
    assert np.abs(heard).max() <= 1.0
    assert heard.any()
    steps = heard.astype(np.float64) * 2.0 ** (min(microphone.bits, 24) - 1)
    np.testing.assert_array_equal(steps, np.rint(steps))


def test_what_is_heard_comes_from_its_seed():
    """The same seed gives the same hiss and dropouts, another seed others."""
    first, again, other = (Ear(TROUBLED, RATE, seed)(noise(1.0)) for seed in (1, 1, 2))
    np.testing.assert_array_equal(first, again)
    assert not np.array_equal(first, other)


def test_a_microphone_clips_at_full_scale_and_keeps_its_steps():
    """What is too loud is cut off at full scale; every sample is a whole number of steps."""
    heard = Ear(Microphone(bits=8), RATE, seed=1)(tone(500.0, amplitude=3.0))
    assert heard.max() == 127 / 128
    assert heard.min() == -1.0
    np.testing.assert_array_equal(heard * 128, np.rint(heard * 128))


def test_an_amplifier_clips_before_full_scale():
    """With a ceiling the tops are flat there, however loud the sound, and nothing reaches full scale."""
    heard = Ear(replace(CLEAN, ceiling=0.4), RATE, 1)(tone(500.0, amplitude=2.0))[RATE // 2 :]
    assert np.abs(heard).max() == pytest.approx(0.4, abs=1e-6)
    assert np.mean(np.abs(heard) > 0.3999) > 0.5


def test_the_response_falls_off_where_it_should():
    """A phone passes the band of speech and nearly nothing beside it: 36 dB an octave."""
    phone = replace(CLEAN, low=300.0, high=3400.0, steep=3, peaks=())
    assert answer(phone, 1000.0) == pytest.approx(0.0, abs=0.7)
    assert answer(phone, 300.0) == pytest.approx(-9.0, abs=0.5)
    assert answer(phone, 75.0) < -60.0
    assert answer(phone, 6800.0) < -36.0
    assert (PHONE.low, PHONE.high, PHONE.steep) == (phone.low, phone.high, phone.steep)


def test_a_phone_sends_nothing_above_its_channel():
    """Above 5.5 kHz not even its hiss is left, whatever opens its suppression."""
    heard = Ear(PHONE, RATE, 1)(noise(2.0))
    frequency, height = lines(heard, RATE)
    beyond, within = (
        height[(frequency > low) & (frequency < high)] for low, high in ((5500, 8000), (500, 3000))
    )
    assert decibels(size(beyond) / size(within)) < -50.0


def test_a_contact_microphone_hears_low_orders_and_rings():
    """Below 400 Hz it is 8 dB or more above 1500 Hz, and it has a resonance at 3.3 kHz."""
    contact = replace(CONTACT, hiss=-140.0)
    assert answer(contact, 200.0) - answer(contact, 1500.0) > 8.0
    assert answer(contact, 3300.0) - answer(contact, 2400.0) > 6.0


def test_hum_has_its_level_and_its_lines():
    """Mains and their odd multiples, together at the level asked for, and at 60 Hz where mains are so."""
    for mains in (50, 60):
        heard = Ear(replace(CLEAN, hum=-40.0, mains=mains), RATE, 1)(np.zeros(4 * RATE))
        assert decibels(size(heard)) == pytest.approx(-40.0, abs=0.1)
        frequency, height = lines(heard, RATE)
        best = frequency[np.argsort(height)[-3:]]
        assert sorted(np.round(best / mains)) == pytest.approx([1.0, 1.0, 1.0], abs=2.0)
        assert frequency[np.argmax(height)] == mains
        for multiple in (3, 5):
            assert height[frequency == multiple * mains][0] > 10.0 * np.median(height)


def test_an_offset_is_a_constant():
    """All samples are moved by it, and a cheap microphone has one."""
    plain, moved_up = (Ear(replace(CLEAN, offset=offset), RATE, 1)(noise(1.0)) for offset in (0.0, 0.05))
    np.testing.assert_allclose(moved_up - plain, 0.05, atol=1e-6)
    assert Ear(CHEAP_USB, RATE, 1)(np.zeros(RATE)).mean() == pytest.approx(0.012, abs=1e-3)


def test_a_cheap_microphone_hisses():
    """Its noise is what it states, and its steps are those of 16 bits."""
    heard = Ear(replace(CHEAP_USB, offset=0.0, hum=-np.inf), RATE, 1)(np.zeros(4 * RATE))
    assert decibels(size(heard)) == pytest.approx(-56.0, abs=0.2)
    assert np.array_equal(heard * 32768, np.rint(heard * 32768))


def test_gaps_are_zeros_where_they_were_asked_for():
    """Within a gap samples are exactly 0; all others are as they would have been."""
    plain, gapped = (
        Ear(replace(CLEAN, gaps=gaps), RATE, 1)(noise(2.0)) for gaps in ((), ((1.5, 0.1), (0.5, 0.02)))
    )
    away = np.zeros(2 * RATE, bool)
    away[RATE // 2 : RATE // 2 + RATE // 50] = away[3 * RATE // 2 : 3 * RATE // 2 + RATE // 10] = True
    assert not gapped[away].any()
    np.testing.assert_array_equal(gapped[~away], plain[~away])


def test_dropouts_come_as_often_as_stated():
    """30 a minute for 4 minutes are 120 within four of its standard deviations; each lasts 5 to 80 ms."""
    heard = Ear(Microphone(dropouts=30.0, hiss=-40.0), RATE, 3)(np.zeros(240 * RATE))
    silent = np.concatenate([[0], heard == 0.0, [0]]).astype(np.int8)
    lengths = np.flatnonzero(np.diff(silent) < 0) - np.flatnonzero(np.diff(silent) > 0)
    long = lengths[lengths > RATE // 500] / RATE
    assert len(long) == pytest.approx(120, abs=44)
    assert long.min() >= 0.0049
    assert long.max() <= 0.0801


def test_before_a_change_nothing_changes():
    """Up to its moment the samples are those of a microphone that is left alone."""
    for change in (moved(0.5, seed=2), lid_closed(0.5)):
        alone, changed = (
            Ear(replace(CLEAN, changes=changes), RATE, 1)(noise(1.0)) for changes in ((), (change,))
        )
        np.testing.assert_array_equal(alone[: RATE // 2], changed[: RATE // 2])
        assert not np.array_equal(alone[RATE // 2 : RATE // 2 + 100], changed[RATE // 2 : RATE // 2 + 100])


def test_a_change_has_its_level_its_dulling_and_its_dip():
    """After it everything is softer by its level, what is high is dulled, a frequency is cancelled."""
    lower = replace(CLEAN, changes=(Change(0.1, level=-6.0),))
    assert answer(lower, 700.0) - answer(CLEAN, 700.0) == pytest.approx(-6.0, abs=0.05)
    dull = replace(CLEAN, changes=(Change(0.1, level=0.0, high=1000.0),))
    assert answer(dull, 4000.0) - answer(CLEAN, 4000.0) < -22.0
    assert answer(dull, 200.0) - answer(CLEAN, 200.0) == pytest.approx(0.0, abs=0.1)
    dip = replace(CLEAN, changes=(Change(0.1, level=0.0, dip=900.0),))
    assert answer(dip, 900.0) - answer(CLEAN, 900.0) == pytest.approx(-12.0, abs=0.1)
    assert answer(dip, 5000.0) - answer(CLEAN, 5000.0) == pytest.approx(0.0, abs=0.3)


def test_a_change_glides():
    """Half-way through a change of 0.4 s the level is between what it was and what it will be."""
    ear = Ear(replace(CLEAN, changes=(Change(0.3, over=0.4, level=-20.0),)), RATE, 1)
    heard = ear(tone(700.0))
    before, middle, after = (size(heard[round(at * RATE) :][: RATE // 20]) for at in (0.2, 0.475, 0.8))
    assert middle == pytest.approx((before + after) / 2.0, rel=0.05)
    assert after == pytest.approx(0.1 * before, rel=0.02)


def test_a_closed_lid_muffles_and_a_moved_microphone_differs_by_its_seed():
    """A lid takes more from the high than from the low; no two moves are the same."""
    lid = replace(CLEAN, changes=(lid_closed(-1.0),))
    assert answer(lid, 300.0) - answer(CLEAN, 300.0) == pytest.approx(-10.0, abs=0.5)
    assert answer(lid, 5000.0) - answer(CLEAN, 5000.0) < -30.0
    moves = [moved(1.0, seed) for seed in range(40)]
    assert len({(move.level, move.dip) for move in moves}) == 40
    assert all(2.0 <= abs(move.level) <= 8.0 for move in moves)
    assert {move.level > 0.0 for move in moves} == {True, False}
