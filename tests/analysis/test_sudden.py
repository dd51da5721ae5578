"""Runout that has grown within a cut: by how much, for how long, and what is none."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moments import NORMAL, SECONDS, TIGHT, Machine

from analysis.baseline import CHANNELS, TRUE_ENOUGH
from analysis.events import Alarm
from analysis.sudden import _LATELY, _LEAST, _LOUDER, _MOST, _ONE_SPEED, _OVER, _RISE, Sudden

SPINDLE, SWELL = (CHANNELS.index(name) for name in ("spindle", "modulation"))


class Heard:
    """Feeds rows whose spindle line and swell stand so many dB above what any tight bit may have."""

    def __init__(self, ever: np.ndarray = TRUE_ENOUGH) -> None:
        self.ever = ever
        self.found, self.at, self.scores = Sudden(SECONDS), 0.0, [0.0]

    def hear(self, lasting: float, spindle: float, swell: float, **how: float) -> "Heard":
        """Let some seconds pass, of a cut whose other numbers are as told."""
        plain = TRUE_ENOUGH.copy()
        plain[SPINDLE] += spindle
        plain[SWELL] += swell
        for _ in range(round(lasting / SECONDS)):
            self.at += SECONDS
            self.found.row(self.at, replace(NORMAL, plain=plain, **how), self.ever)
            self.scores.append(self.found.score)
        return self

    @property
    def alarmed_at(self) -> float | None:
        """When the score first reached 1, s."""
        return next((SECONDS * row for row, score in enumerate(self.scores) if score >= 1.0), None)


def test_a_step_alarms_within_two_seconds_and_says_when_it_began():
    """Both rise in mid-cut: it alarms before two seconds are over, and the onset is not far off."""
    heard = Heard().hear(10.0, 1.0, 1.0).hear(3.0, 6.0, 6.0)
    assert heard.alarmed_at is not None
    assert 10.0 < heard.alarmed_at <= 10.0 + _LATELY
    assert heard.found.since == pytest.approx(10.0, abs=0.6)
    assert heard.found.good <= heard.found.since
    assert heard.found.rise[[SPINDLE, SWELL]] == pytest.approx(5.0)


@given(st.floats(0.0, 0.9), st.floats(0.0, 20.0))
@settings(max_examples=20)
def test_the_lesser_of_the_two_rises_counts(lesser: float, more: float):
    """The score is how much of the needed rise the lesser of the two has; one alone is nothing."""
    for spindle, swell in ((lesser, lesser + more), (lesser + more, lesser)):
        heard = Heard().hear(10.0, 1.0, 1.0).hear(_LATELY + 0.2, 1.0 + _RISE * spindle, 1.0 + _RISE * swell)
        assert heard.found.score == pytest.approx(lesser, abs=1e-6)


def test_what_a_tight_bit_may_have_is_no_rise():
    """From nothing to as much as any tight bit has."""
    assert max(Heard().hear(10.0, -20.0, -20.0).hear(5.0, 0.0, 0.0).scores) == 0.0


@pytest.mark.parametrize(
    "how",
    [{"level": NORMAL.level + 1.1 * _LOUDER}, {"speed": NORMAL.speed * (1.0 + 1.1 * _ONE_SPEED)}],
    ids=["louder", "another speed"],
)
def test_another_cut_may_run_out_more(how: dict[str, float]):
    """What cuts far louder, or turns at another speed, is not compared with what was before."""
    assert max(Heard().hear(10.0, 1.0, 1.0).hear(5.0, 9.0, 9.0, **how).scores) == 0.0


def test_what_another_cut_of_the_bit_has_is_normal():
    """A rise to what was learned of another cut is none; one beyond it is as much as it is beyond."""
    ever = TRUE_ENOUGH + 6.0
    assert max(Heard(ever).hear(10.0, 1.0, 1.0).hear(_LATELY + 0.2, 6.0, 6.0).scores) == 0.0
    heard = Heard(ever).hear(10.0, 1.0, 1.0).hear(_LATELY + 0.2, 6.0 + _RISE, 6.0 + _RISE)
    assert heard.found.score == pytest.approx(1.0)


def test_it_needs_enough_to_compare_with():
    """After a shorter time than the least nothing is told."""
    assert max(Heard().hear(_LEAST - 1.0, 1.0, 1.0).hear(_LATELY, 9.0, 9.0).scores) == 0.0


def test_what_creeps_is_not_sudden():
    """A rise that takes longer than what is remembered stands out of nothing."""
    heard, steps = Heard().hear(10.0, 1.0, 1.0), 40
    for step in range(steps):
        heard.hear(2.0 * _MOST / steps, 1.0 + 6.0 * step / steps, 1.0 + 6.0 * step / steps)
    assert heard.alarmed_at is None


def test_it_lasts_as_long_as_the_fault_and_ends_with_it():
    """Long after it began the fault is not normal; when the sound is as before it is over."""
    heard = Heard().hear(10.0, 1.0, 1.0).hear(3.0 * _MOST, 6.0, 6.0)
    assert heard.found.score >= 1.0
    assert heard.hear(_LATELY, 1.0, 1.0).found.score < _OVER
    assert not heard.found.rise.any()


@pytest.mark.parametrize(("limit", "rise"), [(0.7, 0.8), (0.35, 0.5)])
def test_where_less_is_an_alarm_it_lasts_as_long_as_the_fault(limit: float, rise: float):
    """A bearable number of false alarms that is larger makes the watcher alarm of less; not for less long."""
    heard = Heard()
    heard.found.certain = limit
    heard.hear(12.0, 1.0, 1.0).hear(3.0 * _MOST, 1.0 + rise * _RISE, 1.0 + rise * _RISE)
    assert heard.found.score == pytest.approx(rise, abs=1e-6)
    assert heard.hear(_LATELY, 1.0, 1.0).found.score == 0.0


def test_chance_alone_does_not_alarm():
    """Rows that are half like those before, and scatter by 4 dB: twenty minutes of them come nowhere near."""
    rng, found, row = np.random.default_rng(5), Sudden(SECONDS), np.zeros(2)
    highest = 0.0
    for at, new in enumerate(rng.standard_normal((24_000, 2))):
        row = 0.5 * row + np.sqrt(0.75) * new
        plain = TRUE_ENOUGH.copy()
        plain[[SPINDLE, SWELL]] += 8.0 + 4.0 * row
        found.row(SECONDS * at, replace(NORMAL, plain=plain), TRUE_ENOUGH)
        highest = max(highest, found.score)
    assert highest == 0.0


def test_the_watcher_alarms_of_it_and_says_loose():
    """Less than is beyond all that a bit's cuts have, but in mid-cut."""
    machine = Machine(TIGHT).hear(12.0).hear(3.0, signs=_runout(4.0))
    (alarm,) = [event for event in machine.events if isinstance(event, Alarm)]
    assert alarm.cause == "loose"
    assert alarm.onset == pytest.approx(12.0, abs=0.6)
    assert any("spindle line rose" in said for said in alarm.because)


@pytest.mark.parametrize("how", [{"kind": "down"}, {"guessed": True}], ids=["straight down", "a guess"])
def test_where_the_cut_is_another_nothing_is_told(how: dict[str, object]):
    """Straight down the hiss hardly swells; at an unknown place the bit may be another one."""
    assert Machine(TIGHT).hear(12.0, **how).hear(4.0, signs=_runout(4.0), **how).alarms == []


def _runout(more: float) -> np.ndarray:
    signs = np.zeros(len(TRUE_ENOUGH))
    signs[[SPINDLE, SWELL]] = more
    return signs
