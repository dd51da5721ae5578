"""The fakes that are shipped for tests: they must do what the real things do."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from monitor.sources import Source
from monitor.testing import FakeClock, FakeMicrophone, nonsense, silence

RATE = 1000
SOUND = np.linspace(-1, 1, 2500, dtype=np.float32)


@given(st.integers(1, 3000))
def test_all_samples_arrive_once_and_in_order(block: int):
    """Whatever the size of the blocks, together they are the samples."""
    with FakeMicrophone(SOUND, RATE, block=block) as microphone:
        heard = [got.samples for got in microphone.blocks() if got is not None]
    np.testing.assert_array_equal(np.concatenate(heard), SOUND)
    assert all(len(samples) == block for samples in heard[:-1])


def test_it_is_a_source():
    """It can stand wherever a source is wanted (mypy checks this too)."""
    source: Source = FakeMicrophone(SOUND, RATE)
    assert (source.rate, source.name) == (RATE, "fake microphone")


def test_trouble_comes_where_it_was_put():
    """A gap is None as often as told, before its block; a note, and what was lost, come with their block."""
    with FakeMicrophone(SOUND, RATE, block=1000, gaps={1: 2}, notes={2: "lost"}, lost={1: 70}) as microphone:
        got = list(microphone.blocks())
    assert [block and block.note for block in got] == ["", None, None, "", "lost"]
    assert [block.lost for block in got if block] == [0, 70, 0]


def test_its_clock_goes_by_samples_and_time_outs():
    """The clock goes on by the sound that was given and by the time-out of each gap."""
    clock = FakeClock()
    with FakeMicrophone(SOUND, RATE, block=1000, gaps={1: 2}, clock=clock) as microphone:
        times = [clock.monotonic() for _ in microphone.blocks(timeout=0.5)]
    assert times == [1.0, 1.5, 2.0, 3.0, 3.5]


def test_a_closed_microphone_hears_nothing():
    """Closed, or not opened yet, it gives nothing; closed in the middle it ends."""
    microphone = FakeMicrophone(SOUND, RATE)
    assert list(microphone.blocks()) == []
    with microphone:
        blocks = microphone.blocks()
        next(blocks)
        microphone.close()
        assert list(blocks) == []


def test_a_listener_cannot_spoil_the_samples():
    """Each block is a copy."""
    with FakeMicrophone(SOUND, RATE) as microphone:
        for block in microphone.blocks():
            assert block is not None
            block.samples[:] = 7
    assert SOUND.max() == 1


@pytest.mark.parametrize(("spoil", "is_spoilt"), [(silence, lambda x: x == 0), (nonsense, np.isnan)])
def test_sound_can_be_spoilt_for_a_while(
    spoil: Callable[..., NDArray[np.float32]],
    is_spoilt: Callable[[NDArray[np.float32]], NDArray[np.bool_]],
):
    """Silence and nonsense replace just the seconds that are told, in a copy."""
    spoilt = spoil(SOUND, RATE, start=0.5, seconds=0.25)
    assert list(np.flatnonzero(is_spoilt(spoilt))) == list(range(500, 750))
    kept = np.r_[0:500, 750:2500]
    np.testing.assert_array_equal(spoilt[kept], SOUND[kept])
    assert not is_spoilt(SOUND).any()


def test_the_clock_stands_still_until_told():
    """Both of the clock's faces go on by what it is told, and only then."""
    clock = FakeClock(datetime(2026, 11, 25, tzinfo=UTC))
    assert clock.now() == clock.now()
    clock.advance(2.5)
    assert clock.now() - datetime(2026, 11, 25, tzinfo=UTC) == timedelta(seconds=2.5)
    assert clock.monotonic() == 2.5
