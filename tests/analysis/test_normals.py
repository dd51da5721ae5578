"""What is normal of each bit: which of it is asked for, and what is kept when more is learned."""

from dataclasses import replace

import numpy as np
import pytest
from moments import TIGHT

from analysis.baseline import CHANNELS, SIGNS, TRUE_ENOUGH, Baseline
from analysis.comparison import UNLIKE
from analysis.cut import FAMILIES, MIXED, Context
from analysis.normals import Normals
from analysis.reference import Known

DOWN, ACROSS = ((1, kind) for kind in FAMILIES)
CUTS = {key: Context(*key, told=True) for key in (DOWN, ACROSS)}
SLOW = 0.7 * TIGHT.speed


def heard(*, speed: float = TIGHT.speed, above: float = 0.0) -> Baseline:
    """Return a baseline whose signs lie so many dB above what a tight bit may have."""
    normal = replace(TIGHT, speed=speed, plain=TRUE_ENOUGH + above)
    return Baseline(60, normal, np.zeros(len(CHANNELS)), np.full(len(CHANNELS), 3.0))


def test_the_best_is_what_turns_as_fast_and_then_what_is_of_the_same_kind():
    """And of another kind it may have as much more as cuts differ."""
    normals = Normals()
    with pytest.raises(ValueError, match="of bit 1"):
        normals.best(ACROSS, TIGHT, CUTS[ACROSS])
    slow, down, across = heard(speed=SLOW), heard(above=1.0), heard(above=2.0)
    normals.freeze(ACROSS, slow, 0.0, 3.0)
    against, known, is_like = normals.best(ACROSS, TIGHT, CUTS[ACROSS])
    assert (against, known.baseline.normal.speed, is_like) == ("before", SLOW, True), "there is no other"
    normals.freeze(DOWN, down, 4.0, 7.0)
    _, known, is_like = normals.best(ACROSS, TIGHT, CUTS[ACROSS])
    np.testing.assert_allclose(known.baseline.normal.plain, TRUE_ENOUGH + 1.0 + UNLIKE["across"])
    assert not is_like
    normals.freeze(ACROSS, across, 8.0, 11.0)
    _, known, is_like = normals.best(ACROSS, TIGHT, CUTS[ACROSS])
    np.testing.assert_allclose(known.baseline.normal.plain, across.normal.plain)
    assert is_like


def test_each_speed_has_its_own_and_the_newest_of_it():
    """What is learned at one takes nothing from the other; the most of both is what the bit ever has."""
    normals = Normals()
    first, slow, again = heard(), heard(speed=SLOW, above=2.0), heard(speed=SLOW, above=1.0)
    for number, fresh in enumerate((first, slow, again)):
        normals.freeze(ACROSS, fresh, number, number + 1.0)
    assert normals.like(ACROSS, first.normal) is first
    assert normals.like(ACROSS, slow.normal) is again
    np.testing.assert_allclose(normals.ever(1), TRUE_ENOUGH + 1.0)
    normals.drop(normals.of(1))
    assert (normals.main(1), normals.like(ACROSS, slow.normal)) == (None, None)
    np.testing.assert_allclose(normals.ever(1), TRUE_ENOUGH)


def test_what_a_reference_lends_is_its_own_until_something_is_learned():
    """With how much its cuts differ, at the speed of today."""
    normals, known = Normals(), Known.of([heard()] * 3)
    today = replace(TIGHT, speed=1.03 * TIGHT.speed)
    normals.lend(ACROSS, known, today.speed, 0.0, 3.0)
    against, lent, _ = normals.best(ACROSS, today, CUTS[ACROSS])
    assert (against, lent.runs, lent.baseline.normal.speed) == ("reference", 3, today.speed)
    normals.freeze(ACROSS, heard(speed=today.speed), 4.0, 7.0)
    assert normals.best(ACROSS, today, CUTS[ACROSS])[0] == "before"


def test_what_was_learned_first_may_be_a_loose_bits():
    """Since when that was heard, unless another kind was known before; what is surely of one ends both."""
    normals = Normals()
    normals.freeze((1, MIXED), heard(), 1.0, 7.0)
    assert normals.learned_first(1, 6.5) == [1.0]
    assert normals.learned_first(1, 7.5) == []
    normals.freeze(ACROSS, heard(), 8.0, 11.0)
    assert normals.of(1) == [ACROSS]
    normals.freeze(DOWN, heard(), 9.0, 14.0)
    assert normals.learned_since(1, 13.0) == {DOWN: 9.0}
    assert normals.learned_first(1, 13.0) == []


def test_what_looks_loose_at_another_speed_is_known_and_never_normal():
    """It is not learned again and again."""
    normals = Normals()
    normals.freeze(ACROSS, heard(), 0.0, 3.0)
    loose = heard(speed=SLOW, above=20.0)
    normals.keep_at_another_speed(ACROSS, loose, good=False)
    assert normals.is_doubted(ACROSS, loose.normal)
    assert normals.main_like(1, loose.normal) is None
    assert normals.ever(1).shape == (SIGNS,)
    np.testing.assert_allclose(normals.ever(1), TRUE_ENOUGH)
