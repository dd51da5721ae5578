"""The room: background and microphone."""

import numpy as np
import pytest

from recordings_synthetic.room import Ear, Microphone, Shop, air_of

RATE = 16000


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
