"""A bit may have several speeds in one program: which it is to have is told by the place, or not at all."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.asked_speed import Otherwise, as_asked, at_each_speed, plainly_different, slowest_of
from analysis.cut import Context
from analysis.cutting import Bit

STEADY = Bit("steady", 6.0, 2, 18_000.0)
CHANGES = Bit("changes", 6.0, 1, 16_000.0, (8000.0, 16_000.0))


@pytest.mark.parametrize(
    ("said", "different"),
    [
        ([18_000.0], (18_000.0,)),
        ([18_000.0, 17_900.0, 18_000.0, 18_500.0], (18_000.0,)),
        ([16_000.0, 8000.0, 16_000.0], (8000.0, 16_000.0)),
        ([10_000.0, 10_400.0, 10_800.0, 11_200.0], (10_000.0, 10_800.0)),
    ],
)
def test_speeds_near_one_another_are_one(said: list[float], different: tuple[float, ...]):
    """Of speeds within 5 % the commonest stands for all; what is farther off is another one."""
    assert plainly_different(said) == different


@pytest.mark.timeout(60)
def test_a_million_moves_are_no_trouble():
    """A program says its speed with every move: who looks at each beside all others would never begin."""
    assert plainly_different([18_000.0] * 1_000_000 + [17_900.0]) == (18_000.0,)


@given(st.lists(st.floats(1000.0, 60_000.0), min_size=1))
def test_every_speed_has_one_that_stands_for_it(said: list[float]):
    """Whatever a program says, each speed lies within 5 % of one of those that are told apart."""
    different = plainly_different(said)
    assert list(different) == sorted(set(different) & set(said))
    assert all(min(abs(speed / each - 1.0) for each in different) < 0.051 for speed in said)


def test_a_bit_that_keeps_its_speed_is_as_it_is():
    """Whatever the place says, a bit of one speed is the same one."""
    assert at_each_speed(STEADY) == (STEADY,)
    for asked in (None, (9000.0, 9000.0), (9000.0, 18_000.0)):
        assert as_asked(STEADY, Context(asked=asked)) is STEADY


def test_the_place_tells_the_speed():
    """A bit turns as fast as the program asks where it is; where that may be either of two nobody knows."""
    slow, fast = at_each_speed(CHANGES)
    assert (slow.speed, fast.speed) == (8000.0, 16_000.0)
    assert as_asked(CHANGES, Context(asked=(8000.0, 8000.0))) == slow
    assert as_asked(CHANGES, Context(asked=(15_900.0, 16_300.0))) == fast
    assert as_asked(CHANGES, Context(asked=(8000.0, 16_000.0))) is None
    assert as_asked(CHANGES, Context()) is None


def test_the_slowest_of_a_job():
    """Every speed of every bit counts; one of which nobody says anything turns at 18 000 rpm."""
    unknown = Bit("unknown", 3.0, 2)
    assert (
        slowest_of({0: unknown}) == slowest_of({0: unknown, 1: replace(STEADY, speed=24_000.0)}) == 18_000.0
    )
    assert slowest_of({0: unknown, 1: STEADY, 2: CHANGES}) == 8000.0


@pytest.mark.parametrize(
    ("other", "more", "plainly"),
    [
        (300.0, 3.0, True),
        (200.0, 3.0, True),
        (100.0, 3.0, True),
        (75.0, 9.0, False),
        (50.0, 9.0, False),
        (300.0, 0.8, False),
        (300.0, -3.0, False),
    ],
)
def test_another_speed_that_plainly_sounds_is_heard(other: float, more: float, plainly: bool):
    """Twice the speed that is asked for, or any, but no half or third, for a loose bit sounds so."""
    otherwise = Otherwise(0.1)
    for _ in range(100):
        otherwise.row(150.0, {150.0: 4.0, other: 4.0 + more})
    assert otherwise.plainly is plainly
    otherwise.begin()
    assert not otherwise.plainly


def test_another_speed_for_a_moment_is_nothing():
    """What stands out more for less than half a second does not count, however much it does."""
    otherwise = Otherwise(0.1)
    for row in range(100):
        otherwise.row(150.0, {150.0: 4.0, 300.0: 12.0 if row % 50 < 4 else 2.0})
        assert not otherwise.plainly
