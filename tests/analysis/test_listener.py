"""From samples to events: the same to the last bit whatever the blocks, and every trouble is said."""

import copy
import functools
import itertools
import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from hand_made import biting, comb, cutter, in_blocks, white
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import lfilter

from analysis.cut import LOST, Context, Moment
from analysis.cutting import Bit
from analysis.events import Alarm, Checked, Deaf, Event, Heard, ResumeLine, StateChange, Summary
from analysis.health import Health
from analysis.listener import COLUMNS, Listener, ear_for
from analysis.locate import Nowhere, Plan
from analysis.place import SoundLocator
from analysis.presence import Phase
from analysis.program import read
from analysis.since_alarm import STOOD
from analysis.watcher import Watcher
from analysis.which_bit import Fit
from recordings_synthetic import Slip, Straight, steady

RATE = 8000
BIT = Bit("straight", 6.0, 2, 18_000.0)
TIGHT = cutter(2, 0.05, 12)
LOOSE = cutter(2, 0.8, 12) | {0.5: 0.3, 1.5: 0.3, 2.5: 0.2, 3.5: 0.2}


def machine(seconds: float, lines: dict[float, float], gain: float, seed: int) -> NDArray[np.float32]:
    """A spindle with its lines, and a hiss."""
    return gain * comb(seconds, RATE, 301.0, lines, seed) + white(seconds, RATE, 0.4 * gain, seed)


CUT = machine(7.0, TIGHT, 0.06, seed=2)
PARTS = {
    "quiet": white(1.0, RATE, 3e-4, seed=9),
    "air": machine(3.0, TIGHT, 0.004, seed=1),
    "cut": CUT,
    "slip": machine(2.0, LOOSE, 0.06, seed=3),
    "zeros": np.zeros(RATE, dtype=np.float32),
    "again": CUT[: 2 * RATE],
    "clipped": np.clip(40 * CUT[:RATE], -1, 1),
    "once more": CUT[RATE : 3 * RATE],
    "not a number": np.where(np.arange(RATE) % 500 == 0, np.float32(np.nan), CUT[:RATE]),
    "good": CUT[:RATE],
}
STORY = np.concatenate(list(PARTS.values())).astype(np.float32)
ENDS = dict(zip(PARTS, itertools.accumulate(len(part) / RATE for part in PARTS.values()), strict=True))


class Changing(Nowhere):
    """A place that knows one thing: when the bit is changed."""

    def __init__(self, at: float) -> None:
        self.context = Context(1)
        self._change = at

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """Change the bit when it is time."""
        del phase, level, bits
        self.context = Context(1 if at < self._change else 2)


class Asking(Nowhere):
    """A place that knows how fast the bit is to turn: at one speed, then perhaps, then surely at another."""

    def __init__(self, first: float, second: float, unsure: float, sure: float) -> None:
        self._speeds, self._from = (first, second), (unsure, sure)
        self.context = Context(1, asked=(first, first))

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """Ask for the other speed when it is time."""
        del phase, level, bits
        first, second = self._speeds
        asked = (first, first) if at < self._from[0] else (min(first, second), max(first, second))
        self.context = Context(1, asked=asked if at < self._from[1] else (second, second))


class Knowing(Nowhere):
    """A place that knows how likely it is that the bit is in the wood, and notes the levels it is told."""

    def __init__(self, cutting: float) -> None:
        self.cutting = cutting
        self.levels: list[float] = []

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """Note the level."""
        del at, phase, bits
        self.levels.append(level)


def listener(*bits: Bit, locator: Nowhere | None = None) -> Listener:
    """A listener to the bits: the first serves where none is told."""
    return Listener(RATE, dict(enumerate(bits or (BIT,))), locator or Nowhere())


def everything(ear: Listener, blocks: list[NDArray[np.float32]]) -> tuple[list[Event], bytes, bytes, Summary]:
    """Events, times, table and summary of a sound that comes in blocks."""
    steps = [ear.hear(block) for block in blocks]
    events = [event for step in steps for event in step.events]
    at, table = (b"".join(getattr(step, name).tobytes() for step in steps) for name in ("at", "table"))
    return events, at, table, ear.end()


def told(sound: NDArray[np.float32], ear: Listener | None = None) -> list[Event]:
    """What is said of a sound."""
    return list((ear or listener()).hear(sound).events)


# The same whatever the blocks


@pytest.fixture(scope="module")
def whole() -> tuple[list[Event], bytes, bytes, Summary]:
    """What is said of the story when it comes as one block."""
    return everything(listener(), [STORY])


def changing() -> Listener:
    """A listener whose second bit is another one."""
    return listener(BIT, BIT, Bit("three flutes", 8.0, 3, 17_000.0), locator=Changing(9.0))


@functools.cache
def whole_changing() -> tuple[list[Event], bytes, bytes, Summary]:
    """What is said of the story when it comes as one block and another bit is in the spindle from 9 s on."""
    return everything(changing(), [STORY])


@settings(max_examples=3, deadline=None)
@given(sizes=st.lists(st.one_of(st.integers(1, 50), st.integers(1, 100_000)), min_size=8, max_size=40))
def test_live_and_replay_decide_alike(sizes: list[int]):
    """Whatever the sizes of the blocks, and with a bit change amid them, all is as it is for one block."""
    assert everything(changing(), in_blocks(STORY, sizes)) == whole_changing()


@pytest.mark.parametrize("size", [397, 4096, 100_000])
def test_equal_blocks_decide_alike(whole, size: int):
    """So they are for blocks of one size, about a window's or far from it."""
    assert everything(listener(), in_blocks(STORY, [size])) == whole


@pytest.mark.slow
def test_sample_by_sample(whole):
    """So they are for single samples."""
    assert everything(listener(), in_blocks(STORY, [1])) == whole


@pytest.mark.slow
@pytest.mark.parametrize("size", [480, 1001, 48_000])
def test_a_simulated_slip_is_heard_alike(size: int):
    """A simulated (invented) cut with a slip gives one block's events in blocks of any size."""
    cut = Straight(seconds=12.0)
    sound = steady(BIT, seed=1, rate=RATE, cut=cut, fault=Slip(at=10.0)).samples
    expected = everything(listener(), [sound])
    assert any(isinstance(event, Alarm) for event in expected[0])
    assert everything(listener(), in_blocks(sound, [size])) == expected


# The story


def test_the_story_is_told(whole):
    """Settle, learn, listen, one alarm in the slip; deaf to zeros, clipping and what is no number; listen."""
    events, *_ = whole
    states = [event.state for event in events if isinstance(event, StateChange)]
    changes = [name for name, _ in itertools.groupby(state for state in states if state != "uneasy")]
    assert changes[:4] == ["settle", "learn", "listen", "alarm"]
    alarms = [event for event in events if isinstance(event, Alarm)]
    assert len(alarms) == 1
    assert ENDS["cut"] - 0.2 < alarms[0].onset <= alarms[0].at < ENDS["slip"]
    assert alarms[0].cause == "loose"


def test_every_trouble_of_the_story_is_said(whole):
    """Each stretch that cannot be heard is said within 2 s, with its reason; so is hearing again."""
    events, *_ = whole
    deaf = [event for event in events if isinstance(event, Deaf)]
    starts = [ENDS["slip"], ENDS["again"], ENDS["once more"]]
    for start, word in zip(starts, ["same", "clips", "finite"], strict=True):
        assert any(start < event.at <= start + 2.0 and word in event.because for event in deaf)
    heard = [event.at for event in events if isinstance(event, Heard)]
    assert ENDS["zeros"] < heard[0] < ENDS["zeros"] + 2.0
    assert len(deaf) == len(heard) == 3


def test_times_count_samples(whole):
    """Events come in order, and every one at the end of a row; row i is complete at (i hop + size) / rate."""
    events, at, *_ = whole
    ear = ear_for(RATE, BIT, 800)
    times = np.frombuffer(at)
    expected = (np.arange(len(times)) * ear.hop + 800) / RATE
    assert times.tolist() == expected.tolist()
    assert [event.at for event in events] == sorted(event.at for event in events)
    assert {event.at for event in events} <= set(expected.tolist())


def test_the_summary_adds_up(whole):
    """Alarms are those that were said; what was cut was heard, what was not usable was not."""
    events, _, _, summary = whole
    assert summary.at == len(STORY) / RATE
    assert summary.alarms == sum(isinstance(event, Alarm) for event in events)
    assert 0 < summary.compared_s < summary.cut_s < summary.heard_s < summary.at
    lost = sum(len(PARTS[name]) for name in ("zeros", "clipped", "not a number")) / RATE
    assert summary.heard_s == pytest.approx(summary.at - lost, abs=2.0)


def test_no_number_that_is_none_reaches_a_decision(whole):
    """Of the table only a peak may be no number, where a sample was none; scores never are."""
    table = np.frombuffer(whole[2], dtype=np.float32).reshape(-1, len(COLUMNS))
    finite = np.isfinite(table)
    assert np.flatnonzero(~finite.all(axis=0)).tolist() == [COLUMNS.index("peak")]
    score = table[:, COLUMNS.index("score")]
    assert (score >= 0).all()
    assert score.max() >= 1.0
    assert set(table[:, COLUMNS.index("phase")].tolist()) == {0.0, 1.0, 2.0}


# Single behaviours


@pytest.mark.parametrize("value", [np.nan, np.inf, 1e30])
def test_a_bad_beginning_is_survived(value: float):
    """A driver that begins with rubbish is called deaf, and what follows is learned as if it had not been."""
    rubbish = np.full(2 * RATE, value, dtype=np.float32)
    events = told(np.concatenate([rubbish, STORY[: 11 * RATE]]))
    assert isinstance(events[1], Deaf)
    assert events[1].at <= 2.0
    assert "listen" in [event.state for event in events if isinstance(event, StateChange)]


@pytest.mark.parametrize(("rpm", "tells"), [(18_000.0, True), (1500.0, False)])
def test_every_second_turn_is_told_only_where_a_window_holds_enough_turns(rpm: float, tells: bool):
    """Half a second of a shaft that turns 25 times a second tells a rhythm of two turns from nothing slow."""
    heard: list[bool] = []

    class Hears(Watcher):
        def row(self, moment: Moment, health: Health) -> list[Event]:
            heard.append(moment.besides.steps is not None)
            return super().row(moment, health)

    sound = 0.06 * comb(4.0, RATE, rpm / 60.0, TIGHT, 2) + white(4.0, RATE, 0.02, 2)
    Listener(RATE, {0: Bit("straight", 6.0, 2, rpm)}, Nowhere(), watcher=Hears).hear(sound)
    assert set(heard) == {tells}


def test_a_knock_alone_is_no_alarm():
    """A knock of 50 ms, louder than all else, in the middle of a cut alarms nobody."""
    sound = STORY[: round(ENDS["cut"] * RATE)].copy()
    first = round((ENDS["cut"] - 1.5) * RATE)
    sound[first : first + RATE // 20] += white(0.05, RATE, 0.3, seed=5)
    assert not [event for event in told(np.clip(sound, -0.99, 0.99)) if isinstance(event, Alarm)]


def test_a_spindle_that_never_cuts_is_no_alarm():
    """Silence, and a spindle that starts and stops, are followed without an alarm."""
    events = told(
        np.concatenate([PARTS["quiet"], PARTS["air"], PARTS["quiet"], PARTS["air"], PARTS["quiet"]])
    )
    assert {type(event) for event in events} == {StateChange}


def test_a_lost_source_is_said_at_once():
    """When the source says that it is gone, that is said once, at the time reached; then hearing goes on."""
    ear = listener()
    ear.hear(PARTS["quiet"])
    said = ear.lost("the microphone is gone")
    assert [type(event) for event in said] == [Deaf, StateChange]
    assert {event.at for event in said} == {1.0}
    assert "the microphone is gone" in said[0].because
    assert ear.lost("the microphone is gone") == []
    assert any(isinstance(event, Heard) for event in told(PARTS["air"], ear))


def test_each_bit_is_heard_at_its_own_speed():
    """After a bit change the speed is looked for where the new bit turns, and its own baseline is learned."""
    slow = 0.06 * comb(7.0, RATE, 150.0, cutter(3, 0.05, 12), 4) + white(7.0, RATE, 0.02, seed=4)
    sound = np.concatenate([STORY[: round(ENDS["cut"] * RATE)], PARTS["quiet"], slow]).astype(np.float32)
    ear = listener(BIT, BIT, Bit("slow", 12.0, 3, 9000.0), locator=Changing(ENDS["cut"] + 0.5))
    ear.hear(sound[: round(ENDS["cut"] * RATE)])
    assert ear.speed == pytest.approx(301.0, rel=2e-3)
    events = told(sound[round(ENDS["cut"] * RATE) :], ear)
    assert ear.speed == pytest.approx(150.0, rel=2e-3)
    assert ear.watcher.learned == {1, 2}
    assert not [event for event in events if isinstance(event, Alarm)]


ONE_FLUTE = Bit("one flute", 6.0, 1, 18_000.0)
AT_TWO_SPEEDS = Bit("one flute", 6.0, 1, 18_000.0, (9000.0, 18_000.0))
EACH_TURN = {order: 1.0 / order for order in range(1, 9)}


def slower(until: float = 20.0) -> NDArray[np.float32]:
    """A tight bit of one flute that cuts at 301 Hz, and from 8 s on at half of that."""
    fast = 0.03 * comb(8.0, RATE, 301.0, EACH_TURN, 2) + 0.3 * biting(8.0, RATE, 301.0, 1, 0.9)
    slow = 0.03 * comb(until - 8.0, RATE, 150.5, EACH_TURN, 3) + 0.3 * biting(
        until - 8.0, RATE, 150.5, 1, 0.9
    )
    return np.concatenate([PARTS["air"], fast, slow]).astype(np.float32)


def test_half_the_speed_is_no_loose_bit_where_the_program_asks_for_it():
    """One that turns at half the speed has all the half orders of a loose one: it is heard at its own."""
    ear = listener(ONE_FLUTE, AT_TWO_SPEEDS, locator=Asking(18_000.0, 9000.0, 10.9, 11.2))
    events = told(slower(), ear)
    assert not [event for event in events if isinstance(event, Alarm)]
    assert ear.speed == pytest.approx(150.5, rel=2e-3)
    # Who listens for the first speed alone is alarmed.
    events = told(slower(), listener(ONE_FLUTE, ONE_FLUTE, locator=Asking(18_000.0, 9000.0, 10.9, 11.2)))
    assert [event.cause for event in events if isinstance(event, Alarm)] == ["loose"]


def test_where_the_speed_may_be_either_of_two_nothing_is_compared():
    """What is not compared is said, with the reason; the bit is neither called loose nor tight."""
    ear = listener(ONE_FLUTE, AT_TWO_SPEEDS, locator=Asking(18_000.0, 9000.0, 10.9, math.inf))
    step = ear.hear(slower())
    changes = [event for event in step.events if isinstance(event, StateChange)]
    assert (changes[-1].state, changes[-1].at) == ("settle", pytest.approx(10.9, abs=0.2))
    assert "9000 or 18000 rpm" in changes[-1].because
    assert not [event for event in step.events if isinstance(event, Alarm)]
    compared = step.table[:, COLUMNS.index("compared")] > 0
    assert compared[step.at < 10.9].any()
    assert not compared[step.at > 11.1].any()


def test_a_speed_that_does_not_change_where_the_program_asks_for_it_is_said():
    """Where a dial sets the speed, say, the bit is not judged at half of it, at which none sounds loose."""
    fast = 0.03 * comb(20.0, RATE, 301.0, EACH_TURN, 2) + 0.3 * biting(20.0, RATE, 301.0, 1, 0.9)
    sound = np.concatenate([PARTS["air"], fast]).astype(np.float32)
    ear = listener(ONE_FLUTE, AT_TWO_SPEEDS, locator=Asking(18_000.0, 9000.0, 10.9, 11.2))
    step = ear.hear(sound)
    changes = [event for event in step.events if isinstance(event, StateChange)]
    assert changes[-1].state == "settle"
    assert "9000 or 18000 rpm" in changes[-1].because
    assert not (step.table[:, COLUMNS.index("compared")] > 0)[step.at > 12.0].any()


def test_a_change_of_speed_is_heard_alike_whatever_the_blocks():
    """Another speed is listened for from the same row on, in whatever blocks the sound comes."""

    def changing_speed() -> Listener:
        return listener(ONE_FLUTE, AT_TWO_SPEEDS, locator=Asking(18_000.0, 9000.0, 10.6, 11.2))

    sound = slower(12.0)
    assert everything(changing_speed(), in_blocks(sound, [397, 9000])) == everything(
        changing_speed(), [sound]
    )


def test_a_spindle_turns_whichever_of_its_speeds_it_has():
    """Where the place is wrong, and the speed with it, the spindle is still heard to turn."""
    ear = listener(ONE_FLUTE, AT_TWO_SPEEDS, locator=Asking(9000.0, 9000.0, 0.0, 0.0))
    ear.hear(PARTS["air"])
    ear.hear(slower()[len(PARTS["air"]) : 8 * RATE])
    assert ear.phase is not Phase.OFF


def test_a_speed_that_nobody_told_is_found():
    """Without a nominal speed the spindle is looked for from 6 000 to 30 000 rpm."""
    ear = listener(Bit("any", 6.0, 2))
    ear.hear(STORY[: round(ENDS["cut"] * RATE)])
    assert ear.speed == pytest.approx(301.0, rel=5e-3)


def test_an_unknown_bit_is_heard_as_bit_0():
    """A T number that nobody described is heard as the bit that serves where none is told."""
    ear = listener(BIT, locator=Changing(2.0))
    events = told(STORY[: round(ENDS["slip"] * RATE)], ear)
    assert ear.watcher.learned == {2}
    assert [event.cause for event in events if isinstance(event, Alarm)] == ["loose"]


def phases(sound: NDArray[np.float32], locator: Nowhere) -> NDArray[np.float32]:
    """The phase of each row, as the table gives it: 0 off, 1 air, 2 cut."""
    return listener(locator=locator).hear(sound).table[:, COLUMNS.index("phase")]


def without_teeth(lines: dict[float, float]) -> dict[float, float]:
    """Lines that lie below the hiss, so that it does not swell."""
    return {order: strength for order, strength in lines.items() if order < 3.6}


SMOOTH = np.concatenate(
    [
        PARTS["quiet"],
        machine(3.0, without_teeth(TIGHT), 0.004, seed=1),
        machine(7.0, without_teeth(TIGHT), 0.06, seed=2),
        machine(2.0, without_teeth(LOOSE), 0.06, seed=3),
    ]
).astype(np.float32)
"""As the story until the slip, of a machine whose hiss never swells with the teeth of a bit."""
CALM = machine(3.0, without_teeth(TIGHT), 0.015, seed=1)
"""A spindle in the air, 12 dB quieter than the cut."""


@pytest.mark.parametrize("gain", [0.25, 0.1])
def test_a_level_that_falls_in_mid_cut_is_no_air(gain: float):
    """A microphone that was moved, or a shallower cut, is heard to cut after some seconds, by its teeth."""
    fallen = gain * np.concatenate([CUT, CUT, CALM, CALM])
    step = listener().hear(np.concatenate([PARTS["quiet"], CALM, CUT, fallen]).astype(np.float32))
    compared = step.table[:, COLUMNS.index("compared")] > 0
    assert not compared[(step.at > 12.0) & (step.at < 13.0)].any()
    assert compared[(step.at > 16.0) & (step.at < 24.9)].all()
    assert not compared[step.at > 26.0].any()


class Elsewhere(Knowing):
    """A place that follows the cut, and from some moment on says that nothing is cut."""

    def __init__(self, until: float) -> None:
        super().__init__(0.0)
        self.context = Context(1, "across", told=True)
        self._until = until

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """Be lost when it is time."""
        super().row(at, phase, level, bits)
        cuts = at < self._until
        self.cutting = 1.0 if cuts and phase is Phase.CUT else 0.1 if cuts else 0.0
        self.context = replace(self.context, cuts=cuts)


def test_a_cut_where_the_place_tells_none_is_compared():
    """Teeth for some seconds where nothing is cut: the place is another one, and any cut may be heard."""
    contexts: list[Context] = []

    class Hears(Watcher):
        def row(self, moment: Moment, health: Health) -> list[Event]:
            contexts.append(moment.context)
            return super().row(moment, health)

    sound = np.concatenate([PARTS["quiet"], CALM, CUT, CUT, CUT, PARTS["slip"]])
    step = Listener(RATE, {0: BIT}, Elsewhere(12.0), watcher=Hears).hear(sound)
    compared = step.table[:, COLUMNS.index("compared")] > 0
    assert not compared[(step.at > 12.2) & (step.at < 14.0)].any()
    assert compared[step.at > 17.0].all()
    lost = [context for context, at in zip(contexts, step.at, strict=True) if at > 17.0]
    assert {(context.kind, context.cuts, context.told) for context in lost} == {(LOST, True, False)}
    alarms = [event for event in step.events if isinstance(event, Alarm)]
    assert [alarm.cause for alarm in alarms] == ["loose"]
    assert alarms[0].onset == pytest.approx(25.0, abs=0.3)


UNTIL_SLIP = STORY[: round(ENDS["slip"] * RATE)]


@pytest.mark.parametrize(("cutting", "phase"), [(0.0, 1.0), (0.4, 1.0), (0.6, 2.0), (1.0, 2.0)])
def test_a_place_that_knows_tells_the_cut(cutting: float, phase: float):
    """Where the place knows whether the bit is in the wood that counts, not the level; a stop is heard."""
    found = phases(SMOOTH, Knowing(cutting))
    running = np.flatnonzero(phases(SMOOTH, Nowhere()) > 0)
    assert set(found[running].tolist()) == {phase}
    assert set(np.delete(found, running).tolist()) == {0.0}


def test_what_is_surely_air_is_neither_learned_nor_compared():
    """Where the place knows that nothing is cut, nothing is learned or an alarm, however loud it is."""
    told(SMOOTH, cuts := listener(locator=Knowing(1.0)))
    assert cuts.watcher.learned
    ear = listener(locator=Knowing(0.0))
    assert not [event for event in told(SMOOTH, ear) if isinstance(event, Alarm)]
    assert ear.watcher.learned == frozenset()


def test_the_place_is_told_how_loud_it_is():
    """The mean of each row's level and hiss goes to the place; of what cannot be heard there is none."""
    place = Knowing(1.0)
    table = listener(locator=place).hear(STORY).table
    levels = np.array(place.levels)
    known = np.isfinite(levels)
    assert levels.shape == (len(table),)
    heard = table[:, [COLUMNS.index("level"), COLUMNS.index("hiss")]].mean(axis=1)
    np.testing.assert_allclose(levels[known], heard[known], rtol=1e-6)
    assert known[: round(ENDS["slip"] * RATE) // 400 - 2].all()
    at = (np.arange(len(table)) * 400 + 800) / RATE
    assert not known[(at > ENDS["slip"] + 1.0) & (at < ENDS["zeros"])].any()


def without_high_bands(sound: NDArray[np.float32], seconds: float, more: float = 1.0) -> NDArray[np.float32]:
    """The same, from so many seconds on 20 dB weaker above 1 kHz, ``more`` times as strong below 500 Hz."""
    begin = round(seconds * RATE)
    spectrum = np.fft.rfft(sound[begin:])
    frequency = np.fft.rfftfreq(len(sound) - begin, 1 / RATE)
    spectrum[frequency > 1000.0] *= 0.1
    spectrum[frequency < 500.0] *= more
    return np.concatenate([sound[:begin], np.fft.irfft(spectrum, len(sound) - begin)]).astype(np.float32)


def test_another_colour_is_a_fault_of_one_steady_sound_only():
    """
    Bands that one steady sound has lost, and others that it has gained, alarm where nothing else was heard.

    Where the place knows what is cut, they do not; nor do those that it has only lost.
    """
    # A loud tooth-pass below holds the level, for what has become quieter is not compared.
    steady_sound = machine(24.0, TIGHT | {2.0: 3.0}, 0.03, seed=6)
    changed = without_high_bands(steady_sound, 14.0, more=2.0)
    alarms = [event for event in told(changed) if isinstance(event, Alarm)]
    assert len(alarms) == 1
    assert alarms[0].onset == pytest.approx(14.0, abs=0.5)
    lost = without_high_bands(steady_sound, 14.0)
    for quiet in (told(steady_sound), told(lost), told(changed, listener(locator=Knowing(1.0)))):
        assert not [event for event in quiet if isinstance(event, Alarm)]


def test_another_colour_after_the_spindle_has_stood_is_another_cut():
    """What has another colour once the spindle was stopped and started again is no fault."""
    steady_sound = machine(24.0, TIGHT | {2.0: 3.0}, 0.03, seed=6)
    begin = 14 * RATE
    changed = without_high_bands(steady_sound, 14.0)
    stopped = np.concatenate([changed[:begin], white(3.0, RATE, 3e-4, seed=9), changed[begin:]])
    assert not [event for event in told(stopped) if isinstance(event, Alarm)]


COLLECTOR = white(16.0, RATE, 0.08, seed=7)
"""Noise that is louder than the cut, and has no spindle in it."""


def test_a_collector_does_not_end_an_alarm_while_the_spindle_stands():
    """Noise as loud as the cut has none of the signs of a loose bit: it is no good sound for that."""
    ear = listener(locator=(place := Resuming()))
    told(UNTIL_SLIP, ear)
    assert ear.watcher.state == "alarm"
    told(COLLECTOR, ear)
    assert ear.watcher.state == "alarm"
    assert ear.phase is Phase.OFF
    ear.tightened()
    assert place.begun == [7]


def test_a_collector_is_no_cut_while_the_spindle_stands():
    """That nothing is heard of the spindle is said; nothing is learned of the noise, nor compared."""
    ear = listener()
    told(STORY[: round(ENDS["cut"] * RATE)], ear)
    step = ear.hear(COLLECTOR)
    said = [event for event in step.events if isinstance(event, StateChange)]
    assert [change.state for change in said] == ["settle"]
    assert said[0].because == "no spindle is heard near 18000 rpm"
    assert said[0].at - ENDS["cut"] < 6.0
    assert ear.watcher.learned == {0}


def test_the_sound_is_left_alone():
    """A block is read, not written, and may be used again by its owner."""
    block = STORY[:8000].copy()
    block.flags.writeable = False
    step = listener().hear(block)
    assert block.tobytes() == STORY[:8000].tobytes()
    assert step.table.shape == (len(step.at), len(COLUMNS))


# The spindle stands for long enough to be tightened.
STANDS = white(2.0 * STOOD, RATE, 3e-4, seed=10).astype(np.float32)


class Resuming(Nowhere):
    """A place that tells each alarm line 7 to carry on from, and notes where it is told to be."""

    def __init__(self) -> None:
        self.begun: list[int] = []
        self.marked: list[int] = []
        self.taken_back: list[str] = []

    def complete(self, event: Event) -> Event:
        """Return an alarm with its resume line."""
        return replace(event, resume=ResumeLine(7, None)) if isinstance(event, Alarm) else event

    def carries_on(self, line: int) -> None:
        """Note the line."""
        self.begun.append(line)

    def mark(self, line: int) -> None:
        """Note the line, if there is one."""
        if line == 99:
            raise ValueError("nothing moves on line 99")
        self.marked.append(line)

    def dispel(self, bit: int) -> None:
        """Note whose doubt was nothing."""
        self.taken_back.append(f"doubt of {bit}")

    def acquit(self) -> None:
        """Note that the alarm was nothing."""
        self.taken_back.append("alarm")


def test_that_it_was_nothing_takes_back_what_there_is():
    """An alarm, with any doubt of its bit, also one that is over; once the bit was tightened none."""
    ear = listener(locator=(place := Resuming()))
    assert ear.nothing() == []
    told(UNTIL_SLIP, ear)
    over, other, by_itself = (copy.deepcopy(ear) for _ in range(3))
    ear.nothing()
    assert place.taken_back == ["doubt of 0", "alarm"]
    by_itself.watcher._alarmed = False  # noqa: SLF001 - the sound has been good for long
    by_itself.nothing()
    assert by_itself.nothing() == []
    assert by_itself.locator.taken_back == ["doubt of 0", "alarm"]  # type: ignore[attr-defined]
    other.watcher._raise("stalled")  # noqa: SLF001 - of another fault nothing is said of the bit
    other.nothing()
    assert other.locator.taken_back == ["alarm"]  # type: ignore[attr-defined]
    over.tightened()
    over.watcher._checks.doubts[0] = Checked(over.at, "before", "doubtful", ("it rocks",))  # noqa: SLF001
    assert over.nothing()
    assert over.locator.taken_back == ["doubt of 0"]  # type: ignore[attr-defined]


def test_a_restart_begins_at_the_resume_line_of_the_alarm_once():
    """Whoever says twice that it was tightened has begun one restart program."""
    ear = listener(locator=(place := Resuming()))
    told(UNTIL_SLIP, ear)
    ear.tightened()
    ear.tightened()
    assert place.begun == [7]


def test_whoever_begins_elsewhere_marks_the_line_before():
    """What a person says after "tightened" is the first cut, whatever the alarm told; then it is a mark."""
    ear = listener(locator=(place := Resuming()))
    told(UNTIL_SLIP, ear)
    ear.tightened()
    ear.mark(5)
    assert (place.begun[-1], ear.carries_on) == (5, 5)
    with pytest.raises(ValueError, match="line 99"):
        ear.mark(99)
    assert (place.begun[-1], ear.carries_on) == (5, 5)
    told(CUT, ear)
    assert place.marked == [5, 5]
    ear.mark(6)
    assert (place.begun[-1], place.marked[-1]) == (5, 6)


def test_whoever_begins_with_a_line_on_which_nothing_moves_is_followed():
    """A restart may be written from any line: what comes first after it is taken for the first cut."""
    text = "G21 G90 G54\nG0 Z5 X5 Y5\nM3 S18000\nG0 X9\n(part 2)\nG1 Z-3 F300\nX50\nG0 Z5\nM30\n"
    plan = Plan.of(read(text, "job"), {0: Bit("any", 6.0, 2, 18000.0)})
    ear = listener(locator=SoundLocator(plan))  # type: ignore[arg-type]
    told(UNTIL_SLIP, ear)
    with pytest.raises(ValueError, match="nothing moves on line 5"):
        ear.mark(5)
    ear.tightened()
    ear.mark(5)
    assert ear.carries_on == 5


def test_an_alarm_that_was_nothing_leaves_no_line_to_carry_on_from():
    """Tightened later: the cut has gone on meanwhile, and begins at no old line."""
    ear = listener(locator=(place := Resuming()))
    told(UNTIL_SLIP, ear)
    ear.nothing()
    ear.tightened()
    assert place.begun == []


@pytest.mark.parametrize(
    ("since", "begun"),
    [((), []), ((STANDS,), [7]), ((STANDS, PARTS["air"]), [7]), ((STANDS, PARTS["air"], CUT), [])],
    ids=["it cuts on", "stopped", "stopped, and started in the air", "stopped, and gone on"],
)
def test_an_alarm_that_is_over_leaves_its_line_to_whoever_stops(
    since: tuple[NDArray[np.float32], ...], begun: list[int]
):
    """The sound is good again: a restart may begin once the spindle stands; what cuts on begins nowhere."""
    ear = listener(locator=(place := Resuming()))
    told(np.concatenate([UNTIL_SLIP, CUT, CUT]), ear)
    assert ear.watcher.state == "listen"
    told(np.concatenate([UNTIL_SLIP[:0], *since]), ear)
    assert not ear.watcher.alarmed
    ear.tightened()
    assert place.begun == begun


def test_an_alarm_that_is_over_leaves_no_line_to_the_next_bit():
    """Where the program has come to a bit change meanwhile it is the next bit that was tightened."""
    ear = listener(locator=(place := Resuming()))
    told(np.concatenate([UNTIL_SLIP, CUT, CUT, STANDS]), ear)
    place.context = Context(2)
    ear.tightened()
    assert place.begun == []


def test_an_empty_block_says_nothing():
    """No samples: no events, no rows, an empty table of the right width."""
    step = listener().hear(np.empty(0, dtype=np.float32))
    assert step.events == ()
    assert step.table.shape == (0, len(COLUMNS))


def test_a_stereo_block_is_refused():
    """Blocks are mono: the error says what to do."""
    with pytest.raises(ValueError, match="mix to mono first"):
        listener().hear(np.zeros((2, 100), dtype=np.float32))


@pytest.mark.parametrize("colour", [0.0, 0.9])
def test_noise_is_no_spindle_that_turns(colour: float):
    """In a minute of noise, flat or dull as a room's, a spindle is hardly ever heard; in the air it is."""
    rate = 16_000
    noise = lfilter([1.0], [1.0, -colour], white(60.0, rate, 0.003, seed=3)).astype(np.float32)
    turning = noise[: 10 * rate] + 0.02 * comb(10.0, rate, 301.0, TIGHT, 1)
    for sound, least, most in ((noise, 0.0, 0.02), (turning, 0.9, 1.0)):
        listener, turns = Listener(rate, {0: BIT}, Nowhere()), []
        for block in in_blocks(sound, [rate // 4]):
            listener.hear(block)
            turns.append(listener.phase is not Phase.OFF)
        assert least <= np.mean(turns) <= most
