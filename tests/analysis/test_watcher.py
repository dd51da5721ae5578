"""Rows in, events out: when it alarms, when it must not, and that it never learns a fault."""

import copy
import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.baseline import CHANNELS, Sample
from analysis.events import Alarm, Deaf, Event, Heard, StateChange
from analysis.health import Health
from analysis.presence import Phase
from analysis.watcher import LIKE, Context, Moment, Settings, Watcher

SECONDS = 0.05
LINES, BANDS = 12, 10
TOLD = Context(told=True)
SLIP = {"spindle": 20.0, "between": 20.0, "half": 12.0}
NORMAL = Sample(
    plain=np.array([-10.0, -8.0, -15.0, -12.0, -20.0]),
    lines=np.linspace(-30.0, -52.0, LINES),
    floors=np.full(LINES, -75.0),
    colour=np.linspace(-30.0, -50.0, BANDS),
    teeth=-25.0,
    speed=300.0,
)


class Cut:
    """Feeds a watcher with rows that scatter as AR(1) values do, and keeps what it said."""

    def __init__(
        self, *, seconds: float = SECONDS, correlation: float = 0.5, scatter: float = 1.0, **wanted: float
    ) -> None:
        self.watcher = Watcher(seconds, correlation, Settings(**wanted))
        self.health = Health(seconds)
        self.events: list[Event] = []
        self.scores: list[float] = []
        self.at = 0.0
        self._row, self._seconds = 0, seconds
        self._correlation, self._scatter = correlation, scatter
        self._chance = np.random.default_rng(1)
        self._value = np.zeros(5 + LINES + BANDS)

    def hear(
        self,
        lasting: float,
        *,
        phase: Phase = Phase.CUT,
        context: Context = TOLD,
        trouble: str = "",
        **moved: float,
    ) -> "Cut":
        """Let some seconds pass in which channels have moved by so many dB."""
        for _ in range(round(lasting / self._seconds)):
            sample = self._sample(moved)
            self._row += 1
            self.at = self._row * self._seconds
            self.health.row(trouble)
            moment = Moment(self.at, self.at - self._seconds, sample, phase, context)
            self.events += self.watcher.row(moment, self.health)
            self.scores.append(self.watcher.score)
        return self

    def air(self, lasting: float, **moved: float) -> "Cut":
        """Let the bit turn in the air."""
        return self.hear(lasting, phase=Phase.AIR, **moved)

    def copy(self) -> "Cut":
        """Go on from here in another way, too."""
        return copy.deepcopy(self)

    def _sample(self, moved: dict[str, float]) -> Sample:
        fresh = self._chance.standard_normal(len(self._value))
        self._value = self._correlation * self._value + math.sqrt(1 - self._correlation**2) * fresh
        value = self._scatter * self._value
        plain = np.array([moved.get(name, 0.0) for name in CHANNELS[:5]])
        return dataclasses.replace(
            NORMAL,
            plain=NORMAL.plain + value[:5] + plain,
            lines=NORMAL.lines + value[5 : 5 + LINES],
            colour=NORMAL.colour + value[5 + LINES :],
            teeth=NORMAL.teeth + moved.get("teeth", 0.0),
        )

    @property
    def alarms(self) -> list[Alarm]:
        """The alarms so far."""
        return [event for event in self.events if isinstance(event, Alarm)]

    @property
    def states(self) -> list[str]:
        """The states so far, in turn."""
        return [event.state for event in self.events if isinstance(event, StateChange)]


LEARNED = Cut().hear(6.0)


# States


def test_settle_learn_listen():
    """A spindle that is off, in the air, then cuts: settle, learn, listen, each said once with a reason."""
    cut = Cut().hear(1.0, phase=Phase.OFF).air(2.0).hear(6.0)
    assert cut.states == ["settle", "learn", "listen"]
    assert all(event.because for event in cut.events)
    assert "18000 rpm" in cut.events[-1].because
    assert cut.watcher.learned == {0}


@pytest.mark.parametrize(("seconds", "learn"), [(0.02, 2.0), (0.05, 3.0), (0.125, 6.0)])
def test_learning_takes_the_seconds_that_the_user_wants(seconds: float, learn: float):
    """A baseline is there after the seconds of cutting that the user wants, give or take the first rows."""
    cut = Cut(seconds=seconds, learn=learn).hear(10.0)
    listen = next(
        event.at for event in cut.events if isinstance(event, StateChange) and event.state == "listen"
    )
    assert learn <= listen <= max(learn, 20 * seconds) + 7 * seconds


def test_pauses_do_not_count_as_learning():
    """Air between short cuts is no part of what is learned."""
    cut = Cut()
    for _ in range(20):
        cut.hear(0.5).air(2.0, spindle=30.0, half=30.0)
    known = cut.watcher.baselines[0, "cut"]
    np.testing.assert_allclose(known.centre[:5], NORMAL.plain, atol=1.0)


def test_an_unsteady_cut_is_not_learned():
    """As long as the level scatters like no cut, it says why it does not listen."""
    cut = Cut(scatter=25.0).hear(20.0)
    assert cut.watcher.baselines == {}
    assert cut.states[-1] == cut.watcher.state == "learn"
    cut.hear(1.0, phase=Phase.OFF).hear(1.0)
    assert "not fit for a baseline" in cut.events[-1].because
    assert "dB" in cut.events[-1].because


# No false alarms


@pytest.mark.parametrize(("correlation", "scatter"), [(0.0, 2.5), (0.5, 1.0)])
def test_a_good_cut_never_alarms(correlation: float, scatter: float):
    """Two minutes of a cut that stays as it was are no alarm, whether rows resemble one another or not."""
    cut = Cut(correlation=correlation, scatter=scatter).hear(120.0)
    assert cut.states == ["learn", "listen"]


@pytest.mark.slow
@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.8])
@pytest.mark.parametrize("told", [True, False])
def test_a_good_cut_never_alarms_for_two_hours(correlation: float, told: bool):
    """Neither are two hours."""
    cut = Cut(correlation=correlation, scatter=2.0)
    assert cut.hear(7200.0, context=Context(told=told)).alarms == []


@settings(max_examples=25, deadline=None)
@given(
    rows=st.integers(1, 5),
    moved=st.dictionaries(st.sampled_from(CHANNELS[:5]), st.floats(-60, 60), min_size=1),
)
def test_what_is_too_short_never_alarms(rows: int, moved: dict[str, float]):
    """A change shorter than the user's shortest, 0.3 s, is no alarm, however large and wherever it is."""
    cut = LEARNED.copy().hear(rows * SECONDS, **moved).hear(3.0)
    assert cut.alarms == []


def test_a_bang_is_no_alarm():
    """Half a second far louder than the cut, with every line in it, is a door and not the bit."""
    cut = LEARNED.copy()
    for _ in range(5):
        cut.hear(0.5, level=25.0, spindle=30.0, between=30.0, half=30.0).hear(2.0)
    assert cut.alarms == []


def test_the_air_is_not_compared():
    """What is heard in the air is no fault, however it sounds, and for however long."""
    cut = LEARNED.copy()
    for _ in range(10):
        cut.air(5.0, **SLIP).hear(0.5)
    assert cut.alarms == []


def test_the_ends_of_a_cut_are_not_compared():
    """The first and last rows of a cut hold air as well: what they tell adds up to nothing."""
    cut = LEARNED.copy()
    for _ in range(30):
        cut.air(0.5).hear(2 * SECONDS, **SLIP).hear(1.0).hear(2 * SECONDS, **SLIP)
    assert cut.alarms == []
    assert max(cut.scores) < 0.5


def test_a_far_lighter_cut_is_not_compared():
    """Teeth 30 dB below the baseline's are of a cut too light to be compared with it."""
    assert LEARNED.copy().hear(5.0, teeth=-30.0, **SLIP).alarms == []


def test_where_nothing_is_cut_there_is_no_fault():
    """Where the program says that nothing is being cut, loud air is not compared."""
    assert LEARNED.copy().hear(5.0, context=Context(told=True, cuts=False), **SLIP).alarms == []


def test_a_covered_cut_is_said():
    """Where another sound covers the cut's swell nothing is compared, and that is said, not kept quiet."""
    cut = LEARNED.copy().hear(10.0, modulation=-15.0, **SLIP)
    assert cut.alarms == []
    assert cut.states[-1] == "settle"
    assert "covers the cut" in cut.events[-1].because
    assert cut.hear(3.0).states[-1] == "listen"


# Alarms


@pytest.mark.parametrize(("seconds", "shortest"), [(0.02, 0.3), (0.05, 0.3), (0.05, 1.0), (0.125, 0.3)])
@pytest.mark.parametrize(("moved", "times"), [({"spindle": 60.0, "half": 60.0}, 1), ({"between": 60.0}, 2)])
def test_a_large_change_alarms_in_the_shortest_time(
    seconds: float, shortest: float, moved: dict[str, float], times: int
):
    """Two signs alarm after the user's shortest time, one sign after twice that; neither sooner."""
    cut = Cut(seconds=seconds, shortest=shortest).hear(6.0)
    step = cut.at
    cut.hear(5.0, **moved)
    due = times * max(shortest, 3 * seconds)
    assert due - seconds < cut.alarms[0].at - step <= due + 2 * seconds


@settings(max_examples=8, deadline=None)
@given(channel=st.sampled_from(["spindle", "between", "half"]), beyond=st.floats(0.5, 4.0))
def test_a_step_alarms_when_its_sum_says_so(channel: str, beyond: float):
    """
    In rows that do not scatter a step of k dB alarms after n = 2 h / (k - r) rows, as a CUSUM does.

    h is the threshold in deviations (here 1 dB), r what a channel may move; one sign needs 2 h.
    """
    cut = Cut(scatter=0.0, correlation=0.0).hear(6.0)
    step, known = cut.at, cut.watcher.baselines[0, "cut"]
    reference = LIKE[CHANNELS.index(channel)] + 2.0 * known.error(0.0)[0]
    cut.hear(6.0, **{channel: reference + beyond})
    alarm = cut.alarms[0]
    rows = max(math.ceil(2 * alarm.threshold / beyond - 1e-9), 2 * 6)
    assert round((alarm.at - step) / SECONDS) == pytest.approx(rows, abs=1)
    assert alarm.score >= 2 * alarm.threshold * (1 - 1e-9)


def test_a_small_change_is_never_certain():
    """A move that a channel may make by itself, however long it lasts, is no alarm."""
    for channel, most in zip(CHANNELS[:5], LIKE, strict=False):
        assert LEARNED.copy().hear(15.0, **{channel: 0.6 * most}).alarms == [], channel


def test_the_larger_the_sooner():
    """Of the same signs the larger is not heard later, and more signs are not heard later than fewer."""
    delays = []
    for by in (6.0, 9.0, 30.0):
        one = LEARNED.copy().hear(10.0, spindle=by).alarms[0].at
        two = LEARNED.copy().hear(10.0, spindle=by, half=by).alarms[0].at
        assert two <= one
        delays.append(one)
    assert delays == sorted(delays, reverse=True)


@pytest.mark.parametrize("by", [6.0, 10.0, 40.0])
def test_the_onset_is_when_it_began(by: float):
    """The onset lies by the step, not by the moment at which it was certain."""
    cut = LEARNED.copy()
    step = cut.at
    alarm = cut.hear(20.0, spindle=by, half=by).alarms[0]
    assert alarm.onset == pytest.approx(step, abs=0.3)
    assert alarm.onset < alarm.at


def test_a_growing_change_is_uneasy_first():
    """A change that builds slowly is said to build before it is certain."""
    cut = LEARNED.copy().hear(20.0, spindle=5.0)
    assert cut.states == ["learn", "listen", "uneasy", "alarm"]


def test_an_alarm_explains_itself():
    """State and alarm come together, the alarm with cause, evidence, score and threshold."""
    cut = LEARNED.copy().hear(3.0, **SLIP)
    state, alarm = cut.events[-2:]
    assert isinstance(state, StateChange)
    assert isinstance(alarm, Alarm)
    assert (state.at, state.state, state.because) == (alarm.at, "alarm", alarm.because[0])
    assert alarm.cause == "loose"
    assert any(sentence.startswith("the spindle line rose") for sentence in alarm.because)
    assert alarm.score >= alarm.threshold > 0
    assert (alarm.line, alarm.resume) == (None, None)


# While an alarm lasts, and after it


def test_one_fault_is_one_alarm():
    """As long as a fault lasts, a minute here, there is one alarm, and the state stays alarm."""
    cut = LEARNED.copy().hear(60.0, **SLIP)
    assert len(cut.alarms) == 1
    assert cut.states[-1] == cut.watcher.state == "alarm"


def test_a_fault_that_comes_and_goes_is_one_alarm():
    """A fault in every other second is one event."""
    cut = LEARNED.copy()
    for _ in range(30):
        cut.hear(1.0, **SLIP).hear(1.0)
    assert len(cut.alarms) == 1


@pytest.mark.parametrize("forget", [2.0, 10.0])
def test_an_alarm_ends_when_the_sound_is_good_again(forget: float):
    """The alarm is over after the user's seconds of good sound, and not before; the next fault is heard."""
    cut = Cut(forget=forget).hear(6.0).hear(10.0, **SLIP)
    good = cut.at
    cut.hear(forget + 10.0)
    over = next(event.at for event in reversed(cut.events) if isinstance(event, StateChange))
    assert cut.watcher.state == "listen"
    assert forget < over - good < forget + 5.0
    assert len(cut.hear(3.0, **SLIP).alarms) == 2


def test_air_does_not_end_an_alarm():
    """A minute in the air tells nothing of the bit: the alarm stands."""
    cut = LEARNED.copy().hear(3.0, **SLIP).air(60.0)
    assert cut.watcher.state == "alarm"
    assert len(cut.hear(3.0, **SLIP).alarms) == 1


def test_the_baseline_is_frozen():
    """Neither good cutting nor a fault changes what was learned: it does not get used to anything."""
    cut = LEARNED.copy()
    known = cut.watcher.baselines[0, "cut"]
    before = known.centre.tobytes() + known.scale.tobytes() + known.normal.lines.tobytes()
    for tenth in range(100):
        cut.hear(0.5, spindle=0.3 * tenth)
    assert cut.watcher.baselines[0, "cut"] is known
    assert known.centre.tobytes() + known.scale.tobytes() + known.normal.lines.tobytes() == before
    assert len(cut.alarms) == 1


def test_no_kind_of_cut_is_learned_from_a_fault():
    """While an alarm stands, another kind of cut is not learned: its sound is the fault's."""
    cut = LEARNED.copy().hear(3.0, **SLIP)
    cut.hear(20.0, context=Context(kind="slot", told=True), **SLIP)
    assert list(cut.watcher.baselines) == [(0, "cut")]


def test_each_kind_of_cut_is_compared_with_itself():
    """A second kind of cut, somewhat different, is learned beside the first, and each is heard by its own."""
    slot = Context(kind="slot", told=True)
    cut = LEARNED.copy()
    for _ in range(4):
        cut.hear(2.0, context=slot, spindle=4.0).hear(2.0)
    assert cut.alarms == []
    assert set(cut.watcher.baselines) == {(0, "cut"), (0, "slot")}
    difference = cut.watcher.baselines[0, "slot"].centre[0] - cut.watcher.baselines[0, "cut"].centre[0]
    assert difference == pytest.approx(4.0, abs=1.0)


# Bits


def test_a_bit_change_begins_anew():
    """Another bit ends the alarm, is learned by itself, and has a baseline of its own."""
    other = Context(bit=2, told=True)
    cut = LEARNED.copy().hear(3.0, **SLIP).hear(1.0, phase=Phase.OFF, context=other)
    assert cut.watcher.state == "settle"
    cut.hear(6.0, context=other, spindle=15.0)
    assert len(cut.alarms) == 1
    assert cut.watcher.learned == {0, 2}
    assert cut.states[-2:] == ["learn", "listen"]


def test_a_bit_that_comes_back_is_known():
    """A bit that was used before is compared at once with what was learned of it then."""
    other = Context(bit=2, told=True)
    cut = LEARNED.copy().hear(6.0, context=other, spindle=15.0)
    known = cut.watcher.baselines[0, "cut"]
    cut.hear(1.0)
    assert cut.states[-1] == "listen"
    assert cut.watcher.baselines[0, "cut"] is known
    assert len(cut.hear(2.0, **SLIP).alarms) == 1


def test_what_was_not_the_cut_is_forgotten():
    """When it turns out that something else had been learned, it is dropped and the cut is learned."""
    cut = LEARNED.copy()
    cut.watcher.forget(0)
    assert cut.watcher.learned == frozenset()
    assert cut.hear(6.0, spindle=15.0).alarms == []
    assert cut.states[-2:] == ["learn", "listen"]


# Deaf


def test_deaf_is_said_and_suspends():
    """While nothing usable is heard nothing alarms and nothing ends; afterwards it goes on as before."""
    cut = LEARNED.copy().hear(10.0, trouble="zeros", **SLIP)
    assert cut.alarms == []
    assert cut.watcher.state == "deaf"
    assert [event.because for event in cut.events if isinstance(event, Deaf)] == ["zeros"]
    cut.hear(2.0)
    assert sum(isinstance(event, Heard) for event in cut.events) == 1
    assert cut.states[-2:] == ["deaf", "listen"]
    assert len(cut.hear(2.0, **SLIP).alarms) == 1


def test_being_deaf_does_not_end_an_alarm():
    """An alarm still stands when hearing comes back."""
    cut = LEARNED.copy().hear(3.0, **SLIP).hear(30.0, trouble="zeros").hear(1.0, **SLIP)
    assert cut.states[-2:] == ["deaf", "alarm"]
    assert len(cut.alarms) == 1


def test_rows_that_cannot_be_heard_are_not_learned():
    """A row with trouble, even one alone, is no part of the baseline."""
    cut = Cut()
    for _ in range(8):
        cut.hear(1.0).hear(SECONDS, trouble="a click", spindle=60.0, half=60.0)
    known = cut.watcher.baselines[0, "cut"]
    assert known.centre[0] == pytest.approx(NORMAL.plain[0], abs=1.0)
    assert known.scale[0] < 2.0


def test_a_source_that_is_gone_is_deaf_at_once():
    """When the source itself says that nothing arrives, deaf is said once."""
    cut = LEARNED.copy()
    cut.health.lost("unplugged")
    said = cut.watcher.silence(cut.at, cut.health)
    assert [type(event) for event in said] == [Deaf, StateChange]
    assert cut.watcher.state == "deaf"
    cut.health.lost("unplugged")
    assert cut.watcher.silence(cut.at, cut.health) == []


# Always


STRETCHES = st.tuples(
    st.floats(0.05, 4.0),
    st.sampled_from(Phase),
    st.integers(0, 1),
    st.sampled_from(["cut", "slot"]),
    st.booleans(),
    st.sampled_from(["", "", "", "zeros"]),
    st.dictionaries(st.sampled_from([*CHANNELS[:5], "teeth"]), st.floats(-40, 40), max_size=3),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(STRETCHES, min_size=1, max_size=12))
def test_whatever_happens(stretches: list[tuple[float, Phase, int, str, bool, str, dict[str, float]]]):
    """
    Whatever is heard, the events make sense.

    They are in order; no state is said twice running; an alarm comes with its state, after its onset, and
    not twice without another state between; deaf and heard take turns; the score is a number.
    """
    cut = LEARNED.copy()
    for lasting, phase, bit, kind, told, trouble, moved in stretches:
        context = Context(bit, kind, told=told)
        cut.hear(lasting, phase=phase, context=context, trouble=trouble, **moved)
    times = [event.at for event in cut.events]
    assert times == sorted(times)
    assert all(before != after for before, after in itertools.pairwise(cut.states))
    assert all(alarm.onset <= alarm.at for alarm in cut.alarms)
    assert len(cut.alarms) <= cut.states.count("alarm")
    turns = [type(event) for event in cut.events if isinstance(event, (Deaf, Heard))]
    assert turns == [Deaf, Heard] * (len(turns) // 2) + [Deaf] * (len(turns) % 2)
    assert np.isfinite(cut.scores).all()
    assert min(cut.scores) >= 0.0
