"""The shop as a whole: its background, and which microphone stands in which room."""

from dataclasses import replace

import numpy as np
import pytest

from recordings_synthetic.room import CONTACT, Ear, Microphone, Room, Shop, air_of
from recordings_synthetic.shop import ShopSound

RATE = 16000


def test_the_background_has_its_level():
    """With nothing on, the shop's root mean square is what was asked for."""
    air = air_of(Shop(background=-50.0), 20 * RATE, RATE, seed=3)
    assert 20 * np.log10(air.std()) == pytest.approx(-50.0, abs=1.0)


def test_sounds_add_up_and_leave_what_was_before():
    """With two more sounds the air is that of the shop without them, to the bit, until the first begins."""
    sounds = (ShopSound("extractor", 3.0, level=-30.0), ShopSound("door", 2.0, level=-20.0))
    without, both = (air_of(Shop(sounds=some), 5 * RATE, RATE, seed=1) for some in ((), sounds))
    np.testing.assert_array_equal(without[: 2 * RATE], both[: 2 * RATE])
    assert np.abs(both - without)[2 * RATE : 3 * RATE].max() == pytest.approx(0.1, rel=1e-3)
    assert (both - without)[3 * RATE :].std() > 0.01


def test_a_contact_microphone_hears_little_of_the_air():
    """The air is 45 dB softer in it; what comes from the machine is not in the air."""
    sounds = (ShopSound("table saw", 0.0, level=-20.0),)
    there, here = (air_of(Shop(sounds=sounds, microphone=m), RATE, RATE, 1) for m in (Microphone(), CONTACT))
    assert 20 * np.log10(here.std() / there.std()) == pytest.approx(-45.0, abs=0.01)


def test_the_shops_room_is_the_microphones():
    """A room puts the microphone into it, unless it has one of its own or is in contact with the machine."""
    room, own = Room(t60=0.6), Room(t60=0.3)
    assert Shop(room=room).microphone.room == room
    assert Shop(room=room, microphone=Microphone(room=own)).microphone.room == own
    assert Shop(room=room, microphone=CONTACT).microphone.room is None
    assert replace(Shop(room=room), microphone=Microphone(bits=16)).microphone.room == room
    assert Shop().microphone == Microphone()


def test_a_room_is_heard():
    """A click that is dry without a room has a tail in one."""
    click = np.zeros(RATE)
    click[100] = 0.5
    dry, wet = (Ear(shop.microphone, RATE, 1)(click) for shop in (Shop(), Shop(room=Room())))
    assert np.abs(wet[2000:4000]).max() > 5.0 * np.abs(dry[2000:4000]).max()
