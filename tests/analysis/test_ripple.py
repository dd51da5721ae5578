"""What a room does to a sound for good is no tone; what comes and goes is."""

import numpy as np
import pytest

from analysis.features.ripple import Ripple
from analysis.orders import foreign_tones

SECONDS = 0.05
SHAPE = (8, 8)
RNG = np.random.default_rng(7)
# Of a microphone far from what it hears: the power of many echoes at each place, added up by chance.
ROOM = RNG.exponential(size=SHAPE).astype(np.float32)


def noise(rows: int) -> np.ndarray:
    """Rows of noise, shape (rows, *SHAPE)."""
    return RNG.exponential(size=(rows, *SHAPE)).astype(np.float32)


def notes(rows: int, lasting: int) -> np.ndarray:
    """A note at one place of each gap, 20 dB above noise, that moves to another after so many rows."""
    loud = np.zeros((rows, *SHAPE), dtype=np.float32)
    for first in range(0, rows, lasting):
        places = RNG.integers(SHAPE[1], size=SHAPE[0])
        loud[first : first + lasting, np.arange(SHAPE[0]), places] = 100.0
    return loud


def read(rows: np.ndarray) -> float:
    """What is read of the last ten seconds, mean, dB."""
    return float(foreign_tones(Ripple(SECONDS).take_off(rows))[-200:].mean())


def test_the_ripple_of_a_room_is_no_tone():
    """Echoes that lie 10 dB apart for good read as noise does, to a decibel, after half a minute."""
    assert float(foreign_tones(ROOM * noise(600)).mean()) > 1.5
    assert read(ROOM * noise(600)) == pytest.approx(read(noise(600)), abs=1.0)


@pytest.mark.parametrize("seconds", [0.2, 0.5, 2.0])
def test_words_and_notes_stay_tones(seconds: float):
    """In a room, too."""
    sung = noise(1200) + notes(1200, round(seconds / SECONDS))
    assert read(sung) > 6.0
    assert read(ROOM * sung) > 6.0


def test_a_tone_that_never_ends_is_the_shops():
    """After half a minute a fan's own tone is no talk."""
    steady = noise(900)
    steady[:, :, 3] += 100.0
    assert read(steady) < 1.5


def test_rows_come_in_blocks_of_any_size():
    """To the last bit."""
    rows, by_one = ROOM * noise(60), Ripple(SECONDS)
    alone = np.concatenate([by_one.take_off(rows[i : i + 1]) for i in range(60)])
    assert alone.tobytes() == Ripple(SECONDS).take_off(rows).tobytes()
