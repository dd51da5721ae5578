"""Loose from the first second on, found before anybody knows what is being cut; nothing else is."""

from dataclasses import replace

import numpy as np
import pytest
from moments import TIGHT

from analysis.baseline import SIGNS, Sample, learn
from analysis.cut import FAMILIES, LOST, Context, Moment
from analysis.evidence import SOUGHT
from analysis.first_seconds import _AT_MOST, _UNTIL, LEAST_ROWS, MOST_FOREIGN, FirstSeconds, Slip
from analysis.presence import Phase
from analysis.reference import Reference

SECONDS = 0.05
LOOSE = SOUGHT * np.array([4.0, 2.5, 2.5, 2.5, 2.0])
NOBODY_KNOWS = Context(2, LOST, cuts=False, told=False, apart=False)


def rows(moved: np.ndarray | float, number: int) -> list[Sample]:
    """Rows of a sound whose signs have moved by so much, and scatter."""
    chance = np.random.default_rng(1).standard_normal((number, SIGNS))
    return [replace(TIGHT, plain=TIGHT.plain + moved + each) for each in chance]


REFERENCE = Reference.of([{"across": learn(rows(0.0, 60))} for _ in range(3)])


def heard(
    samples: list[Sample], *, phase: Phase = Phase.AIR, context: Context = NOBODY_KNOWS
) -> list[tuple[float, Slip]]:
    """What is found in some rows, and after how many s."""
    first = FirstSeconds(SECONDS, 0.5, {2: REFERENCE})
    moments = [Moment(n * SECONDS, n * SECONDS, each, phase, context) for n, each in enumerate(samples)]
    return [(moment.at, slip) for moment in moments if (slip := first.row(moment)) is not None]


def test_a_loose_bit_is_found_within_two_seconds_though_nobody_knows_that_it_cuts():
    """The place is unknown and the shop so loud that the cut is taken for the air."""
    at, slip = heard(rows(0.0, 40) + rows(LOOSE, 40))[0]
    assert 2.0 < at < 4.0
    assert slip.kind == FAMILIES[1]
    assert slip.finding.verdict == "loose"


def test_a_tight_bit_is_not():
    """However long it is heard."""
    assert heard(rows(0.0, 1200)) == []


@pytest.mark.parametrize(
    "other",
    [{"speed": 330.0}, {"foreign": MOST_FOREIGN + 1.0}],
    ids=["another speed", "talk"],
)
def test_what_is_another_sound_is_not_compared(other: dict[str, float]):
    """A bit that turns 10 % faster is another one, or misheard; talk may lie on the lines that tell."""
    assert heard([replace(each, **other) for each in rows(LOOSE, 200)]) == []


def test_neither_is_a_spindle_that_stands():
    """What sounds then is the shop."""
    assert heard(rows(LOOSE, 200), phase=Phase.OFF) == []


def test_neither_is_a_cut_straight_down():
    """It sounds otherwise than the cuts across that the reference is of."""
    assert heard(rows(LOOSE, 200), context=replace(NOBODY_KNOWS, kind=FAMILIES[0])) == []


def test_a_bit_without_a_reference_is_not_looked_at():
    """Nor is a bit compared with another's."""
    assert heard(rows(LOOSE, 200), context=replace(NOBODY_KNOWS, bit=3)) == []


def test_less_than_a_second_is_too_little():
    """Too few rows to know how much they scatter."""
    assert heard(rows(LOOSE, LEAST_ROWS - 1)) == []


def test_later_the_baseline_alone_decides():
    """After some seconds of what is surely a cut, a slip is a change, and is heard as one."""
    cut = {"phase": Phase.CUT, "context": Context(2, "across", told=True)}
    before = round(_UNTIL / SECONDS) + 5
    assert heard(rows(0.0, before) + rows(LOOSE, 200), **cut) == []
    assert heard(rows(0.0, before // 2) + rows(LOOSE, 200), **cut)


def test_a_place_that_stays_unknown_is_not_watched_for_ever():
    """Each second is a chance to be wrong."""
    before = round(_AT_MOST / SECONDS) + 5
    assert heard(rows(0.0, before) + rows(LOOSE, 200)) == []
    assert heard(rows(0.0, before // 2) + rows(LOOSE, 200))


def test_once_decided_it_is_over():
    """A person who says that it was nothing is not told again."""
    first = FirstSeconds(SECONDS, 0.5, {2: REFERENCE})
    first.over(2)
    moments = [
        Moment(n * SECONDS, n * SECONDS, each, Phase.CUT, NOBODY_KNOWS)
        for n, each in enumerate(rows(LOOSE, 200))
    ]
    assert not any(map(first.row, moments))
