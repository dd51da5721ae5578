"""A gain that comes back by itself is told from what else becomes louder after a loud sound."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.listener import Listener
from analysis.locate import Nowhere, Plan
from analysis.program import read
from analysis.pumping import Pumping
from recordings_synthetic import record
from recordings_synthetic.job import BITS, seedling_trays
from recordings_synthetic.room import PUMPING, Microphone, Shop

SECONDS = 0.05
BANDS = 20

# What becomes of each band, dB, over time after the loud sound, s.
Course = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def all_bands(rate: float) -> Course:
    """Return that all bands rise by so many dB a second for a second."""
    return lambda at: np.repeat(rate * np.minimum(at, 1.0)[:, None], BANDS, axis=1)


def told(course: Course, *, times: int = 3, pause: float = 2.0) -> bool:
    """Return whether something is told of loud sounds, each with a course of the quiet after it."""
    rng = np.random.default_rng(6)
    after = course(np.arange(0.0, pause, SECONDS))
    rows = np.concatenate([np.full((20, BANDS), 12.0), after] * times) - 50.0
    pumping = Pumping(SECONDS)
    return any(pumping.row(row) for row in rows + rng.normal(0.0, 0.1, rows.shape))


@pytest.mark.parametrize("rate", [3.5, 8.0])
def test_a_gain_that_comes_back_is_told(rate: float):
    """All bands creep up together after each of three loud sounds."""
    assert told(all_bands(rate))


@pytest.mark.parametrize(
    "course",
    [
        all_bands(0.0),
        all_bands(-20.0),
        lambda at: all_bands(4.0)(at) * np.linspace(0.0, 2.0, BANDS),
        lambda at: 4.0 * np.repeat((at > 0.4)[:, None], BANDS, axis=1),
    ],
    ids=["it is quiet", "a room rings on", "one thing comes to sound", "something begins"],
)
def test_what_else_is_heard_after_loud_sounds_is_not(course: Course):
    """Quiet, an echo, what sounds in some bands, and what begins at once are no gain."""
    assert not told(course)


def test_once_or_twice_is_chance():
    """It takes three times within two minutes."""
    assert not told(all_bands(4.0), times=2)
    assert not told(all_bands(4.0), pause=70.0)


def test_what_is_lost_is_no_fall():
    """Quiet after a loss is not compared with what was loud before it."""
    pumping, said = Pumping(SECONDS), []
    for _ in range(5):
        said += [pumping.row(np.full(BANDS, -38.0)) for _ in range(20)]
        pumping.lost()
        said += [pumping.row(row - 50.0) for row in all_bands(4.0)(np.arange(0.0, 1.0, SECONDS))]
    assert not any(said)


@pytest.mark.slow
@pytest.mark.parametrize(("microphone", "pumps"), [(PUMPING, True), (Microphone(), False)])
def test_a_microphone_with_automatic_gain_is_told_in_a_job(microphone: Microphone, pumps: bool):
    """In a minute of the demo's job the pumping microphone is told, and the plain one is not."""
    text, shop = seedling_trays(), Shop(microphone=microphone)
    plan = Plan.of(read(text, "job"), BITS)
    # What comes later need not be computed.
    last = int(plan.program.moves.file_line[plan.times.begin < 70.0][-1])
    job = read("\n".join(text.splitlines()[:last]), "job")
    heard = record(job, BITS, seed=1, rate=24_000, shop=shop)
    listener = Listener(heard.rate, {0: Bit("6 mm", 6.0, 2, speed=18_000.0)}, Nowhere())
    assert len(heard.samples) >= 60 * heard.rate
    listener.hear(heard.samples[: 60 * heard.rate])
    assert listener.pumps is pumps
