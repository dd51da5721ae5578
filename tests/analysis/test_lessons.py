"""A baseline is learned from the first seconds of one bit and kind of cut, at one speed."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from moments import SECONDS, TIGHT

from analysis.baseline import SIGNS, Sample
from analysis.cut import MIXED, Context, Moment
from analysis.lessons import Lesson, Lessons
from analysis.presence import Phase

KEY, BOTH = (1, "across"), (1, MIXED)
LASTING = 2.0
CHANCE = np.random.default_rng(1).standard_normal((400, SIGNS))


def samples(number: int, **other: float) -> Iterable[Sample]:
    """Rows of a steady cut, but for what is told otherwise."""
    return (replace(TIGHT, plain=TIGHT.plain + each, **other) for each in CHANCE[:number])


def heard(
    lessons: Lessons, rows: Iterable[Sample], *, key=KEY, one_speed: bool = False
) -> list[tuple[int, Lesson]]:
    """What is learned from some rows, and after how many."""
    moments = (Moment(n * SECONDS, n * SECONDS, each, Phase.CUT, Context(1)) for n, each in enumerate(rows))
    said = (lessons.row(key, moment, LASTING, one_speed=one_speed) for moment in moments)
    return [(number, lesson) for number, lesson in enumerate(said, 1) if lesson is not None]


def test_it_takes_as_long_as_it_is_told_and_twice_as_long_of_both_families():
    """What was learned is dated from its first row on."""
    (number, lesson), *_ = heard(Lessons(SECONDS), samples(100))
    assert (number * SECONDS, lesson.since) == (LASTING, 0.0)
    assert heard(Lessons(SECONDS), samples(100), key=BOTH)[0][0] * SECONDS == 2 * LASTING


def test_a_cut_that_is_not_steady_is_refused_with_a_reason_and_learned_once_it_is():
    """Half of what was heard is kept."""
    lessons = Lessons(SECONDS)
    levels = np.where(np.arange(40) % 2, -10.0, -40.0)
    wild = [replace(each, level=level) for each, level in zip(samples(40), levels, strict=True)]
    assert heard(lessons, wild) == []
    assert lessons.is_unfit(KEY)
    assert lessons.because.startswith("not fit for a baseline, learning on: ")
    assert heard(lessons, samples(100)) != []
    assert not lessons.is_unfit(KEY)


def test_at_another_speed_it_begins_anew_where_one_is_asked_for():
    """What turned otherwise is no part of it."""
    mixed = [*samples(30), *samples(60, speed=330.0)]
    assert heard(Lessons(SECONDS), mixed, one_speed=True)[0][0] == 30 + LASTING / SECONDS


def test_of_a_bit_that_is_forgotten_nothing_is_left():
    """Of others all is."""
    lessons = Lessons(SECONDS)
    for bit in (1, 2):
        assert heard(lessons, samples(39), key=(bit, "across")) == []
    lessons.forget(1)
    assert [lessons.have_begun(bit) for bit in (1, 2)] == [False, True]
    assert [bool(heard(lessons, samples(1), key=(bit, "across"))) for bit in (1, 2)] == [False, True]
