"""Blocks that come several at a time lose nothing, and hold up no bad news."""

from collections.abc import Iterator
from itertools import islice

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import SoundError
from monitor.sources import Block, Source
from monitor.sources.unhurried import Unhurried
from monitor.testing import FakeMicrophone

RATE = 1000
SOUND = np.linspace(-1, 1, 2500, dtype=np.float32)

Given = list[tuple[int, str, int] | None]


def given_by(source: Source) -> Given:
    """Return what a source gives: samples, note and loss of each block."""
    return [block and (len(block.samples), block.note, block.lost) for block in source.blocks()]


@given(
    st.integers(1, 700), st.lists(st.booleans(), min_size=1), st.sets(st.integers(0, 9)), st.integers(1, 5)
)
def test_all_samples_arrive_once_and_in_order(block: int, calm: list[bool], late: set[int], most: int):
    """Whenever it is calm, and whatever comes late: together the blocks are the samples."""
    told = iter(calm * 2500)
    with FakeMicrophone(SOUND, RATE, block=block, gaps=dict.fromkeys(late, 1)) as microphone:
        heard = [got.samples for got in Unhurried(microphone, lambda: next(told), most).blocks() if got]
    np.testing.assert_array_equal(np.concatenate(heard), SOUND)


def test_some_are_given_as_one_while_it_is_calm():
    """Two by two, if so many are wanted, while it is calm; one by one while it is not."""
    with FakeMicrophone(SOUND, RATE, block=500) as microphone:
        assert given_by(Unhurried(microphone, lambda: True, 2)) == [
            (1000, "", 0),
            (1000, "", 0),
            (500, "", 0),
        ]
    with FakeMicrophone(SOUND, RATE, block=500) as microphone:
        assert given_by(Unhurried(microphone, lambda: False, 2)) == [(500, "", 0)] * 5


def test_what_waited_is_no_younger_for_being_given_as_one():
    """Of several blocks the oldest tells how late they are."""
    with FakeMicrophone(SOUND, RATE, block=500, ages={0: 3.0, 1: 2.0}) as microphone:
        first = next(Unhurried(microphone, lambda: True, 2).blocks())
    assert first is not None
    assert first.age == 3.0


def test_word_that_something_is_missing_never_waits():
    """A note, a loss, and nothing at all come at once, after what was waiting."""
    trouble = {"notes": {1: "the gain moved"}, "lost": {3: 70}, "gaps": {4: 2}}
    with FakeMicrophone(SOUND, RATE, block=500, **trouble) as microphone:
        assert given_by(Unhurried(microphone, lambda: True, 2)) == [
            (500, "", 0),
            (500, "the gain moved", 0),
            (500, "", 0),
            (500, "", 70),
            None,
            None,
            (500, "", 0),
        ]


@pytest.mark.parametrize("why", [SoundError("the disk is gone"), KeyboardInterrupt()])
def test_what_waits_when_it_breaks_off_is_heard(why: BaseException):
    """The blocks that came before are given, then why it broke off."""

    class Breaks(FakeMicrophone):
        def blocks(self) -> Iterator[Block | None]:
            yield from islice(super().blocks(), 2)
            raise why

    with Breaks(SOUND, RATE, block=500) as microphone:
        blocks = Unhurried(microphone, lambda: True, 4).blocks()
        first = next(blocks)
        assert first is not None
        assert len(first.samples) == 1000
        with pytest.raises(type(why)):
            next(blocks)
