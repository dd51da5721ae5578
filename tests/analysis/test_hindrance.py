"""That nothing can be compared is said once it has lasted, and taken back by what is clear alone."""

from dataclasses import replace

import pytest
from moments import SECONDS, TIGHT

from analysis.hindrance import _COVERED, _COVERED_LONG, _UNLIKE_LONG, Hindrance

LOUD = replace(TIGHT, hiss=TIGHT.hiss + _COVERED + 4.0, noise=TIGHT.noise + _COVERED + 4.0)
HEAVIER = replace(LOUD, teeth=TIGHT.teeth + _COVERED + 4.0)


def after(seconds: float, hindrance: Hindrance, sample=TIGHT) -> Hindrance:
    """What hinders after some seconds in which a sound was compared."""
    for _ in range(round(seconds / SECONDS)):
        hindrance.is_compared(sample, TIGHT)
    return hindrance


def test_noise_that_stays_far_above_the_teeth_covers_the_cut():
    """Once it has lasted: a door is over by then."""
    hindrance = Hindrance(SECONDS)
    assert not after(_COVERED_LONG - 0.5, hindrance, LOUD).covers(settled=False)
    assert after(1.0, hindrance, LOUD).covers(settled=False)


def test_a_heavier_cut_covers_nothing():
    """It is louder in its teeth, too."""
    assert not after(60.0, Hindrance(SECONDS), HEAVIER).covers(settled=True)


def test_what_covered_for_a_minute_is_over_within_two_seconds_of_clear_cutting():
    """And it is not said anew, then taken back, at each row in between."""
    hindrance = after(60.0, Hindrance(SECONDS), LOUD)
    assert after(0.5, hindrance).covers(settled=True)
    assert not after(1.5, hindrance).covers(settled=True)


def test_one_clear_row_in_ten_is_no_listening():
    """As beside a radio."""
    hindrance = Hindrance(SECONDS)
    for _ in range(60):
        after(9 * SECONDS, hindrance, LOUD)
        after(SECONDS, hindrance)
    assert hindrance.covers(settled=False)


def test_one_clear_row_in_ten_is_no_learning():
    """Before anything is known, too: what is cut meanwhile is not heard."""
    hindrance = Hindrance(SECONDS)
    for number in range(600):
        hindrance.is_covered() if number % 10 else hindrance.is_clear()
    assert hindrance.covers(settled=False)


def test_what_turns_otherwise_is_said_after_a_second():
    """And whether it is being learned; what is compared takes it back."""
    hindrance = Hindrance(SECONDS)
    said = []
    for _ in range(round(2 * _UNLIKE_LONG / SECONDS)):
        hindrance.is_unlike(learns=True)
        said.append(hindrance.turns_otherwise)
    assert (said.index(True) + 1) * SECONDS == pytest.approx(_UNLIKE_LONG, abs=SECONDS)
    assert hindrance.learns
    assert not after(1.0, hindrance).turns_otherwise
