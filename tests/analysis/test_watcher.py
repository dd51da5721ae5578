"""Rows in, events out: when it alarms, when it must not, and that it never learns a fault."""

import copy
import dataclasses
import itertools
import math
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moments import TIGHT

from analysis.air import LEAST_OWN
from analysis.baseline import CHANNELS, SIGNS, TRUE_ENOUGH, Array64, Baseline, Sample
from analysis.change import budget_rows
from analysis.comparison import _QUIETER, PATHS, UNLIKE, UNTOLD
from analysis.cut import FAMILIES, LOST, MIXED, Besides, Context, Moment
from analysis.events import Alarm, Checked, Deaf, Event, Heard, StateChange
from analysis.evidence import SOUGHT, Weights
from analysis.first_seconds import LEAST_ROWS, MOST_FOREIGN, TALK_LASTS
from analysis.health import Health
from analysis.hindrance import _COVERED, _COVERED_LONG
from analysis.presence import Phase
from analysis.reference import Reference
from analysis.watcher import (
    _LEARNED_FROM,
    USUAL,
    Settings,
    Watcher,
)

SECONDS, BANDS = 0.05, 10
SIGN_NAMES = CHANNELS[:SIGNS]
TOLD = Context(told=True)
STEADY = Context(told=True, apart=False)
SLIP = dict.fromkeys(SIGN_NAMES, 20.0)
# A bit whose runout is heard: whatever its signs do counts.
NORMAL = dataclasses.replace(TIGHT, plain=TRUE_ENOUGH + 3.0)
# More foreign tones than any cut has of its own, and noise that covers this one.
TALK = {"foreign": MOST_FOREIGN + 2.0}
LOUD = dict.fromkeys(("hiss", "noise", "level"), _COVERED + 4.0)
# How far a spindle's comb stands out in a cut, dB.
COMB = 3.0
# What the hiss swells every second turn, squared: in step, and all of it.
SWELLS = (0.032, 0.038)


class Cut:
    """Feeds a watcher with rows that scatter as AR(1) values do, and keeps what it said."""

    def __init__(
        self,
        *,
        seconds: float = SECONDS,
        correlation: float = 0.5,
        scatter: float = 1.0,
        normal: Sample = NORMAL,
        settings_of: Mapping[int, Settings] = {},
        seed: int = 1,
        **wanted: float,
    ) -> None:
        self.watcher = Watcher(seconds, correlation, Settings(**wanted), settings_of=settings_of)
        self.health = Health(seconds)
        self.events: list[Event] = []
        self.scores: list[float] = []
        self.at = 0.0
        self._normal = normal
        self._row, self._seconds = 0, seconds
        self._correlation, self._scatter = correlation, scatter
        self._chance = np.random.default_rng(seed)
        self._value = np.zeros(SIGNS + BANDS + 1)

    def hear(
        self,
        lasting: float,
        *,
        phase: Phase = Phase.CUT,
        context: Context = TOLD,
        trouble: str = "",
        steps: tuple[float, float] | None = None,
        hears: bool = True,
        **moved: float,
    ) -> "Cut":
        """
        Let some seconds pass in which signs, and other numbers of the rows, have moved by so much.

        ``steps`` are the squared depths of the swell every second turn, in step and all of it.
        ``hears`` is whether comb or teeth are heard; ``faded`` takes so many dB of three bands in ten;
        ``turned`` too, and gives half of it to three more. A spindle that stands is quieter, unless said.
        """
        if phase is Phase.OFF:
            moved = {"level": -20.0, **moved}
        for _ in range(round(lasting / self._seconds)):
            sample = self._sample(moved)
            self._row += 1
            self.at = self._row * self._seconds
            self.health.row(trouble)
            both = None if steps is None else np.repeat(np.float32(steps), 2).reshape(2, 2)
            besides = Besides(steps=both, hears=hears, comb=COMB if hears else 0.0)
            moment = Moment(self.at, self.at - self._seconds, sample, phase, context, besides)
            self.events += self.watcher.row(moment, self.health)
            self.scores.append(self.watcher.score)
        return self

    def rows(self, number: int, **moved: float) -> "Cut":
        """Let some rows of the cut pass."""
        return self.hear(number * self._seconds, **moved)

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
        normal = self._normal
        bands, turned = np.arange(BANDS), moved.get("turned", 0.0)
        faded = np.where(bands < 3, moved.get("faded", 0.0) + turned, 0.0) - np.where(
            bands > 6, turned / 2, 0.0
        )
        others = ("level", "hiss", "noise", "teeth", "own", "foreign", "speed")
        changed = {name: getattr(normal, name) + moved.get(name, 0.0) for name in others}
        changed["level"] += value[-1]
        return dataclasses.replace(
            normal,
            plain=normal.plain + value[:SIGNS] + np.array([moved.get(name, 0.0) for name in SIGN_NAMES]),
            colour=normal.colour + value[SIGNS:-1] - faded,
            **changed,
        )

    @property
    def alarms(self) -> list[Alarm]:
        """The alarms so far."""
        return [event for event in self.events if isinstance(event, Alarm)]

    @property
    def states(self) -> list[str]:
        """The states so far, in turn."""
        return [event.state for event in self.events if isinstance(event, StateChange)]

    @property
    def turns(self) -> list[str]:
        """The states so far without the uneasy moments that chance brings."""
        return [state for state, _ in itertools.groupby(s for s in self.states if s != "uneasy")]

    @property
    def known(self) -> Baseline:
        """What was learned of the first bit's cuts, when nobody tells their family."""
        return self.watcher.baselines[0, "cut"]


LEARNED = Cut().hear(6.0)
# The paths, runout alone, the swell alone, colour, the swell in step, runout that has grown.
LIMIT = math.log(budget_rows(USUAL.false_alarms, USUAL.hours, 1.0 / SECONDS, len(PATHS) + 5))


def moved_by(deviations: Array64 | float, known: Baseline = LEARNED.known) -> dict[str, float]:
    """All signs moved by so many of a baseline's deviations, dB."""
    away = np.broadcast_to(deviations, SIGNS) * known.scale[:SIGNS]
    return dict(zip(SIGN_NAMES, away.tolist(), strict=True))


# States


def test_the_reason_for_a_state_is_of_now():
    """A state may last while its reason changes: what is told of it is never its contrary."""
    cut = Cut().hear(1.0, phase=Phase.OFF)
    assert "no spindle is heard" in cut.watcher.because
    cut.air(1.0)
    assert "nothing is being cut yet, the spindle is heard" in cut.watcher.because
    cut.hear(1.0, phase=Phase.OFF)
    assert "no spindle is heard" in cut.watcher.because
    assert cut.states == ["settle"]
    assert "not fit for a baseline, learning on" in Cut(scatter=25.0).hear(20.0).watcher.because


def test_the_reason_for_an_alarm_is_that_for_which_it_began():
    """It stays while the alarm lasts, but for deafness, which has its own, and after it."""
    cut = LEARNED.copy().hear(2.0, **SLIP)
    (alarm,) = cut.alarms
    assert cut.hear(1.0, **SLIP).watcher.because == alarm.because[0]
    assert cut.hear(2.0, trouble="muted").watcher.because == "muted"
    cut.hear(2.0, **SLIP)
    assert isinstance(cut.events[-1], StateChange)
    assert cut.events[-1].because == cut.watcher.because == alarm.because[0]


def test_settle_learn_listen():
    """A spindle that is off, in the air, then cuts: settle, learn, listen, each said once with a reason."""
    cut = Cut().hear(1.0, phase=Phase.OFF).air(2.0).hear(6.0)
    assert cut.states == ["settle", "learn", "listen"]
    assert all(event.because for event in cut.events)
    assert "18000 rpm" in cut.events[-1].because
    assert cut.watcher.learned == {0}


@pytest.mark.parametrize(("seconds", "learn"), [(0.02, 2.0), (0.05, 3.0), (0.125, 6.0)])
def test_learning_takes_the_seconds_that_the_user_wants(seconds: float, learn: float):
    """A baseline is there after the seconds of cutting that the user wants, give or take two rows."""
    cut = Cut(seconds=seconds, learn=learn).hear(10.0)
    listen = next(
        event.at for event in cut.events if isinstance(event, StateChange) and event.state == "listen"
    )
    assert learn <= listen <= max(learn, LEAST_ROWS * seconds) + 2 * seconds


def test_pauses_do_not_count_as_learning():
    """Air between short cuts is no part of what is learned."""
    cut = Cut()
    for _ in range(20):
        cut.hear(0.5).air(2.0, spindle=30.0, half=30.0)
    np.testing.assert_allclose(cut.known.normal.plain, NORMAL.plain, atol=1.0)


def test_the_ends_of_a_cut_are_not_learned_from():
    """Rows that hold more air than cut, at its ends, teach nothing, whatever they are like."""
    cut, mixed = Cut(), Cut()
    ends = SLIP | {"own": _LEARNED_FROM - 0.05 - NORMAL.own}
    for _ in range(20):
        for one, moved in ((cut, {"own": -NORMAL.own}), (mixed, ends)):
            one.rows(2, **moved).hear(0.6).rows(2, **moved).air(0.5)
    assert mixed.known.normal.plain.tolist() == cut.known.normal.plain.tolist()


def test_an_unsteady_cut_is_not_learned():
    """As long as the level scatters like no cut, it says why it does not listen."""
    cut = Cut(scatter=25.0).hear(20.0)
    assert cut.watcher.baselines == {}
    assert cut.states[-1] == cut.watcher.state == "learn"
    cut.hear(1.0, phase=Phase.OFF).hear(1.0)
    assert "not fit for a baseline" in cut.events[-1].because
    assert "dB" in cut.events[-1].because


def test_a_baseline_is_not_learned_from_talk():
    """Rows over which somebody talks teach nothing, nor do those shortly after, however many there are."""
    cut = Cut().hear(60.0, **TALK, **SLIP)
    assert cut.watcher.baselines == {}
    cut.hear(6.0)
    assert cut.states[-1] == "listen"
    np.testing.assert_allclose(cut.known.normal.plain, NORMAL.plain, atol=1.0)


def test_a_baseline_is_not_learned_from_a_cut_that_is_hardly_heard():
    """Where too little of the hiss is the cut's own there is nothing to learn."""
    assert Cut().hear(60.0, own=LEAST_OWN - NORMAL.own - 0.01).watcher.baselines == {}


def tiny_cuts(cut: Cut, number: int, **moved: float) -> Cut:
    """Let some plunges and slots pass that are so short that the place hardly tells one from the other."""
    down, across = (Context(kind=kind) for kind in FAMILIES)
    for _ in range(number):
        cut.air(0.3).hear(0.2, context=down, **moved).hear(0.3, context=across, **moved)
    return cut


def test_cuts_of_which_few_are_surely_of_one_kind_are_learned_together():
    """It takes longer than of one kind, and a slip is heard by it; what is surely of one kind replaces it."""
    cut = Cut()
    assert tiny_cuts(cut, 11).watcher.learned == frozenset()
    assert tiny_cuts(cut, 3).watcher.state == "listen"
    assert list(cut.watcher.baselines) == [(0, MIXED)]
    assert tiny_cuts(cut.copy(), 100).alarms == []
    assert len(tiny_cuts(cut.copy(), 10, **SLIP).alarms) == 1
    cut.hear(4.0, context=Context(kind="across", told=True))
    assert list(cut.watcher.baselines) == [(0, "across")]


def test_a_bit_that_was_tightened_among_such_cuts_is_checked_by_them():
    """Against the good sound of both kinds together."""
    for moved, verdict in (({}, "tight"), (SLIP, "loose")):
        cut = tiny_cuts(tiny_cuts(Cut(), 14), 10, **SLIP)
        cut.watcher.tightened(cut.at)
        assert checks(tiny_cuts(cut, 14, **moved)) == [("before", verdict)]


@pytest.mark.parametrize(
    "context",
    [
        Context(kind=LOST, apart=False),
        Context(kind="across", apart=False),
        Context(kind="across", guessed=True),
    ],
)
def test_nothing_is_learned_of_both_kinds_at_an_unknown_place(context: Context):
    """It may be no cut, or another bit's."""
    assert Cut().hear(30.0, context=context).watcher.learned == frozenset()


# No false alarms


@pytest.mark.parametrize("context", [TOLD, STEADY, Context()], ids=["told", "one steady sound", "untold"])
@pytest.mark.parametrize(("correlation", "scatter"), [(0.0, 4.0), (0.5, 1.0), (0.5, 3.0)])
def test_a_good_cut_never_alarms(correlation: float, scatter: float, context: Context):
    """Two minutes of a cut that stays as it was are no alarm, whether rows resemble one another or not."""
    cut = Cut(correlation=correlation, scatter=scatter).hear(120.0, context=context)
    assert cut.turns == ["learn", "listen"]


@pytest.mark.slow
@pytest.mark.parametrize(("correlation", "seed", "hours"), [(0.0, 2, 0.25), (0.5, 3, 1.0), (0.66, 4, 0.25)])
@pytest.mark.parametrize("context", [TOLD, STEADY], ids=["told", "one steady sound"])
def test_a_good_cut_never_alarms_for_an_hour(correlation: float, seed: int, hours: float, context: Context):
    """Neither is an hour, with as much scatter as there is in a cut; nor a quarter of one of other rows."""
    cut = Cut(correlation=correlation, scatter=4.0, seed=seed)
    assert cut.hear(3600.0 * hours, context=context).alarms == []


@settings(max_examples=25, deadline=None)
@given(
    rows=st.integers(1, math.ceil(USUAL.shortest / SECONDS - 1e-9) - 1),
    moved=st.dictionaries(st.sampled_from(SIGN_NAMES), st.floats(-60, 60), min_size=1),
)
def test_what_is_too_short_never_alarms(rows: int, moved: dict[str, float]):
    """A change shorter than the user's shortest is no alarm, however large and wherever it is."""
    cut = LEARNED.copy().rows(rows, **moved).hear(3.0)
    assert cut.alarms == []


def test_a_bang_is_no_alarm():
    """Half a second of noise far louder than the cut, which hides its lines, is a door and not the bit."""
    cut = LEARNED.copy()
    for _ in range(5):
        cut.hear(0.5, level=25.0, hiss=25.0, noise=25.0, **dict.fromkeys(SIGN_NAMES, -10.0)).hear(2.0)
    assert cut.turns == ["learn", "listen"]


@settings(max_examples=15, deadline=None)
@given(st.dictionaries(st.sampled_from(SIGN_NAMES), st.floats(-60, 0), min_size=1))
def test_signs_that_fall_are_no_fault(moved: dict[str, float]):
    """A light cut, or a cut in softer wood, has less of anything: no loose bit does that."""
    assert LEARNED.copy().hear(10.0, **moved).alarms == []


def test_a_rise_to_what_a_tight_bit_has_is_no_sign():
    """What was hardly there when it was learned may rise to what a tight bit has now and then."""
    silent = dataclasses.replace(NORMAL, plain=TRUE_ENOUGH - 15.0)
    cut = Cut(normal=silent).hear(6.0)
    assert cut.hear(20.0, **dict.fromkeys(SIGN_NAMES, 15.0)).alarms == []
    assert len(cut.hear(3.0, **dict.fromkeys(SIGN_NAMES, 35.0)).alarms) == 1


def test_a_single_flute_that_is_a_guess_may_be_another_bit():
    """Two flutes that run out of true sound like one at twice the speed that rocks: nothing is compared."""
    single = dataclasses.replace(NORMAL, single=True)
    known, guessed = (Context(kind=LOST, guessed=guessed) for guessed in (False, True))
    cut = Cut(normal=single).hear(6.0, context=known)
    slip = {"half": 25.0, "rocking": 25.0}
    assert len(cut.copy().hear(5.0, context=known, **slip).alarms) == 1
    assert cut.hear(5.0, context=guessed, **slip).alarms == []
    assert cut.watcher.state == "settle"


def test_whole_orders_of_a_single_flute_are_no_sign():
    """All whole orders of a single flute are its tooth's, and rise in a wider cut; other signs still tell."""
    cut = Cut(normal=dataclasses.replace(NORMAL, single=True)).hear(6.0)
    assert cut.hear(20.0, spindle=20.0, between=20.0).alarms == []
    assert len(cut.hear(3.0, **SLIP).alarms) == 1


def test_the_air_is_not_compared():
    """What is heard in the air is no fault, however it sounds, and for however long."""
    cut = LEARNED.copy()
    for _ in range(10):
        cut.air(5.0, **SLIP).hear(0.5)
    assert cut.alarms == []


def test_where_nothing_is_cut_there_is_no_fault():
    """Where the program says that nothing is being cut, loud air is not compared."""
    assert LEARNED.copy().hear(5.0, context=Context(told=True, cuts=False), **SLIP).alarms == []


def test_a_cut_that_is_hardly_heard_is_not_compared():
    """Of a cut whose own hiss is too small a share of all nothing is told; of one just above it is."""
    assert LEARNED.copy().hear(6.0, own=LEAST_OWN - NORMAL.own - 0.01, **SLIP).alarms == []
    assert len(LEARNED.copy().hear(6.0, own=LEAST_OWN - NORMAL.own + 0.01, **SLIP).alarms) == 1


def test_a_cut_that_is_hardly_heard_is_said():
    """When nothing could be told for long, it is not called listening."""
    cut = LEARNED.copy().hear(60.0, own=LEAST_OWN - NORMAL.own - 0.01)
    assert cut.watcher.state == "settle"
    assert cut.hear(1.0).watcher.state == "listen"


def test_talk_is_not_compared():
    """While somebody talks, and shortly after, nothing counts, for voices fall on the lines that tell."""
    cut = LEARNED.copy()
    for _ in range(20):
        cut.hear(1.0, **TALK, **SLIP).hear(0.9 * TALK_LASTS, **SLIP).hear(1.0)
    assert cut.alarms == []
    assert len(cut.hear(3.0, **SLIP).alarms) == 1


def test_long_talk_is_said():
    """When talk has covered the cut for some seconds that is said, not kept quiet, and taken back."""
    cut = LEARNED.copy().hear(_COVERED_LONG + 1.0, **TALK)
    assert cut.states[-1] == "settle"
    assert "covers the cut" in cut.events[-1].because
    assert cut.hear(1.0).states[-1] == "listen"


def test_a_covered_cut_is_said_and_compared():
    """Noise that is louder than the cut's is said when it lasts; what still stands out of it counts."""
    cut = LEARNED.copy().hear(_COVERED_LONG + 1.0, **LOUD)
    assert cut.states[-1] == "settle"
    assert "covers the cut" in cut.events[-1].because
    assert cut.copy().hear(1.0).states[-1] == "listen"
    assert len(cut.hear(3.0, **LOUD, **SLIP).alarms) == 1
    assert cut.states[-1] == "alarm"


@pytest.mark.parametrize("hidden", [TALK, LOUD], ids=["talk", "noise"])
def test_one_clear_row_in_ten_is_no_listening(hidden: dict[str, float]):
    """Of a minute in which nearly nothing is compared it is said that nothing is, without a break."""
    cut = LEARNED.copy().hear(_COVERED_LONG + 1.0, **hidden)
    assert cut.states[-1] == "settle"
    for _ in range(60):
        cut.rows(9, **hidden).rows(1)
    assert cut.states[-1] == "settle"
    assert cut.states.count("listen") == 1


def test_a_heavier_cut_covers_nothing():
    """Its teeth are louder by as much as its noise, as with more gain: it is compared, and that is said."""
    cut = LEARNED.copy().hear(60.0, **LOUD, teeth=LOUD["noise"])
    assert cut.turns == ["learn", "listen"]
    assert cut.watcher.compared


def test_most_rows_tell_whether_noise_covers_the_cut():
    """Teeth that seem louder in every fourth row are noise; that sink into it in every fourth, a cut."""
    covered, heavier = LEARNED.copy(), LEARNED.copy()
    for _ in range(60):
        covered.rows(3, **LOUD).rows(1, **LOUD, teeth=LOUD["noise"])
        heavier.rows(3, **LOUD, teeth=LOUD["noise"]).rows(1, **LOUD)
    assert covered.turns == ["learn", "listen", "settle"]
    assert heavier.turns == ["learn", "listen"]
    # What follows at once is told as soon.
    assert covered.hear(4.0, **LOUD, teeth=LOUD["noise"]).turns[-1] == "listen"


HARDLY_HEARD = {"own": LEAST_OWN - NORMAL.own - 0.01}


@pytest.mark.parametrize(
    ("lasting", "hidden"),
    [(2.5, TALK), (2.5, HARDLY_HEARD), (2.5, {"hears": False}), (0.9, {"speed": 15.0})],
    ids=["talk", "hardly heard", "no comb", "another speed"],
)
def test_short_cuts_of_which_nothing_is_compared_are_not_called_listening(
    lasting: float, hidden: dict[str, float]
):
    """That it was covered is not taken back in the air between, nor where the spindle stops for a moment."""
    cut = LEARNED.copy()
    for _ in range(5):
        before = len(cut.states)
        cut.hear(lasting, **hidden, **SLIP).air(1.0).hear(0.5, phase=Phase.OFF).air(0.5)
    assert cut.watcher.state == "settle"
    assert "listen" not in cut.states[before:]
    assert cut.hear(1.0).watcher.state == "listen"
    assert cut.air(1.0).watcher.state == "listen"


def test_rows_that_cannot_be_heard_hide_no_long_talk():
    """A clap that clips now and then, while somebody talks, is no cut that is compared."""
    cut = LEARNED.copy()
    for _ in range(5):
        cut.hear(1.0, **TALK).rows(1, trouble="clips", **TALK)
    assert cut.watcher.state == "settle"


def test_a_cover_is_forgotten_once_the_spindle_has_stood():
    """What was heard before tells of no cut after."""
    cut = LEARNED.copy().hear(4.0, **TALK).hear(6.0, phase=Phase.OFF)
    assert cut.air(1.0).watcher.state == "listen"


@pytest.mark.parametrize("other", ["down", "across"])
def test_another_family_may_be_somewhat_different(other: str):
    """What the families of cuts differ by anyway is no fault; in one family the same rise is one."""
    cut = LEARNED.copy()
    cut.watcher.baselines[0, "down" if other == "across" else "across"] = cut.watcher.baselines.pop(
        (0, "cut")
    )
    rise = dict(zip(SIGN_NAMES, UNLIKE[other].tolist(), strict=True))
    same = Context(kind="across" if other == "down" else "down", told=True)
    assert cut.copy().hear(2.0, context=Context(kind=other, told=True), **rise).alarms == []
    assert len(cut.copy().hear(10.0, context=same, **rise).alarms) == 1


def test_without_a_program_more_is_allowed():
    """Where nobody tells the family of a cut, a rise that any cut may have is no fault; told it is one."""
    rise = dict(zip(SIGN_NAMES, UNTOLD.tolist(), strict=True))
    assert LEARNED.copy().hear(20.0, context=Context(), **rise).alarms == []
    assert len(LEARNED.copy().hear(20.0, context=TOLD, **rise).alarms) == 1


# Alarms


@pytest.mark.parametrize(("seconds", "shortest"), [(0.02, 0.3), (0.05, 0.2), (0.05, 1.0), (0.125, 0.3)])
def test_a_large_change_alarms_in_the_shortest_time(seconds: float, shortest: float):
    """All signs at once alarm after the user's shortest time, at least three rows, and no sooner."""
    cut = Cut(seconds=seconds, shortest=shortest, correlation=0.0).hear(6.0)
    step = cut.at
    cut.hear(5.0, **SLIP)
    due = max(shortest, 3 * seconds)
    assert due - seconds < cut.alarms[0].at - step <= due + 2 * seconds


def due(known: Baseline, correlation: float, moved: dict[str, float]) -> int:
    """After how many rows that do not scatter a step reaches the limit: the first path that does."""
    away = np.array([moved.get(name, 0.0) for name in SIGN_NAMES]) - known.error(correlation)[:SIGNS]
    away = away / known.scale[:SIGNS]
    # Runout counts as no more than half a deviation beyond the mean of half orders and rocking.
    away[[0, 1, 3]] = np.minimum(away[[0, 1, 3]], np.minimum(away[[2, 4]], 3.0).mean() + 0.5)
    paths = [Weights.of(correlation, share=share) for share in PATHS]
    steps = [path.evidence(away) for path in paths]
    most = LIMIT / max(3.0, USUAL.shortest / SECONDS)
    return min(math.ceil(LIMIT / min(step, most) - 1e-9) for step in steps if step > 0.0)


@settings(max_examples=12, deadline=None)
@given(st.floats(0.4, 3.0), st.sampled_from([0.0, 0.4]))
def test_a_step_alarms_when_its_sum_says_so(deviations: float, correlation: float):
    """In rows that do not scatter a step alarms after limit / evidence rows, as a CUSUM does."""
    cut = Cut(scatter=0.0, correlation=correlation).hear(6.0)
    step, moved = cut.at, moved_by(deviations * SOUGHT, cut.known)
    alarm = cut.hear(30.0, **moved).alarms[0]
    assert round((alarm.at - step) / SECONDS) == pytest.approx(due(cut.known, correlation, moved), abs=1)
    assert alarm.threshold == pytest.approx(LIMIT)
    assert alarm.threshold <= alarm.score <= 1.5 * alarm.threshold


def test_a_slight_change_is_certain_by_and_by():
    """What the slow path seeks is an alarm in the end; a third of it never is, however long it lasts."""
    slight = min(PATHS) * SOUGHT
    cut = Cut(scatter=0.0).hear(6.0)
    assert len(cut.copy().hear(60.0, **moved_by(1.5 * slight, cut.known)).alarms) == 1
    never = cut.copy().hear(60.0, **moved_by(0.33 * slight, cut.known))
    assert never.alarms == []
    assert max(never.scores) == 0.0


def test_one_sign_alone_takes_longer():
    """A single sign, however strong, is not as certain as all together; two of them are sooner than one."""
    alone = [LEARNED.copy().hear(20.0, **{name: 60.0}) for name in SIGN_NAMES]
    together = LEARNED.copy().hear(20.0, **SLIP).alarms[0].at
    assert all(not cut.alarms or cut.alarms[0].at > together for cut in alone)
    both = LEARNED.copy().hear(20.0, modulation=60.0, rocking=60.0).alarms[0].at
    assert all(not cut.alarms or cut.alarms[0].at >= both for cut in alone[-2:])


def test_the_larger_the_sooner():
    """A larger step is not heard later than a smaller one, and far sooner in the end."""
    delays = [LEARNED.copy().hear(20.0, **moved_by(by * SOUGHT)).alarms[0].at for by in (0.5, 0.7, 1.0, 2.0)]
    assert delays == sorted(delays, reverse=True)
    assert delays[0] > delays[-1]


@pytest.mark.parametrize("by", [0.5, 1.0, 3.0])
def test_the_onset_is_when_it_began(by: float):
    """The onset lies by the step, not by the moment at which it was certain."""
    cut = LEARNED.copy()
    step = cut.at
    alarm = cut.hear(20.0, **moved_by(by * SOUGHT)).alarms[0]
    assert alarm.onset == pytest.approx(step, abs=0.3)
    assert alarm.onset < alarm.at


def test_short_cuts_add_up():
    """The ends of a cut count as well: a loose bit is heard in cuts of three rows, too."""
    cut = LEARNED.copy()
    for _ in range(10):
        cut.air(0.5).rows(3, **SLIP)
    assert len(cut.alarms) == 1


def test_what_was_heard_before_the_spindle_stood_does_not_add_up_with_what_comes_after():
    """Another bit may be in it: no onset lies before, but the cut from before is not proved good."""
    some = moved_by(0.7 * SOUGHT)
    cut = LEARNED.copy().hear(10.0)
    good = cut.at
    while cut.watcher.score < 0.5:
        cut.rows(1, **some)
    stood, air = cut.copy().hear(6.0, phase=Phase.OFF), cut.copy().air(60.0)
    begin = stood.at
    alarm = stood.hear(20.0, **some).alarms[0]
    assert alarm.onset == pytest.approx(begin, abs=0.2)
    assert alarm.good_until == pytest.approx(good, abs=0.5)
    # In the air it is the same bit.
    assert air.hear(20.0, **some).alarms[0].onset == pytest.approx(good, abs=0.5)


def test_an_alarm_of_runout_that_has_grown_lasts_while_it_stays():
    """Beside a baseline runout counts for little: but what has alarmed stays wrong until it is as it was."""
    grown = {"spindle": 4.5, "modulation": 4.5}
    cut = Cut().hear(20.0).hear(4.0, **grown)
    assert cut.states[-1] == "alarm"
    # Another cut, in which the one sign shows less.
    cut.air(3.0).hear(30.0, **(grown | {"modulation": 0.0}))
    assert cut.states[-1] == "alarm"
    assert cut.hear(10.0).states[-1] == "listen"


def test_runout_after_the_spindle_stood_has_not_grown_within_a_cut():
    """A bit that was put in anew runs out otherwise: how it did before tells nothing of that."""
    grown = {"spindle": 4.5, "modulation": 4.5}
    cut = LEARNED.copy().hear(20.0)
    assert len(cut.copy().hear(20.0, **grown).alarms) == 1
    assert cut.hear(6.0, phase=Phase.OFF).hear(20.0, **grown).alarms == []


def test_an_alarm_stands_though_the_spindle_has_stood():
    """It ends by what is heard, and that is not forgotten."""
    cut = LEARNED.copy().hear(10.0).hear(3.0, **SLIP).hear(6.0, phase=Phase.OFF).hear(4.0)
    assert cut.watcher.state == "alarm"


def test_a_growing_change_is_uneasy_first():
    """A change that builds slowly is said to build before it is certain."""
    cut = LEARNED.copy().hear(30.0, **moved_by(0.5 * SOUGHT))
    assert cut.states == ["learn", "listen", "uneasy", "alarm"]


@pytest.mark.parametrize("lasting", [1.0, 10.0])
def test_an_alarm_explains_itself(lasting: float):
    """State and alarm come together, the alarm with cause, evidence, score and threshold."""
    cut = LEARNED.copy().hear(lasting, **SLIP)
    state, alarm = cut.events[-2:]
    assert isinstance(state, StateChange)
    assert isinstance(alarm, Alarm)
    assert (state.at, state.state, state.because) == (alarm.at, "alarm", alarm.because[0])
    assert alarm.cause == "loose"
    assert any(sentence.startswith("the spindle line rose") for sentence in alarm.because)
    assert alarm.score >= alarm.threshold > 0
    assert (alarm.line, alarm.resume) == (None, None)


# One steady sound, where cut and air are not told apart


def test_lost_colour_is_a_fault_of_one_steady_sound():
    """Where one steady sound is all that is heard, bands that fall while others rise are; in a cut, not."""
    cut = Cut().hear(6.0, context=STEADY)
    step = cut.at
    assert cut.copy().hear(20.0, turned=15.0).alarms == []
    alarm = cut.hear(20.0, context=STEADY, turned=15.0).alarms[0]
    assert alarm.onset == pytest.approx(step, abs=0.3)
    assert "lower against the others" in alarm.because[0]
    assert alarm.cause == "unknown"


def test_what_stops_in_the_shop_is_no_fault():
    """It may have run since before the first cut: then it takes from some bands, and gives to none."""
    assert Cut().hear(6.0, context=STEADY).hear(60.0, context=STEADY, faded=15.0).alarms == []


def test_another_colour_that_was_nothing_is_not_told_again():
    """That colour counts as normal for this bit from then on; one that is farther off does not."""
    cut = Cut().hear(6.0, context=STEADY).hear(5.0, context=STEADY, turned=8.0)
    cut.watcher.nothing(cut.at)
    assert cut.watcher.state == "listen"
    assert len(cut.hear(60.0, context=STEADY, turned=8.0).alarms) == 1
    assert len(cut.hear(10.0, context=STEADY, turned=16.0).alarms) == 2


def test_another_colour_hides_no_loose_bit():
    """That is said though the sound has another colour already, with its own onset; not the reverse."""
    cut = Cut().hear(6.0, context=STEADY).hear(20.0, context=STEADY, turned=15.0)
    step = cut.at
    cut.hear(10.0, context=STEADY, turned=15.0, **SLIP)
    assert [alarm.cause for alarm in cut.alarms] == ["unknown", "loose"]
    assert cut.alarms[1].onset == pytest.approx(step, abs=0.3)
    slip = Cut().hear(6.0, context=STEADY).hear(10.0, context=STEADY, **SLIP)
    slip.hear(20.0, context=STEADY, turned=15.0, **SLIP)
    assert [alarm.cause for alarm in slip.alarms] == ["loose"]


def test_colour_of_what_is_quieter_is_not_compared():
    """A cut that has ended is quieter and has another colour: no fault."""
    quieter = {"level": -_QUIETER - 4.0, "turned": 15.0}
    assert Cut().hear(6.0, context=STEADY).hear(20.0, context=STEADY, **quieter).alarms == []


def test_bands_that_rise_are_no_fault():
    """Whatever the shop switches on can only raise a band."""
    assert Cut().hear(6.0, context=STEADY).hear(20.0, context=STEADY, faded=-15.0).alarms == []


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


def test_a_long_time_in_the_air_is_not_called_listening():
    """That nothing is being cut is said, for whoever sees that it cuts; a short way between cuts is not."""
    cut = Cut().hear(8.0).air(5.0)
    assert cut.watcher.state == "listen"
    assert cut.air(2.0).watcher.state == "settle"
    assert cut.events[-1].because.startswith("nothing is being cut, the spindle is heard at ")
    assert cut.hear(2 * SECONDS).watcher.state == "listen"
    assert cut.air(5.0).watcher.state == "listen"


def test_air_does_not_end_an_alarm():
    """A minute in the air tells nothing of the bit: the alarm stands."""
    cut = LEARNED.copy().hear(3.0, **SLIP).air(60.0)
    assert cut.watcher.state == "alarm"
    assert len(cut.hear(3.0, **SLIP).alarms) == 1


def test_the_baseline_is_frozen():
    """Neither good cutting nor a fault changes what was learned: it does not get used to anything."""
    cut = LEARNED.copy()
    known = cut.known
    before = copy.deepcopy(known)
    for hundredth in range(100):
        cut.hear(0.5, **moved_by(0.02 * hundredth * SOUGHT))
    assert cut.known is known
    for name in ("centre", "scale"):
        assert getattr(known, name).tobytes() == getattr(before, name).tobytes()
    for field in dataclasses.fields(Sample):
        now, then = (getattr(baseline.normal, field.name) for baseline in (known, before))
        assert np.asarray(now).tobytes() == np.asarray(then).tobytes()
    assert len(cut.alarms) == 1


def test_no_kind_of_cut_is_learned_from_a_fault():
    """While an alarm stands, another kind of cut is not learned: its sound is the fault's."""
    cut = LEARNED.copy().hear(3.0, **SLIP)
    cut.hear(20.0, context=Context(kind="down", told=True), **SLIP)
    assert list(cut.watcher.baselines) == [(0, "cut")]


def test_each_family_of_cuts_is_compared_with_itself():
    """A second family, somewhat different, is learned beside the first, and each is heard by its own."""
    across, down = (Context(kind=kind, told=True) for kind in ("across", "down"))
    cut = Cut().hear(6.0, context=across)
    for _ in range(4):
        cut.hear(2.0, context=down, spindle=4.0).hear(2.0, context=across)
    assert cut.alarms == []
    assert set(cut.watcher.baselines) == {(0, "across"), (0, "down")}
    plain = [cut.watcher.baselines[0, kind].normal.plain[0] for kind in ("down", "across")]
    assert plain[0] - plain[1] == pytest.approx(4.0, abs=1.0)
    assert len(cut.copy().hear(3.0, context=down, **SLIP).alarms) == 1
    assert len(cut.hear(3.0, context=across, **SLIP).alarms) == 1


# Bits


def test_a_bit_change_begins_anew():
    """Another bit that cuts ends the alarm, is learned by itself, and has a baseline of its own."""
    other = Context(bit=2, told=True)
    cut = LEARNED.copy().hear(3.0, **SLIP).hear(8.0, phase=Phase.OFF, context=other)
    assert cut.watcher.state == "alarm"
    cut.hear(7.0, context=other, spindle=15.0)
    assert len(cut.alarms) == 1
    assert cut.watcher.learned == {0, 2}
    assert cut.states[-2:] == ["learn", "listen"]


def test_a_bit_that_comes_back_is_known():
    """A bit that was used before is compared at once with what was learned of it then."""
    other = Context(bit=2, told=True)
    cut = LEARNED.copy().hear(6.0, context=other, spindle=15.0)
    known = cut.known
    cut.hear(1.0)
    assert cut.states[-1] == "listen"
    assert cut.known is known
    assert len(cut.hear(2.0, **SLIP).alarms) == 1


def test_what_was_not_the_cut_is_forgotten():
    """When it turns out that something else had been learned, it is dropped and the cut is learned."""
    cut = LEARNED.copy()
    known = cut.known
    cut.watcher.forget(0, cut.at + 1.0)
    assert cut.known is known  # it was learned before that
    cut.watcher.forget(0, 0.0)
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
    np.testing.assert_allclose(cut.known.normal.plain, NORMAL.plain, atol=1.0)
    assert cut.known.scale.tolist() == LEARNED.known.scale.tolist()


def test_a_source_that_is_gone_is_deaf_at_once():
    """When the source itself says that nothing arrives, deaf is said once."""
    cut = LEARNED.copy()
    cut.health.lost("unplugged")
    said = cut.watcher.silence(cut.at, cut.health)
    assert [type(event) for event in said] == [Deaf, StateChange]
    assert cut.watcher.state == "deaf"
    cut.health.lost("unplugged")
    assert cut.watcher.silence(cut.at, cut.health) == []


@pytest.mark.parametrize("says", ["nothing", "tightened"])
def test_nothing_that_a_person_says_makes_it_hear_again(says: str):
    """What was said is told, and the alarm is over; it stays deaf, for the reason that was given."""
    cut = LEARNED.copy().hear(3.0, **SLIP)
    cut.health.lost("unplugged")
    cut.events += cut.watcher.silence(cut.at, cut.health)
    (turn,) = getattr(cut.watcher, says)(cut.at)
    assert turn.state == "deaf"
    assert turn.because.startswith({"nothing": "said to be nothing", "tightened": "tightened"}[says])
    assert turn.because.endswith("; unplugged")
    assert not cut.watcher.alarmed
    before = cut.events.copy()
    assert cut.hear(5.0, trouble="samples are not finite").events == before
    assert cut.hear(1.0).watcher.state == ("listen" if says == "nothing" else "learn")


# Always


STRETCHES = st.tuples(
    st.floats(0.05, 4.0),
    st.sampled_from(Phase),
    st.integers(0, 1),
    st.sampled_from(["cut", "down", "across"]),
    st.booleans(),
    st.booleans(),
    st.sampled_from(["", "", "", "zeros"]),
    st.dictionaries(
        st.sampled_from([*SIGN_NAMES, "level", "hiss", "noise", "own", "foreign", "faded"]),
        st.floats(-40, 40),
        max_size=4,
    ),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(STRETCHES, min_size=1, max_size=12))
def test_whatever_happens(stretches: list[tuple[float, Phase, int, str, bool, bool, str, dict[str, float]]]):
    """
    Whatever is heard, the events make sense.

    They are in order; no state is said twice running; an alarm comes with its state, after its onset, and
    not twice without another state between; deaf and heard take turns; the score is a number.
    """
    cut = LEARNED.copy()
    for lasting, phase, bit, kind, told, apart, trouble, moved in stretches:
        context = Context(bit, kind, told=told, apart=apart)
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


def test_what_was_not_compared_before_the_onset_is_not_known_to_be_good():
    """An alarm tells until when nothing spoke for a change: before whatever covered the cut."""
    at_once = LEARNED.copy().hear(15.0).hear(3.0, **SLIP).alarms[0]
    assert at_once.good_until == pytest.approx(at_once.onset, abs=0.5)
    covered = LEARNED.copy().hear(15.0)
    good = covered.at
    alarm = covered.hear(5.0, **TALK).hear(3.0, **SLIP).alarms[0]
    assert alarm.onset > good + 4.0
    assert alarm.good_until == pytest.approx(good, abs=0.5)


def test_what_was_just_learned_is_not_known_to_be_good():
    """A bit may have been loose while it was learned, and become looser."""
    assert Cut().hear(3.5).hear(3.0, **SLIP).alarms[0].good_until < 0.5


def test_a_speed_that_jumps_is_another_sounds():
    """Rows in which the speed was another a moment ago, by more than a spindle's can be, are not compared."""
    cut = LEARNED.copy()
    for _ in range(60):
        cut.rows(3, **SLIP).rows(3, speed=0.035 * NORMAL.speed, **SLIP)
    assert cut.alarms == []
    assert len(LEARNED.copy().rows(180, **SLIP).alarms) == 1


@pytest.mark.parametrize("share", [-0.019, 0.019])
def test_a_spindle_hardly_changes_its_speed(share):
    """What turns within 2 % of the baseline is the same spindle, and compared with it at once."""
    assert len(LEARNED.copy().hear(3.0, speed=share * NORMAL.speed, **SLIP).alarms) == 1


def test_what_turns_otherwise_than_the_baseline_is_not_compared():
    """It may be another machine; that it hides the cut is said, until its speed lasts and was learned."""
    away = 0.021 * NORMAL.speed
    cut = LEARNED.copy().hear(2.9, speed=away, **SLIP)
    assert cut.alarms == []
    learned = LEARNED.copy().hear(8.0, speed=away).hear(3.0, speed=away, **SLIP)
    assert len(learned.alarms) == 1
    assert len(learned.watcher.baselines) == 1
    hidden = LEARNED.copy().hear(3.5, speed=away, own=LEAST_OWN - NORMAL.own + 0.01).events[-1]
    assert isinstance(hidden, StateChange)
    assert "nothing can be compared" in hidden.because


def test_a_slip_that_slows_the_spindle_does_not_become_normal():
    """What looks loose at another speed is not learned, and never called listening."""
    slower = -0.05 * NORMAL.speed
    cut = LEARNED.copy().hear(10.0, speed=slower, **SLIP)
    assert cut.watcher.state == "settle"
    assert cut.hear(10.0, speed=slower).watcher.state == "settle"
    assert cut.hear(1.0).watcher.state == "listen"


@pytest.mark.parametrize("single", [False, True])
def test_slight_half_orders_alone_are_a_line_of_the_shop(*, single: bool):
    """A tone may fall on one; where the hiss swells every second turn as well, it is the bit."""
    cut = Cut(normal=dataclasses.replace(NORMAL, single=single)).hear(6.0)
    assert cut.copy().hear(60.0, half=5.0).alarms == []
    assert len(cut.hear(20.0, half=4.0, rocking=3.0).alarms) == 1


def test_half_orders_with_runout_alarm_though_the_hiss_does_not_swell():
    """Through a microphone that hears no hiss the lines alone must tell."""
    lines = {"spindle": 15.0, "between": 9.0, "half": 9.0, "rocking": -3.0}
    assert len(LEARNED.copy().hear(10.0, **lines).alarms) == 1


RUNOUT = {"spindle": 14.0, "between": 8.0, "modulation": 12.0}


def test_runout_alone_alarms():
    """A bit that runs out of true as in no cut before, and does not rock, may be loose: it is said."""
    cut = LEARNED.copy().hear(10.0)
    step = cut.at
    alarm = cut.hear(20.0, **RUNOUT).alarms[0]
    assert len(cut.alarms) == 1
    assert alarm.onset == pytest.approx(step, abs=0.3)
    assert alarm.at - step < 3.0
    assert alarm.cause == "loose"
    assert "chipped" in alarm.because[-1]


@pytest.mark.parametrize("sign", ["spindle", "modulation"])
def test_runout_must_be_heard_both_ways(sign: str):
    """A bit that runs out of true has a spindle line, and swells once per turn: one alone is another cut."""
    assert LEARNED.copy().hear(10.0).hear(60.0, **RUNOUT | {sign: 0.0}).alarms == []


def test_the_swell_alone_alarms_in_one_steady_sound():
    """Far deeper than it was it alarms by and by, where no other cut explains it; a bit deeper is none."""
    steady = Cut().hear(16.0, context=STEADY)
    assert steady.copy().hear(60.0, context=STEADY, modulation=4.0).alarms == []
    assert len(steady.copy().hear(10.0, context=STEADY, modulation=12.0).alarms) == 1
    assert steady.copy().hear(60.0, modulation=12.0).alarms == []


def test_runout_alone_proves_nothing_in_the_first_seconds():
    """What was learned may have been the air: until some seconds of cut were like it, runout is no sign."""
    assert LEARNED.copy().hear(60.0, **RUNOUT).alarms == []
    assert len(LEARNED.copy().hear(3.0, **RUNOUT, half=5.0, rocking=4.0).alarms) == 1


@pytest.mark.parametrize("level", [-8.0, 11.0])
def test_runout_alone_of_another_load_is_another_cut(level: float):
    """A lighter cut swells deeper, and a heavier one has more of what turns."""
    assert LEARNED.copy().hear(10.0).hear(30.0, level=level, **RUNOUT).alarms == []


def test_another_load_does_not_end_an_alarm():
    """It tells nothing of runout: the alarm stands until a cut like the first is good again."""
    cut = LEARNED.copy().hear(10.0).hear(5.0, **RUNOUT).hear(20.0, level=-8.0).hear(3.0, **RUNOUT)
    assert len(cut.alarms) == 1
    assert cut.watcher.state == "alarm"
    assert cut.hear(15.0).watcher.state == "listen"


def test_runout_alone_that_another_cut_has_is_the_bits_own():
    """No cut tells of a loose bit by runout that another cut of the same bit had when it was learned."""
    down = Context(kind="down", told=True)
    across = Context(kind="across", told=True)
    cut = Cut().hear(6.0, context=down, **RUNOUT).hear(20.0, context=across)
    assert cut.hear(30.0, context=across, **RUNOUT).alarms == []


def test_a_heavier_cut_may_have_more_of_what_turns():
    """The same rise takes longer to alarm in a cut that is 8 dB louder."""
    some = dict.fromkeys(SIGN_NAMES, 5.0)
    as_loud, louder = LEARNED.copy().hear(10.0, **some), LEARNED.copy().hear(10.0, level=8.0, **some)
    assert as_loud.alarms[0].at < louder.alarms[0].at


# What the person says, and what is known of the bit


def checks(cut: Cut) -> list[tuple[str, str]]:
    """What was checked so far: against what, and what was found."""
    return [(event.against, event.verdict) for event in cut.events if isinstance(event, Checked)]


def learned() -> Baseline:
    """The baseline of a good cut."""
    return Cut().hear(5.0).watcher.baselines[0, "cut"]


def cut_with_reference() -> Cut:
    """A cut with a bit that three accepted cuts tell of."""
    cut = Cut()
    reference = Reference.of([{"cut": learned()}] * 3)
    cut.watcher = Watcher(SECONDS, 0.5, references={0: reference})
    return cut


def test_a_bit_that_is_loose_from_the_first_second_alarms():
    """Within 5 s of cutting, since the first of them; and the fault is never learned: it alarms on."""
    cut = cut_with_reference().hear(5.0, **SLIP)
    assert checks(cut) == [("reference", "loose")]
    assert [alarm.cause for alarm in cut.alarms] == ["loose"]
    assert cut.alarms[0].onset < 0.1
    assert cut.hear(30.0, **SLIP).watcher.state == "alarm"
    assert cut.hear(10.0).watcher.state == "listen"
    assert len(cut.alarms) == 1


def test_nothing_was_good_with_a_bit_that_was_never_tightened():
    """Start again where it began to turn: some of the cut may have passed before it was told apart."""
    cut = cut_with_reference().hear(1.0, phase=Phase.OFF).air(2.0).hear(5.0, context=Context(), **SLIP)
    assert cut.alarms[0].good_until == pytest.approx(1.0, abs=0.1)


def test_a_loose_bit_alarms_though_nobody_knows_what_is_cut():
    """The place is lost and the cut taken for the air: 1 s is enough. What is learned is never the fault."""
    lost = {"phase": Phase.AIR, "context": Context(kind=LOST, apart=False)}
    cut = cut_with_reference().hear(3.0, **lost, **SLIP)
    assert checks(cut) == [("reference", "loose")]
    assert [alarm.cause for alarm in cut.alarms] == ["loose"]
    assert cut.hear(20.0, **SLIP).watcher.state == "alarm"
    assert len(cut.alarms) == 1
    assert not cut_with_reference().hear(30.0, **lost).alarms


def test_a_loose_bit_that_nobody_minds_is_not_said_twice():
    """That was nothing, says the person."""
    cut = cut_with_reference().hear(2.0, **SLIP)
    cut.events += cut.watcher.nothing(cut.at)
    assert len(cut.hear(20.0, **SLIP).alarms) == 1


# A swell in step that alarms before a second has passed.
DEEP = (0.3, 0.35)


def said_to_be_nothing() -> Cut:
    """A bit, loose from the first second, that alarmed before it was compared with its reference."""
    cut = cut_with_reference().hear(0.8, steps=DEEP, **SLIP)
    assert len(cut.alarms) == 1
    assert checks(cut) == []
    cut.events += cut.watcher.nothing(cut.at)
    return cut


def test_a_reference_does_not_accuse_what_was_said_to_be_nothing():
    """It is learned as normal, without a word; and what is worse than it alarms."""
    cut = said_to_be_nothing().hear(30.0, steps=DEEP, **SLIP)
    assert len(cut.alarms) == 1
    assert checks(cut) == []
    assert cut.watcher.state == "listen"
    worse = {name: moved + 20.0 for name, moved in SLIP.items()}
    assert len(cut.hear(3.0, steps=DEEP, **worse).alarms) == 2


def test_a_reference_accuses_what_is_worse_than_what_was_said_to_be_nothing():
    """And that alarm lasts as long as the bit is loose, whatever was said of it when it was less so."""
    worse = {name: moved + 20.0 for name, moved in SLIP.items()}
    cut = said_to_be_nothing().hear(5.0, **worse)
    assert checks(cut) == [("reference", "loose")]
    assert len(cut.alarms) == 2
    assert cut.hear(30.0, **worse).watcher.state == "alarm"
    assert cut.hear(10.0).watcher.state == "listen"


def test_what_the_reference_accused_is_not_said_again_of_another_kind_of_cut():
    """The bit is the same, and the person has looked at it."""
    cut = cut_with_reference().hear(2.0, **SLIP)
    cut.watcher.nothing(cut.at)
    cut.hear(20.0, context=Context(kind="across", told=True), **SLIP)
    assert len(cut.alarms) == 1
    assert cut.watcher.state == "listen"


def test_physics_does_not_doubt_what_was_said_to_be_nothing():
    """The person has looked at the bit; what is no looser in another cut is as good."""
    cut = Cut(normal=dataclasses.replace(NORMAL, plain=TRUE_ENOUGH)).hear(0.8, steps=DEEP, **ROCKS)
    assert len(cut.alarms) == 1
    cut.watcher.nothing(cut.at)
    cut.hear(6.0, steps=DEEP, **ROCKS).hear(6.0, context=Context(kind="across", told=True), **ROCKS)
    assert checks(cut) == []
    assert len(cut.alarms) == 1
    assert cut.watcher.state == "listen"


def test_a_tight_bit_agrees_with_its_reference():
    """It is said, and the cut is listened to."""
    cut = cut_with_reference().hear(10.0)
    assert checks(cut) == [("reference", "tight")]
    assert not cut.alarms
    assert cut.watcher.state == "listen"


def test_without_a_reference_nothing_is_said_of_a_tight_bit():
    """Physics has no reason to doubt it."""
    assert checks(Cut(normal=dataclasses.replace(NORMAL, plain=TRUE_ENOUGH)).hear(10.0)) == []


ROCKS = {"half": 9.0, "rocking": 12.0}


def doubted() -> Cut:
    """A cut, without a reference, with a bit that rocks from the first second on."""
    cut = Cut(normal=dataclasses.replace(NORMAL, plain=TRUE_ENOUGH)).hear(5.0, **ROCKS)
    assert checks(cut) == [("physics", "doubtful")]
    assert cut.alarms == []
    assert cut.watcher.state == "uneasy"
    return cut


def test_a_bit_that_never_was_good_is_spoken_of_when_it_was_tightened():
    """There is nothing to compare it with, which is said at once; what physics has to say is said then."""
    cut = Cut().hear(1.0)
    cut.watcher.forget(TOLD.bit, 0.0)
    (turn,) = cut.watcher.tightened(cut.at)
    assert "no good sound from before is known" in turn.because
    found = [event for event in cut.hear(6.0).events if isinstance(event, Checked)]
    assert [(each.against, each.verdict) for each in found] == [("physics", "tight")]
    cut.watcher.forget(TOLD.bit, 0.0)
    assert sum(isinstance(event, Checked) for event in cut.hear(6.0).events) == 1


def test_where_no_spindle_is_heard_the_speed_that_it_should_have_is_told():
    """A dial that stands elsewhere than the S word says is found sooner by whoever reads which it is."""
    cut = Cut().hear(1.0, phase=Phase.OFF)
    assert cut.events[0].because == "no spindle is heard"
    told = Watcher(SECONDS, 0.5, speeds={TOLD.bit: 12_000.0})
    cut.watcher = told
    cut.hear(0.1, phase=Phase.OFF)
    assert cut.events[-1].because == "no spindle is heard near 12000 rpm"


@pytest.mark.parametrize("louder", [0.0, 3.0])
def test_noise_that_drowns_the_spindle_ends_no_alarm(louder: float):
    """A saw beside the machine hides comb and teeth for long: nobody has been at the bit that is loose."""
    loose = Cut().hear(6.0).hear(12.0, **RUNOUT, half=9.0, rocking=9.0)
    stood = loose.copy().hear(20.0, phase=Phase.OFF).hear(4.0, context=Context(2))
    drowned = loose.copy().hear(20.0, phase=Phase.OFF, level=louder).hear(4.0, context=Context(2))
    assert (stood.watcher.alarmed, drowned.watcher.alarmed) == (False, True)


@pytest.mark.parametrize("stood", [0.0, 3.0])
def test_an_alarm_lasts_whatever_bit_is_thought_to_turn(stood: float):
    """As long as the spindle has not stood for long, the bit in it is the one that has alarmed."""
    other = dataclasses.replace(TOLD, bit=TOLD.bit + 1)
    cut = Cut().hear(6.0).hear(12.0, **RUNOUT, half=9.0, rocking=9.0).hear(stood, phase=Phase.OFF)
    cut.hear(15.0, context=other, **RUNOUT)
    assert cut.watcher.state == "alarm"
    assert cut.watcher.learned == {TOLD.bit}
    assert cut.hear(10.0).watcher.state == "listen"


# A slip that is mostly runout: another bit may have as much from the start, and be tight.
RUNS_OUT = {"spindle": 12.0, "between": 8.0, "half": 3.0, "modulation": 10.0, "rocking": 3.0}


@pytest.mark.parametrize(
    ("other", "lasting"),
    [(Context(2, LOST, guessed=True), 20.0), (Context(2, told=True), 0.3)],
    ids=["a guess", "a moment"],
)
def test_a_bit_that_is_only_thought_to_cut_ends_no_alarm_though_the_spindle_has_stood(
    other: Context, lasting: float
):
    """One that the place guesses by sound, or thinks of in passing, is no other."""
    cut = Cut(normal=TIGHT).hear(6.0).hear(3.0, **RUNS_OUT).hear(6.0, phase=Phase.OFF).hear(0.8, **RUNS_OUT)
    cut.hear(lasting, context=other, **RUNS_OUT)
    assert cut.watcher.alarmed
    assert cut.watcher.learned == {TOLD.bit}


def test_a_bit_that_cuts_on_after_the_spindle_stood_is_in_it_until_it_stands_again():
    """Whatever the place says later in that cut; the next time that it stands another bit ends the alarm."""
    other = Context(2, told=True)
    cut = Cut(normal=TIGHT).hear(6.0).hear(3.0, **RUNS_OUT).hear(6.0, phase=Phase.OFF).hear(2.0, **RUNS_OUT)
    assert cut.hear(5.0, context=other, **RUNS_OUT).watcher.alarmed
    assert not cut.hear(6.0, phase=Phase.OFF).hear(2.0, context=other).watcher.alarmed


def test_an_alarm_without_a_good_sound_ends_by_a_stand_whatever_bit_is_guessed():
    """It is learned anew, and cannot be by what may be of a loose bit."""
    guess = Context(2, LOST, guessed=True)
    cut = Cut().hear(3.2).hear(3.0, **SLIP).hear(6.0, phase=Phase.OFF).hear(1.2, context=guess)
    assert not cut.watcher.alarmed
    assert cut.watcher.learned == frozenset()


def test_no_sound_of_another_bit_ends_an_alarm():
    """As long as the spindle has not stood: what is normal of that bit may be as the loose one sounds."""
    one, other = Context(1, told=True), Context(2, told=True)
    rocks = {"half": 12.0, "rocking": 12.0}
    cut = Cut(normal=TIGHT).hear(6.0, context=other, **rocks).hear(6.0, context=one)
    cut.hear(2.0, context=one, **rocks).hear(15.0, context=other, **rocks)
    assert cut.watcher.state == "alarm"
    assert cut.hear(10.0, context=one).watcher.state == "listen"


def test_a_bit_that_is_in_doubt_once_tightened_is_not_listened_to_calmly():
    """It is compared on with the good sound from before; found tight, it is in doubt no more."""
    cut = LEARNED.copy().hear(3.0, **SLIP)
    cut.events += cut.watcher.tightened(cut.at)
    cut.hear(5.0, rocking=5.5)
    assert checks(cut) == [("before", "doubtful")]
    assert cut.watcher.state == "uneasy"
    assert "since it was tightened" in cut.events[-1].because
    cut.events += cut.watcher.tightened(cut.at)
    cut.hear(5.0)
    assert checks(cut)[1:] == [("before", "tight")]
    assert cut.watcher.state == "listen"


def test_who_has_tightened_the_bit_speaks_of_the_one_that_has_alarmed():
    """While the spindle stands the place may have moved on to the next bit: the loose one is checked."""
    other = dataclasses.replace(TOLD, bit=TOLD.bit + 1)
    cut = LEARNED.copy().hear(3.0, **SLIP).hear(200.0, phase=Phase.OFF, context=other)
    cut.events += cut.watcher.tightened(cut.at)
    cut.air(2.0).hear(5.0)
    assert checks(cut) == [("before", "tight")]


def test_an_alarm_lasts_though_what_it_was_judged_by_is_forgotten():
    """It turns out that the baseline was of something else: nothing is left to show that all is well."""
    cut = LEARNED.copy().hear(3.0, **SLIP)
    cut.watcher.forget(TOLD.bit, 0.0)
    assert cut.hear(20.0, **SLIP).watcher.state == "alarm"
    assert cut.watcher.learned == frozenset()
    cut.events += cut.watcher.tightened(cut.at)
    assert cut.hear(5.0).watcher.state == "listen"


def test_what_was_learned_of_a_bit_just_before_it_alarmed_shows_no_good_sound():
    """It may have been loose from the start, and sounds as it did: it lasts until somebody was there."""
    soon, late = (Cut().hear(good).hear(3.0, **SLIP) for good in (3.2, 8.0))
    assert [len(cut.alarms) for cut in (soon, late)] == [1, 1]
    assert soon.hear(20.0).watcher.state == "alarm"
    assert late.hear(20.0).watcher.state == "listen"
    # What is learned once the spindle stood is no longer that.
    soon.hear(6.0, phase=Phase.OFF).hear(5.0)
    assert soon.watcher.state == "listen"


def test_what_was_said_to_be_nothing_is_something_again_once_the_bit_was_tightened():
    """The same slip alarms again: what was taken for normal was heard while the bit was loose."""
    cut = LEARNED.copy().hear(3.0, **SLIP)
    cut.watcher.nothing(cut.at)
    assert cut.hear(10.0, **SLIP).watcher.state == "listen"
    cut.watcher.tightened(cut.at)
    cut.hear(6.0)
    assert len(cut.hear(3.0, **SLIP).alarms) == 2


def test_nothing_is_said_of_the_rises_of_an_alarm_that_is_over():
    """What another bit had risen by before it was tightened is not taken for normal of this one."""
    other = Context(bit=2, told=True)
    cut = LEARNED.copy().hear(3.0, **SLIP)
    cut.watcher.tightened(cut.at)
    cut.hear(6.0, phase=Phase.OFF).hear(8.0, context=other)
    cut.watcher._raise("chatter")  # noqa: SLF001 - an alarm of another fault, whatever made it
    cut.watcher.nothing(cut.at)
    assert len(cut.hear(3.0, context=other, **SLIP).alarms) == 2


@pytest.mark.parametrize(("asked", "learned"), [(0.7, True), (1.0, False)])
def test_another_speed_that_the_program_asks_for_is_learned_as_a_first_cut_is(*, asked: float, learned: bool):
    """It may run out more there; where it asks for the old one a slip may have slowed the spindle down."""
    away, rpm = -0.3 * NORMAL.speed, 60.0 * asked * NORMAL.speed
    slower = dataclasses.replace(TOLD, asked=(rpm, rpm))
    cut = Cut(normal=TIGHT).hear(6.0).hear(6.0, context=slower, speed=away, spindle=16.0, modulation=16.0)
    assert cut.watcher.compared is learned
    assert cut.watcher.state == ("listen" if learned else "settle")


def test_a_speed_at_which_nothing_is_known_is_said_to_be_learned():
    """Nothing is compared then, so it does not say that it listens."""
    away = 0.1 * NORMAL.speed
    cut = LEARNED.copy().hear(2.5, speed=away)
    assert cut.watcher.state == "learn"
    assert not cut.watcher.compared
    assert cut.hear(3.0, speed=away).watcher.state == "listen"
    assert cut.watcher.compared


def test_a_doubt_is_checked_again_when_the_bit_was_tightened():
    """Against physics: the sound from before was no good one, and a bit left as it was would be like it."""
    for moved, verdict, state in (({}, "tight", "listen"), (ROCKS, "doubtful", "uneasy")):
        cut = doubted()
        cut.events += cut.watcher.tightened(cut.at)
        cut.air(2.0).hear(5.0, **moved)
        assert checks(cut)[1:] == [("physics", verdict)]
        assert cut.watcher.state == state


def test_a_doubt_that_was_nothing_is_over():
    """The person looked at the bit: what was heard is the good sound from then on, and that is said once."""
    cut = doubted()
    said = cut.watcher.nothing(cut.at)
    assert [type(event) for event in said] == [StateChange]
    assert cut.watcher.nothing(cut.at) == []
    cut.watcher.tightened(cut.at)
    cut.hear(5.0, **ROCKS)
    assert checks(cut)[1:] == [("before", "tight")]


def alarmed() -> Cut:
    """A cut in which the bit came loose."""
    cut = Cut().hear(10.0).hear(3.0, **SLIP)
    assert cut.watcher.state == "alarm"
    return cut


def test_tightened_and_tight_again():
    """The alarm ends at once; 3 s of cutting later it is said to be tight, and listening goes on."""
    cut = alarmed()
    cut.events += cut.watcher.tightened(cut.at)
    assert cut.watcher.state == "settle"
    cut.air(5.0).hear(2.0)
    assert cut.watcher.state == "learn"
    assert checks(cut) == []
    cut.hear(5.0)
    assert checks(cut) == [("before", "tight")]
    assert cut.watcher.state == "listen"
    assert len(cut.alarms) == 1


def test_tightened_and_still_loose():
    """It alarms again, and goes on comparing with the good sound from before."""
    cut = alarmed()
    before = cut.watcher.baselines.copy()
    cut.events += cut.watcher.tightened(cut.at)
    cut.hear(5.0, **SLIP)
    assert checks(cut) == [("before", "loose")]
    assert len(cut.alarms) == 2
    assert cut.watcher.baselines == before


UNSURE = (Context(kind="across"), Context(kind=LOST, apart=False))
ACROSS = Context(kind="across", told=True)


def tightened() -> Cut:
    """A cut across whose bit came loose, just after it was said to be tightened."""
    cut = Cut().hear(6.0, context=ACROSS).hear(2.0, context=ACROSS, **SLIP)
    assert len(cut.alarms) == 1
    cut.events += cut.watcher.tightened(cut.at)
    return cut


@pytest.mark.parametrize("context", UNSURE)
def test_tightened_where_nobody_is_sure_what_is_cut_is_compared_as_ever(context: Context):
    """Still loose it alarms, tight it does not; it is checked once some seconds are surely of one kind."""
    cut = tightened()
    assert len(cut.copy().hear(5.0, context=context, **SLIP).alarms) == 2
    cut.hear(20.0, context=context)
    assert (len(cut.alarms), cut.watcher.state, cut.watcher.compared) == (1, "learn", True)
    assert checks(cut.hear(5.0, context=ACROSS)) == [("before", "tight")]


@pytest.mark.parametrize("besides", [TALK, {}])
def test_tightened_and_still_swelling_in_step_alarms_where_it_cannot_be_checked(besides: dict[str, float]):
    """Beside talk, or at an unknown place, that is the one sign that needs nothing else."""
    cut = tightened().hear(5.0, context=UNSURE[1], steps=SWELLS, **besides)
    assert len(cut.alarms) == 2


def test_tightened_and_shaking_so_that_it_is_no_steady_cut_alarms():
    """Nothing can be learned of it, so it is compared as it is: else it would never be told."""
    cut = tightened()
    for _ in range(8):
        cut.hear(0.5, context=ACROSS, level=25.0, **SLIP).hear(0.5, context=ACROSS, level=-25.0, **SLIP)
    assert len(cut.alarms) == 2


def test_tightened_beside_talk_is_not_said_to_be_compared():
    """Once it has covered the cut for some seconds, in short cuts too."""
    cut = tightened()
    for _ in range(3):
        cut.hear(2.0, context=ACROSS, **TALK).air(1.0)
    assert cut.watcher.state == "settle"
    assert cut.hear(1.0, context=ACROSS).watcher.state == "learn"


def test_each_bit_that_was_tightened_is_checked_when_it_cuts():
    """However many of them were, one after the other, before they cut again."""
    one, two = Context(1, told=True), Context(2, told=True)
    cut = Cut().hear(6.0, context=one).hear(6.0, context=two)
    for context in (one, two):
        cut.hear(2.0, context=context, **SLIP)
        cut.events += cut.watcher.tightened(cut.at)
    assert len(cut.alarms) == 2
    assert checks(cut.hear(4.0, context=two)) == [("before", "tight")]
    assert checks(cut.hear(4.0, context=one)) == [("before", "tight")] * 2


def test_tightened_before_anything_was_learned_is_learned():
    """There is nothing to compare with: the cut is learned as any other, and what physics says is told."""
    cut = Cut().hear(1.0)
    cut.watcher.tightened(cut.at)
    assert cut.hear(10.0).watcher.state == "listen"
    assert checks(cut) == [("physics", "tight")]


def test_tightened_and_what_was_learned_is_forgotten():
    """When it turns out that the good sound was no cut it is no good sound: the cut is learned anew."""
    cut = alarmed()
    cut.watcher.tightened(cut.at)
    cut.watcher.forget(0, 0.0)
    assert cut.hear(10.0).watcher.state == "listen"
    assert checks(cut) == [("physics", "tight")]


def test_nothing_ends_the_alarm_and_what_is_heard_counts_as_normal():
    """It does not alarm again for the same; it does for more."""
    some = dict.fromkeys(SIGN_NAMES, 8.0)
    cut = Cut().hear(10.0).hear(3.0, **some)
    assert len(cut.alarms) == 1
    cut.events += cut.watcher.nothing(cut.at)
    assert cut.watcher.state == "listen"
    cut.hear(60.0, **some)
    assert len(cut.alarms) == 1
    cut.hear(5.0, **dict.fromkeys(SIGN_NAMES, 30.0))
    assert len(cut.alarms) == 2


def test_nothing_takes_back_an_alarm_that_is_over_and_takes_nothing_for_normal():
    """Once, and of the bit that turns; not once it was tightened, and a doubt that came since goes first."""
    cut = Cut().hear(10.0).hear(2.0, **SLIP).hear(15.0)
    assert cut.watcher.state == "listen"
    for not_meant in (cut.copy(), cut.copy().hear(1.0, context=dataclasses.replace(TOLD, bit=2))):
        if not_meant.watcher.meant == TOLD.bit:
            not_meant.watcher.tightened(not_meant.at)
        assert not not_meant.watcher.takes_back
        assert not_meant.watcher.nothing(not_meant.at) == []
    doubted_since = cut.copy()
    doubted_since.watcher._checks.doubts[TOLD.bit] = Checked(cut.at, "before", "doubtful", ())  # noqa: SLF001
    assert not doubted_since.watcher.takes_back
    assert cut.watcher.takes_back
    (said,) = cut.watcher.nothing(cut.at)
    assert isinstance(said, StateChange)
    assert (said.state, "taken back" in said.because) == ("listen", True)
    assert cut.watcher.nothing(cut.at) == []
    assert len(cut.hear(2.0, **SLIP).alarms) == 2


def test_nothing_without_an_alarm_says_nothing():
    """And changes nothing."""
    cut = Cut().hear(10.0)
    assert cut.watcher.nothing(cut.at) == []
    assert cut.hear(3.0, **SLIP).alarms


def test_settings_of_one_bit_are_no_others():
    """A bit's own limit holds for it alone: what is said of every other bit is the same to the last bit."""
    two = Context(bit=2, told=True)
    plain = Cut(scatter=2.0).hear(10.0)
    own = Cut(scatter=2.0, settings_of={2: Settings(factor=0.5)}).hear(10.0)
    assert own.scores == plain.scores
    for cut in (plain, own):
        cut.hear(10.0, context=two).hear(3.0, context=two, **SLIP)
    assert [alarm.threshold for alarm in own.alarms] == [0.5 * alarm.threshold for alarm in plain.alarms]
    for cut in (plain, own):
        cut.hear(6.0, phase=Phase.OFF).hear(12.0)
    assert own.scores[-200:] == plain.scores[-200:]


# What swells in step


@pytest.mark.parametrize("besides", [{}, TALK])
def test_a_slight_swell_in_step_alarms_when_it_lasts(besides: dict[str, float]):
    """A swell of more than a sixth every second turn, in step, is a loose bit in 4 s, beside talk too."""
    cut = Cut().hear(8.0)
    begin = cut.at
    cut.hear(5.0, steps=SWELLS, **besides)
    (alarm,) = cut.alarms
    assert alarm.cause == "loose"
    assert 1.0 < alarm.at - begin < 4.2
    assert alarm.onset == pytest.approx(begin, abs=0.2)
    assert "every second revolution" in alarm.because[0]
    assert cut.watcher.compared is (not besides)


@pytest.mark.parametrize("besides", [{}, TALK])
def test_a_swell_out_of_step_is_no_alarm(besides: dict[str, float]):
    """As deep a swell that is not in step is another machine's."""
    assert Cut().hear(8.0).hear(20.0, steps=(SWELLS[0], 0.12), **besides).alarms == []


def test_beside_talk_nothing_else_is_believed():
    """Talk may have any of the other signs."""
    assert Cut().hear(8.0).hear(20.0, **TALK, **SLIP).alarms == []


def test_an_alarm_by_what_swells_in_step_ends_when_it_is_over():
    """And what is said to be nothing does not alarm again."""
    cut = Cut().hear(8.0).hear(5.0, steps=SWELLS)
    assert max(cut.scores) <= 1.5
    over = cut.copy().hear(15.0, steps=(0.0, 0.01))
    assert over.turns[-2:] == ["alarm", "listen"]
    cut.watcher.nothing(cut.at)
    assert len(cut.hear(20.0, steps=SWELLS).alarms) == 1


def test_a_bit_that_was_never_tightened_is_heard_by_what_swells_in_step():
    """No baseline is needed for it, nor learned then; all that the bit cut may be of a loose one."""
    cut = Cut().air(2.0).hear(5.0, steps=SWELLS)
    (alarm,) = cut.alarms
    assert alarm.cause == "loose"
    assert alarm.at < 2.0 + 4.3
    assert alarm.last_good <= SECONDS
    assert not cut.watcher.learned


@pytest.mark.parametrize("besides", [TALK, {"own": LEAST_OWN - 2.0}])
def test_beside_talk_or_what_covers_the_cut_it_is_not(besides: dict[str, float]):
    """Talk may swell so, and nobody knows yet how much it usually does; what is hardly heard may be none."""
    assert Cut().air(2.0).hear(20.0, steps=SWELLS, **besides).alarms == []


def test_a_single_flute_must_swell_deeper():
    """By 6 dB: a swell that would alarm with more of them is none, and four times as much is one."""
    steps = np.array(SWELLS) / 10.0
    one = dataclasses.replace(NORMAL, single=True)
    several, single, deep = (
        Cut(normal=normal).hear(8.0).hear(8.0, steps=tuple(by * steps))
        for normal, by in ((NORMAL, 4.0), (one, 4.0), (one, 16.0))
    )
    assert [len(cut.alarms) for cut in (several, single, deep)] == [1, 0, 1]


def test_an_alarm_before_any_baseline_lasts_until_somebody_was_there():
    """No good sound is known that could end it. Once the spindle has stood how it sounds is learned."""
    cut = Cut().hear(5.0, steps=SWELLS).hear(15.0, steps=(0.0, 0.01)).hear(6.0, phase=Phase.OFF)
    assert cut.turns == ["learn", "alarm"]
    assert cut.hear(8.0, steps=(0.0, 0.01)).turns == ["learn", "alarm", "learn", "listen"]


def test_a_bit_that_is_checked_again_is_not_heard_in_another_way():
    """Once a person has tightened it its first seconds are compared with the good sound, and that is said."""
    cut = Cut().hear(8.0, steps=(0.0, 0.01)).hear(5.0, steps=SWELLS)
    cut.watcher.tightened(cut.at)
    assert len(cut.hear(2.0, steps=SWELLS).alarms) == 1


def test_talk_does_not_end_an_alarm():
    """What is heard beside talk may alarm; that the sound is good again must be heard without it."""
    cut = Cut().hear(8.0).hear(5.0, steps=SWELLS).hear(30.0, steps=(0.0, 0.01), **TALK)
    assert cut.watcher.state == "alarm"
    assert cut.hear(15.0, steps=(0.0, 0.01)).watcher.state == "listen"


def test_what_has_neither_comb_nor_teeth_does_not_end_an_alarm():
    """Noise that is as loud as a cut has no sign of a loose bit: it is no good sound for that."""
    cut = Cut().hear(8.0).hear(5.0, **SLIP).hear(30.0, hears=False)
    assert cut.watcher.state == "alarm"
    assert cut.hear(15.0).watcher.state == "listen"


def test_what_has_neither_comb_nor_teeth_is_neither_learned_nor_compared():
    """It may be another machine's noise: that no spindle is heard is said."""
    assert Cut().hear(8.0, hears=False).watcher.learned == frozenset()
    cut = Cut().hear(8.0).hear(5.0, hears=False, **SLIP)
    assert not cut.alarms
    assert not cut.watcher.compared
    assert (cut.watcher.state, cut.events[-1].because) == ("settle", "no spindle is heard")
    assert cut.hear(1.0).watcher.state == "listen"


def test_rocking_that_is_not_in_step_is_not_believed():
    """Where the swell is out of step no sum alarms by it, unless half orders are plain."""
    signs = {"rocking": 20.0, "modulation": 3.0, "half": 2.0, "spindle": 1.0}
    assert len(Cut().hear(8.0).hear(20.0, **signs).alarms) == 1
    cut = Cut().hear(8.0, steps=(0.0, 0.01))
    assert cut.copy().hear(20.0, steps=(0.0, 0.2), **signs).alarms == []
    assert len(cut.hear(20.0, steps=(0.0, 0.2), **signs | {"half": 20.0}).alarms) == 1


# What is found once is not taken back by less

RUNOUT = {"spindle": 12.0, "between": 8.0, "modulation": 12.0}
DOWN, SIDEWAYS = (Context(1, kind, told=True) for kind in FAMILIES)


def tightened_after_a_slip() -> Cut:
    """A bit that came loose and was tightened, before the cut goes on."""
    cut = Cut().hear(6.0, context=SIDEWAYS).hear(1.0, context=SIDEWAYS, **SLIP)
    cut.watcher.tightened(cut.at)
    return cut.hear(6.0, phase=Phase.OFF, context=SIDEWAYS)


def test_a_bit_that_a_check_found_loose_is_loose_as_long_as_it_sounds_so():
    """Also where it runs out of true and does not rock, which sums hardly count; the good sound ends it."""
    cut = cut_with_reference().hear(33.0, **RUNOUT)
    assert checks(cut)[-1] == ("reference", "loose")
    assert cut.watcher.state == "alarm"
    assert cut.hear(10.0).watcher.state == "listen"


def test_a_bit_that_was_clamped_anew_may_run_out_otherwise():
    """By its runout alone it is tight, and that is said; more than chance makes it a doubt, and no alarm."""
    cut = tightened_after_a_slip().hear(20.0, context=SIDEWAYS, **RUNOUT)
    (checked,) = (event for event in cut.events if isinstance(event, Checked))
    assert (checked.verdict, cut.watcher.state) == ("tight", "listen")
    assert "was the collet clean?" in checked.because[0]
    assert any("the spindle line rose 12 dB" in why for why in checked.because)
    more = tightened_after_a_slip().hear(5.0, context=SIDEWAYS, **RUNOUT | {"spindle": 16.0})
    assert (checks(more), more.watcher.state) == ([("before", "doubtful")], "uneasy")
    rocks = tightened_after_a_slip().hear(5.0, context=SIDEWAYS, **RUNOUT, half=5.0, rocking=8.0)
    assert (checks(rocks), rocks.watcher.state) == ([("before", "loose")], "alarm")


def test_what_a_check_found_is_not_over_where_another_kind_of_cut_hides_the_strongest_sign():
    """Straight down the hiss hardly swells, but the spindle line still stands out."""
    signs = {"spindle": 7.0, "between": 7.0}
    cut = tightened_after_a_slip().hear(
        6.0, context=SIDEWAYS, **signs, modulation=16.0, half=3.0, rocking=5.0
    )
    assert checks(cut) == [("before", "loose")]
    assert cut.hear(8.0, context=DOWN, **signs).watcher.state == "alarm"


def test_a_kind_of_cut_that_was_just_learned_takes_nothing_from_one_known_for_long():
    """Many short plunges end in a baseline at last: an alarm just then has the good sound of cuts across."""
    across, down = Context(1, "across", told=True), Context(1, "down", told=True)
    cut = Cut().hear(6.0, context=across)
    while (1, "down") not in cut.watcher.baselines:
        cut.hear(0.4, context=down)
        if (1, "down") not in cut.watcher.baselines:
            cut.hear(6.0, context=across)
    begun = cut.at
    cut.hear(0.5, context=across).hear(3.0, context=across, **SLIP)
    assert cut.alarms[-1].last_good > begun - 3.0
    assert set(cut.watcher.baselines) == {(1, "across")}, "the other may be the loose bit's"
    assert cut.copy().hear(10.0, context=across).watcher.state == "listen"
    stood = cut.hear(6.0, phase=Phase.OFF, context=across).hear(10.0, context=across, **SLIP)
    assert stood.watcher.state == "alarm"


@pytest.mark.parametrize("tightened", [False, True])
def test_a_doubt_stands_though_physics_has_nothing_against_another_kind_of_cut(*, tightened: bool):
    """Straight down the hiss hardly swells, of a loose bit either."""
    across, down = Context(1, "across", told=True), Context(1, "down", told=True)
    if tightened:
        cut = Cut().hear(6.0, context=across).hear(2.0, context=across, **SLIP)
        cut.watcher.tightened(cut.at)
        cut.hear(6.0, phase=Phase.OFF).hear(4.0, context=across, modulation=14.0, spindle=4.0)
    else:
        cut = Cut().hear(6.0, context=across, half=8.0, rocking=8.0)
    before = checks(cut)
    assert before[-1][1] == "doubtful"
    cut.hear(4.0, context=down, modulation=-8.0)
    assert (1, "down") in cut.watcher.baselines
    assert (checks(cut), cut.watcher.state) == (before, "uneasy")


# Which good sound a tightened bit is compared with


def tightened_after(cut: Cut, context: Context, **moved: float) -> Cut:
    """Let the bit come loose and be tightened; then the spindle starts again, for another kind of cut."""
    cut.hear(2.0, context=context, **moved, **{name: 20.0 for name in SIGN_NAMES if name not in moved})
    assert cut.alarms
    cut.events += cut.watcher.tightened(cut.at)
    return cut.hear(6.0, phase=Phase.OFF, context=context)


@pytest.mark.parametrize(("known", "cuts"), [(DOWN, SIDEWAYS), (SIDEWAYS, DOWN)])
def test_a_tightened_bit_is_compared_with_another_kind_of_cut_at_its_margins(known: Context, cuts: Context):
    """As far as cuts differ it is tight, and learned; what is far beyond is loose; physics may doubt."""
    before = tightened_after(Cut(normal=TIGHT).hear(6.0, context=known), known)
    differs = dict(zip(SIGN_NAMES, (UNLIKE[cuts.kind] * [1, 1, 0, 1, 0]).tolist(), strict=True))
    tight = before.copy().hear(4.0, context=cuts, **differs)
    assert checks(tight) == [("before", "tight")]
    assert (tight.watcher.state, (1, cuts.kind) in tight.watcher.baselines) == ("listen", True)
    loose = before.copy().hear(33.0, context=cuts, **SLIP)
    assert checks(loose) == [("before", "loose")]
    assert (loose.watcher.state, set(loose.watcher.baselines)) == ("alarm", {(1, known.kind)})
    assert loose.hear(10.0, context=cuts, **differs).watcher.state == "listen"
    rocks = before.hear(10.0, context=cuts, half=4.0, rocking=5.0)
    assert checks(rocks) == [("before", "doubtful")]
    assert "since it was tightened" in rocks.watcher.because


FAST, SLOW = (
    dataclasses.replace(SIDEWAYS, asked=(60.0 * speed, 60.0 * speed)) for speed in (NORMAL.speed, 200.0)
)
SLOWER = {"speed": 200.0 - NORMAL.speed}
# Runout is another at each speed, of a tight bit too.
THERE = SLOWER | {"spindle": 5.0, "modulation": 5.0}


def test_a_tightened_bit_is_compared_with_its_good_sound_at_the_speed_that_it_turns_at():
    """As it was there it is tight, and what is known of the other speed stays known."""
    cut = Cut().hear(6.0, context=FAST).hear(6.0, context=SLOW, **THERE)
    cut = tightened_after(cut, SLOW, **SLOWER)
    loose = cut.copy().hear(4.0, context=SLOW, **SLOWER | dict.fromkeys(SIGN_NAMES, 10.0))
    assert checks(loose) == [("before", "loose")]
    cut.hear(4.0, context=SLOW, **THERE)
    assert (checks(cut), cut.watcher.state) == ([("before", "tight")], "listen")
    assert cut.watcher.baselines[1, "across"].normal.speed == NORMAL.speed
    assert cut.hear(1.0, context=FAST).watcher.compared
    assert cut.hear(1.0, context=SLOW, **THERE).watcher.compared


@pytest.mark.parametrize(("asked", "found"), [(SLOW, ("physics", "tight")), (FAST, ("before", "doubtful"))])
def test_a_speed_that_is_new_to_a_tightened_bit_is_left_to_physics_if_it_is_asked_for(
    asked: Context, found: tuple[str, str]
):
    """As without a tightening; where it is not, it may be another machine, or a slip that slows it down."""
    cut = tightened_after(Cut(normal=TIGHT).hear(6.0, context=FAST), FAST)
    assert checks(cut.hear(4.0, context=asked, **SLOWER, spindle=16.0, modulation=16.0)) == [found]
    assert cut.watcher.baselines[1, "across"].normal.speed == NORMAL.speed


# A dial that is set twice is seldom set to quite the same.
DIAL = {"speed": 0.03 * NORMAL.speed}


def test_a_dial_that_is_somewhat_off_the_references_speed_hinders_no_end_of_an_alarm():
    """Neither by the good sound nor by a word: and what is heard then is compared."""
    cut = cut_with_reference().hear(6.0, **DIAL, **SLIP)
    assert checks(cut) == [("reference", "loose")]
    assert cut.copy().hear(12.0, **DIAL).watcher.state == "listen"
    cut.watcher.nothing(cut.at)
    cut.hear(10.0, **DIAL, **SLIP)
    assert (cut.watcher.state, cut.watcher.compared) == ("listen", True)


def test_what_was_said_to_be_nothing_is_nothing_at_another_speed():
    """As it is in another kind of cut; what is looser is not learned."""
    cut = cut_with_reference().hear(6.0, **SLIP)
    cut.watcher.nothing(cut.at)
    looser = SLOWER | {name: moved + 20.0 for name, moved in SLIP.items()}
    assert cut.copy().hear(8.0, **looser).watcher.state == "settle"
    cut.hear(8.0, **SLOWER, **SLIP)
    assert (cut.watcher.state, cut.watcher.compared) == ("listen", True)


def test_a_bit_that_its_reference_found_loose_is_compared_with_that_once_it_was_tightened():
    """The run itself knows no good sound of it; from then on it does."""
    cut = cut_with_reference().hear(6.0, **SLIP)
    for against in ("reference", "before"):
        cut.events += cut.watcher.tightened(cut.at)
        cut.hear(6.0, phase=Phase.OFF).hear(5.0)
        assert checks(cut)[-1] == (against, "tight")
        cut.hear(2.0, **SLIP)
        assert cut.watcher.state == "alarm"


def test_what_was_building_before_the_spindle_stood_is_not_building_in_the_air():
    """Nothing of it adds up with what comes after, so neither is it told."""
    cut = LEARNED.copy()
    while not 0.5 < cut.watcher.score < 1.0:
        cut.rows(1, **dict.fromkeys(SIGN_NAMES, 9.0))
    assert cut.alarms == []
    cut.hear(8.0, phase=Phase.OFF).air(1.0)
    assert (cut.watcher.score, cut.watcher.state) == (0.0, "listen")
