"""A swell every second turn, in step: how deep, how long, in both orders, and what is none."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.in_step import _PAUSE, BARS, Bar, InStep

SECONDS, CORRELATION = 0.05, 0.5


def lasting(bar: Bar) -> float:
    """How long a bar lasts, s: of rows that are half alike a third are independent."""
    return 3.0 * bar.lasts * SECONDS


LONGEST = lasting(BARS[-1])
# How deep a swell is, squared, that alarms once it has lasted for the longest time.
SLIGHT = 10.0 ** (BARS[-1].deep / 10.0)


class Heard:
    """Feeds rows, and remembers the scores."""

    def __init__(self) -> None:
        self.found, self.at, self.scores = InStep(SECONDS, CORRELATION), 0.0, [0.0]

    def hear(
        self, lasting: float, low: float, high: float | None = None, *, share: float = 1.0, more: float = 1.0
    ) -> "Heard":
        """Let some seconds pass with such depths of both orders, of which a share is in step."""
        steps = np.array([low, low if high is None else high], dtype=np.float32)
        rows = np.stack((steps, steps / np.float32(share)))
        for _ in range(round(lasting / SECONDS)):
            self.at += SECONDS
            self.found.row(self.at, rows, more)
            self.scores.append(self.found.score)
        return self


@pytest.mark.parametrize("bar", BARS)
def test_a_swell_alarms_that_is_deep_enough_for_so_long(bar: Bar):
    """As deep as is asked for so many seconds it alarms then, and not a row before."""
    scores = Heard().hear(lasting(bar), 1.001 * 10.0 ** (bar.deep / 10.0)).scores
    assert scores[-1] >= 1.0 > max(scores[:-1])


@given(st.floats(0.05, 0.9))
def test_a_slighter_one_never_does(part: float):
    """Less than is asked for the longest time is no alarm, however long it lasts; its score says how near."""
    heard = Heard().hear(3 * LONGEST, part * SLIGHT)
    assert heard.found.score == pytest.approx(part, rel=1e-3)


@pytest.mark.parametrize(("low", "high"), [(1.0, 0.0), (0.0, 1.0), (1.0, -1.0)])
def test_one_order_alone_is_none(low: float, high: float):
    """A tone that happens to beat at one of the two orders tells of no bit."""
    assert max(Heard().hear(10.0, low, high).scores) == 0.0


def test_what_is_mostly_out_of_step_is_none():
    """Where less than a third is in step it is another machine's, however deep; a little more counts."""
    strange, own = (Heard().hear(5.0, 0.1, share=BARS[-1].share * by) for by in (0.98, 1.02))
    assert strange.found.contrary
    assert max(strange.scores) == 0.0
    assert not own.found.contrary
    assert own.found.score > 1.0


@pytest.mark.parametrize("bar", BARS)
@pytest.mark.parametrize(("times", "alarms"), [(0.9, True), (1.1, False)])
def test_what_usually_swells_as_much_out_of_step_is_chance(bar: Bar, times: float, alarms: bool):
    """Where both orders always swell, a moment in step says less; of some seconds a third is enough."""
    deep = 1.5 * 10.0 ** (bar.deep / 10.0)
    usual = times * deep / bar.usual
    heard = Heard().hear(60.0, 1e-6 * usual, share=1e-6).hear(lasting(bar), deep)
    assert (max(heard.scores) >= 1.0) is alarms


def test_a_swell_that_lasts_does_not_become_usual():
    """However long it lasts its score does not fade."""
    heard = Heard().hear(10.0, 0.01 * SLIGHT).hear(LONGEST, 1.5 * SLIGHT)
    assert heard.hear(300.0, 1.5 * SLIGHT).scores[-1] == pytest.approx(1.5, rel=1e-3)


def test_too_little_was_heard_to_speak_against_it():
    """Nothing is contrary before the shortest time has passed, and nothing after a new beginning."""
    heard = Heard().hear(lasting(BARS[0]) - 2 * SECONDS, 0.1, share=0.1)
    assert not heard.found.contrary
    assert heard.hear(1.0, 0.1, share=0.1).found.contrary
    heard.found.begin()
    assert not heard.found.contrary
    assert heard.found.score == 0.0


def test_a_pause_begins_anew():
    """What was heard before a long pause does not add to what comes after, and a short one takes nothing."""
    half = LONGEST / 2 + SECONDS
    whole, broken = Heard().hear(half, 1.01 * SLIGHT), Heard().hear(half, 1.01 * SLIGHT)
    whole.at += _PAUSE - 2 * SECONDS
    broken.at += _PAUSE + SECONDS
    assert whole.hear(half, 1.01 * SLIGHT).found.score > 1.0
    assert max(broken.hear(half, 1.01 * SLIGHT).scores) < 1.0


@given(st.floats(0.5, 20.0))
def test_more_is_needed_where_more_is_normal(more: float):
    """A bit that swells so many times as much as others is asked for so many times as much."""
    usual, swelling = Heard().hear(5.0, 0.01), Heard().hear(5.0, 0.01 * more, more=more)
    assert swelling.found.score == pytest.approx(usual.found.score, rel=1e-4)
    assert swelling.found.rise == pytest.approx(usual.found.rise, abs=1e-3)


@given(st.floats(1.0, 12.0), st.floats(0.6, 3.0))
def test_since_when(before: float, lasts: float):
    """Since when it swells is the first row that does; the row before was still good."""
    heard = Heard().hear(before, 0.0)
    good = heard.at
    heard.hear(lasts, 0.5)
    assert heard.found.since == pytest.approx((good + SECONDS, good))


def test_rise_is_above_what_counts_as_none():
    """A swell of a tenth, squared .01, is -20 dB: 10 dB above -30 dB, which is as good as none."""
    assert Heard().hear(5.0, 0.01).found.rise == pytest.approx(10.0 * math.log10(0.01) + 30.0, abs=1e-3)
    assert Heard().hear(5.0, 0.0).found.rise == 0.0
