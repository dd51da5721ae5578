"""What a person said to be nothing is allowed of that bit, as far as it went, until the bit is tightened."""

from dataclasses import replace

import numpy as np
from moments import TIGHT

from analysis.allowed import Allowed
from analysis.baseline import SIGNS, TRUE_ENOUGH, learn
from analysis.comparison import LIKE

BIT, OTHER = 1, 2
STRONG = TRUE_ENOUGH + 10.0


def fresh(plain: np.ndarray):
    """The baseline of a cut whose signs are so strong, and scatter by a decibel."""
    chance = np.random.default_rng(1).standard_normal((60, SIGNS))
    return learn([replace(TIGHT, plain=plain + each) for each in chance])


def test_it_is_of_one_bit():
    """Another one must be as good as ever."""
    allowed = Allowed()
    allowed.allow(BIT, np.full(SIGNS, 6.0), STRONG)
    allowed.allow_colour(BIT, 3.0)
    allowed.allow_fault(BIT, "chatter")
    assert np.array_equal(allowed.risen(OTHER), LIKE)
    assert allowed.faded(OTHER) == 0.0
    assert not allowed.bears(OTHER, "chatter")
    assert not allowed.covers(OTHER, fresh(STRONG), 0.5)


def test_what_was_allowed_twice_is_allowed_as_far_as_it_ever_went():
    """A sign that has fallen is not allowed to have risen."""
    allowed = Allowed()
    allowed.allow(BIT, np.array([6.0, -3.0, 0.0, 0.0, 0.0]), None)
    allowed.allow(BIT, np.array([2.0, 1.0, 0.0, 0.0, 0.0]), None)
    assert allowed.risen(BIT).tolist() == [6.0, 1.0, 0.0, 0.0, 0.0]


def test_a_baseline_is_covered_while_it_is_no_looser_than_that():
    """Where nothing was heard nothing is."""
    allowed = Allowed()
    allowed.allow(BIT, np.zeros(SIGNS), None)
    assert not allowed.covers(BIT, fresh(STRONG), 0.5)
    allowed.allow(BIT, np.zeros(SIGNS), STRONG)
    assert allowed.covers(BIT, fresh(STRONG), 0.5)
    assert not allowed.covers(BIT, fresh(STRONG + 15.0), 0.5)


def test_of_a_tightened_bit_only_another_fault_stays_allowed():
    """It was not tight while the rest was said."""
    allowed = Allowed()
    allowed.allow(BIT, np.full(SIGNS, 6.0), STRONG)
    allowed.allow_colour(BIT, 3.0)
    allowed.allow_fault(BIT, "chatter")
    allowed.no_more(BIT)
    assert np.array_equal(allowed.risen(BIT), LIKE)
    assert (allowed.faded(BIT), allowed.covers(BIT, fresh(STRONG), 0.5)) == (0.0, False)
    assert allowed.bears(BIT, "chatter")
