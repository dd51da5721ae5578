"""How many samples there should have been by the clock: against clocks and losses that are known."""

import itertools

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.sources.tally import Tally

RATE = 48_000
FRAMES = 1920  # 0.04 s


def blocks(seconds: float, *, rate: float = RATE, lates: list[float] | None = None) -> list[float]:
    """Return when blocks are called back, of a card with a rate of its own, each late by one of ``lates``."""
    lates = lates or [0.0]
    count = round(seconds * rate / FRAMES)
    return [(n + 1) * FRAMES / rate + lates[n % len(lates)] for n in range(count)]


def take_all(tally: Tally, times: list[float]) -> list[int]:
    """Take in blocks; return what was lost before each."""
    return [tally.take(at, FRAMES) for at in times]


@given(
    lates=st.lists(st.floats(0.0, 0.4), max_size=20).map(lambda late: [*late, 0.0]),
    rate=st.floats(RATE * 0.9995, RATE * 1.0005),
)
def test_what_is_only_late_is_not_lost(lates: list[float], rate: float):
    """Blocks that come late and are caught up with, from a card whose clock is wrong, are no gap."""
    tally = Tally(RATE)
    times = blocks(20.0, rate=rate, lates=lates)
    assert sum(take_all(tally, times)) == 0
    assert tally.counted == FRAMES * len(times)
    assert not tally.hurried


@given(gap=st.floats(0.25, 30.0), lates=st.lists(st.floats(0.0, 0.03), min_size=1, max_size=9))
def test_what_never_came_is_counted_within_a_second(gap: float, lates: list[float]):
    """A gap is found within 1 s after it, and its length is right within the lateness of blocks."""
    tally = Tally(RATE)
    before = blocks(5.0, lates=lates)
    assert sum(take_all(tally, before)) == 0
    lost = take_all(tally, [5.0 + gap + at for at in blocks(1.0, lates=lates)])
    assert sum(lost) / RATE == pytest.approx(gap, abs=0.04)
    assert sum(map(bool, lost)) == 1


def test_a_gap_too_short_to_be_told_from_lateness_needs_portaudios_word():
    """
    50 to 150 ms are not a gap by themselves; where PortAudio tells of a loss they are.

    By so much blocks come later when a sound server changes its pace, and each may be late besides.
    """
    for late, told in itertools.product((0.05, 0.15), (False, True)):
        tally = Tally(RATE)
        take_all(tally, blocks(5.0))
        got = tally.take(5.0 + late + 0.04, FRAMES, told=told)
        got += sum(take_all(tally, [5.04 + late + at for at in blocks(1.0)]))
        assert got / RATE == pytest.approx(late if told else 0.0, abs=0.002)


def test_short_gaps_that_nobody_tells_of_add_up():
    """Each of two gaps of 150 ms is too short; 30 s apart they are counted together."""
    tally = Tally(RATE)
    times = [*blocks(5.0), *(5.15 + at for at in blocks(30.0)), *(35.3 + at for at in blocks(2.0))]
    assert sum(take_all(tally, times)) / RATE == pytest.approx(0.3, abs=0.04)


def test_while_nothing_comes_the_count_goes_by_the_clock():
    """What is away is counted as it goes, and the next stream's first block only adds the rest."""
    tally = Tally(RATE)
    take_all(tally, blocks(2.0))
    assert [tally.away(at) for at in (3.0, 3.5, 3.5)] == [RATE, RATE // 2, 0]
    assert tally.begin(4.0 + FRAMES / RATE, FRAMES) == RATE // 2
    assert tally.counted == 4 * RATE + FRAMES


def test_a_stream_that_begins_early_takes_nothing_back():
    """Sound that was on its way when the count went on is counted once more, never below nothing."""
    tally = Tally(RATE)
    take_all(tally, blocks(2.0))
    tally.away(3.0)
    assert tally.begin(2.9, FRAMES) == 0


def test_before_the_first_sample_nothing_is_lost():
    """The clock begins with the first sample."""
    tally = Tally(RATE)
    assert tally.away(1e6) == 0
    assert tally.take(2e6, FRAMES) == 0
    assert tally.counted == FRAMES


@example([0.125, *[0.25] * 6, 0.375, 0.0, 0.0, 0.0])  # late for long, then caught up
@given(st.lists(st.floats(0.0, 0.4), min_size=1, max_size=20))
def test_another_rate_is_noticed(lates: list[float]):
    """44.1 kHz in place of 48 lacks samples, known in 3.2 s; 48 in place of 44.1 comes too fast, in 2 s."""
    slow = Tally(48_000)
    take_all(slow, blocks(5.0))
    assert sum(take_all(slow, [5.0 + at for at in blocks(3.2, rate=44_100)])) > 0
    fast = Tally(44_100)
    take_all(fast, blocks(5.0, rate=44_100, lates=[*lates, 0.0]))
    assert not fast.hurried
    end = 5.0
    for at in blocks(2.0, rate=48_000):
        fast.take(end + at, FRAMES)
    assert fast.hurried
