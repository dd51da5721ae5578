"""Rooms: echoes by mirror images, and a tail that falls as it should."""

import numpy as np
import pytest
from listened import band
from scipy.stats import linregress

from recordings_synthetic.room import Room
from recordings_synthetic.room.walls import MIXED, SOUND, Tail, Walls

RATE = 32000


def click(seconds=1.5, rate=RATE):
    """Return a click, 100 samples late."""
    sound = np.zeros(round(seconds * rate))
    sound[100] = 1.0
    return sound


def decay(response, rate=RATE):
    """Return how fast a response falls: seconds for 60 dB, from -5 to -25 dB of what is still to come."""
    left = np.cumsum(response[::-1] ** 2)[::-1]
    level = 10.0 * np.log10(left / left[0])
    part = np.flatnonzero((level < -5.0) & (level > -25.0))
    return -60.0 / linregress(part / rate, level[part]).slope


def test_sabines_formula_and_the_critical_distance():
    """100 m3 and 1 s: A = 16.1 m2, equal levels at .57 m (Sabine, and what follows; from memory)."""
    room = Room(size=(5.0, 5.0, 4.0), t60=1.0)
    assert room.reflection**2 == pytest.approx(1.0 - 16.1 / 130.0)
    assert room.critical_distance == pytest.approx(0.57)
    assert Room(size=(5.0, 5.0, 4.0), t60=1.0, distance=0.57).reverberation == pytest.approx(1.0)


@pytest.mark.parametrize("t60", [0.25, 0.45, 0.9])
@pytest.mark.parametrize("rate", [16000, 48000])
def test_the_tail_falls_by_sixty_decibels_in_its_time(t60, rate):
    """Measured after Schroeder (power still to come) in the octaves about 500 Hz, within a tenth."""
    response = Tail(t60, rate, seed=1)(click(2.0 * t60, rate))
    assert decay(band(response, 300.0, 1000.0, rate)[100:], rate) == pytest.approx(t60, rel=0.12)


def test_the_tail_is_duller_than_the_sound():
    """At 4 kHz it falls about twice as fast as at low frequencies."""
    response = Tail(0.8, RATE, seed=1)(click(1.6))
    high, low = (decay(band(response, f / 1.2, f * 1.2)[100:]) for f in (4000.0, 300.0))
    assert high / low == pytest.approx(0.5, abs=0.15)


@pytest.mark.parametrize("distance", [0.4, 0.8, 1.6])
def test_the_walls_share_is_that_of_the_distance(distance):
    """The tail's power re the direct sound is (distance / critical distance)^2, less what came before it."""
    room = Room(distance=distance, t60=0.5)
    response = Walls(room, RATE)(click())
    direct, late = response[100] ** 2, np.sum(response[100 + round(MIXED * RATE) + 40 :] ** 2)
    expected = room.reverberation * 10.0 ** (-6.0 * MIXED / 0.5)
    assert 10.0 * np.log10(late / direct / expected) == pytest.approx(0.0, abs=1.0)


def test_echoes_come_from_mirror_images():
    """The echo off the floor comes where the machine's image below it lies, with the wall's loss."""
    room = Room(seed=3)
    machine, microphone = room.places()
    below = machine * (1.0, 1.0, -1.0)
    direct, far = np.linalg.norm(machine - microphone), np.linalg.norm(below - microphone)
    late, size = (far - direct) / SOUND, room.reflection * direct / far
    assert any(np.allclose(echo, (late, size)) for echo in room.echoes())


def test_echoes_come_after_the_direct_sound():
    """Nothing is heard before the sound itself; the direct sound is not delayed and is the loudest."""
    for seed in range(10):
        response = Walls(Room(seed=seed), RATE)(click(0.2))
        assert not response[:100].any()
        assert np.abs(response).argmax() == 100


def test_the_microphone_stands_at_its_distance():
    """Machine and microphone are inside the room, the distance apart that was asked for."""
    for seed in range(20):
        machine, microphone = Room(distance=0.9, seed=seed).places()
        assert np.linalg.norm(machine - microphone) == pytest.approx(0.9)
        assert all((place > 0.0).all() and (place < (8.0, 5.5, 2.8)).all() for place in (machine, microphone))


def test_noise_keeps_its_level():
    """A room does not make noise louder or softer, within 1 dB."""
    noise = np.random.default_rng(1).standard_normal(10 * RATE)
    heard = Walls(Room(), RATE)(noise)
    assert 20.0 * np.log10(band(heard, 200, 3000)[RATE:].std() / band(noise, 200, 3000)[RATE:].std()) == (
        pytest.approx(0.0, abs=1.0)
    )


def test_nearer_is_drier():
    """The nearer the microphone, the less of the room it hears."""
    shares = [Room(distance=distance).reverberation for distance in (0.3, 0.6, 1.2)]
    assert shares == sorted(shares)
    assert shares[2] / shares[1] == pytest.approx(4.0)
