"""Running or not, cutting or not, told from levels alone; whatever the thresholds are."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis import presence
from analysis.presence import Phase, Presence

HEARD, UNHEARD = presence.COMB_ON + 3.0, presence.COMB_OFF - 1.0
AIR, CUT = -50.0, -50.0 + presence.RISE + 6.0
SECONDS = 0.05
BANDS = 9


class Machine:
    """Feeds a presence with stretches of steady sound and keeps what it said."""

    def __init__(self, seconds: float = SECONDS, gain: float = 0.0) -> None:
        self.presence = Presence(seconds)
        self.phases: list[Phase] = []
        self.corrected: list[bool] = []
        self._seconds, self._gain = seconds, gain

    def hear(
        self,
        lasting: float,
        level: float,
        *,
        teeth: float | None = None,
        stands: float = HEARD,
        is_air: bool = False,
        tilt: NDArray[np.float64] | float = 0.0,
    ) -> "Machine":
        """Let a stretch pass; teeth go with the sound unless told, bands with the level and their tilt."""
        strength = (level - 5.0 if teeth is None else teeth) + self._gain
        colour = np.linspace(-5.0, -25.0, BANDS) + level + tilt + self._gain
        for _ in range(round(lasting / self._seconds)):
            self.phases.append(self.presence.row(level + self._gain, colour, stands, strength, is_air=is_air))
            self.corrected.append(self.presence.corrected)
        return self

    def stop(self, lasting: float, level: float = -70.0) -> "Machine":
        """Let a stretch without a spindle pass."""
        return self.hear(lasting, level, stands=UNHEARD)

    @property
    def story(self) -> list[Phase]:
        """The phases in turn, without repetitions."""
        return [phase for phase, _ in itertools.groupby(self.phases)]

    def when(self, phase: Phase) -> float:
        """When a phase first was, s."""
        return self.phases.index(phase) * self._seconds


# The spindle


@given(st.lists(st.tuples(st.floats(-100, 0), st.floats(-1, presence.COMB_OFF - 1e-6)), max_size=100))
def test_without_a_comb_there_is_no_spindle(rows: list[tuple[float, float]]):
    """However loud it is, sound without the spindle's comb is no spindle."""
    presence = Presence(SECONDS)
    assert all(presence.row(level, np.full(BANDS, level), comb, level) is Phase.OFF for level, comb in rows)


@pytest.mark.parametrize("seconds", [0.02, 0.05, 0.125])
def test_a_spindle_is_heard_when_it_is_sure(seconds: float):
    """A comb that lasts is a spindle, after the seconds that the rules want, however long a row is."""
    machine = Machine(seconds).stop(2.0).hear(2.0, AIR)
    assert machine.story == [Phase.OFF, Phase.AIR]
    assert machine.when(Phase.AIR) == pytest.approx(2.0 + presence.HEARD_FOR, abs=1.01 * seconds)


def test_a_comb_now_and_then_is_no_spindle():
    """Noise that looks like a comb for a moment, again and again, is none."""
    machine = Machine()
    for _ in range(50):
        machine.hear(presence.HEARD_FOR / 2, AIR).stop(SECONDS)
    assert machine.story == [Phase.OFF]


@pytest.mark.parametrize("seconds", [0.02, 0.05, 0.125])
def test_a_spindle_is_held(seconds: float):
    """A spindle that is not heard for less than the hold still runs; for longer, it has stopped."""
    machine = Machine(seconds).stop(1.0).hear(2.0, AIR).stop(presence.HOLD / 2, AIR).hear(1.0, AIR)
    assert machine.story == [Phase.OFF, Phase.AIR]
    begun = len(machine.phases) * seconds
    machine.stop(3.0)
    assert machine.story == [Phase.OFF, Phase.AIR, Phase.OFF]
    stopped = (len(machine.phases) - machine.phases[::-1].index(Phase.AIR)) * seconds
    assert stopped - begun == pytest.approx(presence.HOLD, abs=2.01 * seconds)


@pytest.mark.parametrize("seconds", [0.02, 0.05, 0.125])
def test_a_cut_may_drown_the_comb_for_a_while(seconds: float):
    """What cuts is turning, though nothing tells of it; but noise that is as loud as a cut is none."""
    machine = Machine(seconds).stop(1.0).hear(2.0, AIR).hear(2.0, CUT)
    assert machine.hear(presence.DROWNED - 0.5, CUT, stands=UNHEARD).hear(1.0, CUT).phases[-1] is Phase.CUT
    begun = len(machine.phases) * seconds
    machine.hear(2.0 * (presence.DROWNED + presence.HOLD), CUT, stands=UNHEARD)
    assert machine.story == [Phase.OFF, Phase.AIR, Phase.CUT, Phase.OFF]
    stopped = (len(machine.phases) - machine.phases[::-1].index(Phase.CUT)) * seconds
    assert stopped - begun == pytest.approx(presence.DROWNED + presence.HOLD, abs=2.01 * seconds)


def test_a_cut_that_drowned_the_comb_ends_in_the_air():
    """A spindle that is heard again within the hold after such a cut has not stopped."""
    machine = Machine().stop(1.0).hear(2.0, AIR).hear(2.0, CUT)
    machine.hear(presence.DROWNED - 0.5, CUT, stands=UNHEARD).stop(presence.HOLD / 2, AIR).hear(2.0, AIR)
    assert machine.story == [Phase.OFF, Phase.AIR, Phase.CUT, Phase.AIR]


def test_it_tells_for_how_long_nothing_was_heard_of_the_spindle():
    """In a cut it is told apart whether comb and teeth are heard, give or take the hold."""
    machine = Machine().stop(1.0).hear(2.0, AIR).hear(2.0, CUT)
    assert machine.hear(presence.HOLD / 2, CUT, stands=UNHEARD).presence.hears
    assert not machine.hear(presence.HOLD, CUT, stands=UNHEARD).presence.hears
    assert machine.phases[-1] is Phase.CUT
    assert machine.hear(SECONDS, CUT).presence.hears


def test_it_remembers_that_a_spindle_has_stood():
    """What is cut after a spindle has stopped may be another cut, for good."""
    machine = Machine().stop(3.0).hear(2.0, AIR).hear(2.0, CUT)
    assert not machine.presence.stood
    assert machine.stop(3.0).presence.stood
    assert machine.hear(2.0, AIR).presence.stood


# Air and cut


def test_a_rise_is_a_cut_and_its_end_is_air():
    """Louder than the air by more than the rise is a cut, as often as it comes."""
    machine = Machine().stop(1.0).hear(2.0, AIR)
    for _ in range(4):
        machine.hear(3.0, CUT).hear(2.0, AIR)
    assert machine.story == [Phase.OFF, *[Phase.AIR, Phase.CUT] * 4, Phase.AIR]


@pytest.mark.parametrize("seconds", [0.02, 0.05, 0.125])
def test_a_cut_right_after_the_spindle_is_heard_is_no_air(seconds: float):
    """What tells of a spindle is smoothed: it turned before it was heard, and that is how the air sounds."""
    machine = Machine(seconds).stop(1.0).stop(1.0, AIR).hear(presence.HEARD_FOR + 0.15, AIR).hear(2.0, CUT)
    assert machine.story == [Phase.OFF, Phase.AIR, Phase.CUT]
    assert machine.when(Phase.CUT) == pytest.approx(2.0 + presence.HEARD_FOR + 0.15, abs=2.01 * seconds + 0.1)


def test_a_cut_is_heard_soon():
    """Beginning and end of a cut are told within 0.2 s."""
    machine = Machine().stop(1.0).hear(2.0, AIR).hear(3.0, CUT).hear(2.0, AIR)
    cuts = [i * SECONDS for i, phase in enumerate(machine.phases) if phase is Phase.CUT]
    assert cuts[0] == pytest.approx(3.0, abs=0.2)
    assert cuts[-1] == pytest.approx(6.0, abs=0.2)


@settings(max_examples=30)
@given(st.lists(st.floats(0.0, 0.95), min_size=60, max_size=200))
def test_air_that_wanders_less_than_a_cut_is_air(shares: list[float]):
    """Once a cut was heard, air that rises by half of what ends a cut is never one."""
    machine = Machine().hear(presence.HEARD_FOR + presence.FIRST + 1.0, AIR)
    machine.hear(1.5, CUT).hear(1.0, AIR)
    before = len(machine.phases)
    for share in shares:
        machine.hear(SECONDS, AIR + 0.5 * share * presence.FALL)
    assert set(machine.phases[before:]) == {Phase.AIR}


@settings(max_examples=30)
@given(gain=st.floats(-40, 40))
def test_the_microphones_gain_does_not_matter(gain: float):
    """Everything louder or quieter by the same gives the same phases."""

    def run(by: float) -> list[Phase]:
        machine = Machine(gain=by).stop(1.0).hear(2.0, AIR).hear(3.0, CUT).hear(1.0, AIR)
        return machine.stop(3.0).hear(9.0, CUT).hear(2.0, AIR).phases

    assert run(gain) == run(0.0)


def test_air_that_is_known_may_grow_louder():
    """Where the program says that nothing is cut, a collector is air, and the cut stands above it."""
    louder = CUT + 3.0
    machine = Machine().stop(1.0).hear(2.0, AIR, is_air=True).hear(4.0, louder, is_air=True)
    assert machine.phases[-1] is Phase.AIR
    machine.hear(2.0, louder)
    assert machine.phases[-1] is Phase.AIR
    assert machine.hear(1.0, louder + presence.RISE + 2.0).phases[-1] is Phase.CUT


def test_a_cut_that_was_taken_for_air_tells_that_the_air_is_quieter():
    """Once teeth tell that it cuts, that sound is a cut, and its end is air, as often as they come."""
    light = CUT - presence.RISE - 2.0
    machine = Machine().stop(1.0).hear(2.0, light).hear(2.0, CUT).hear(4.0, light)
    assert machine.phases[-1] is Phase.AIR
    machine.presence.bites()
    begun = len(machine.phases)
    for _ in range(3):
        machine.hear(4.0, light).hear(2.0, CUT + 6.0)
    assert set(machine.phases[begun:]) == {Phase.CUT}
    assert machine.hear(2.0, light - 2.0 * presence.RISE).phases[-1] is Phase.AIR
    assert machine.hear(2.0, light).phases[-1] is Phase.CUT


def test_a_spindle_that_is_not_heard_has_no_teeth():
    """Where no spindle is heard nothing becomes a cut."""
    machine = Machine().stop(3.0)
    machine.presence.bites()
    assert machine.stop(1.0, CUT).story == [Phase.OFF]


def bands_up(count: int, by: float, first: int = 0) -> NDArray[np.float64]:
    """Tilt that raises ``count`` bands from the one given."""
    return np.where((np.arange(BANDS) >= first) & (np.arange(BANDS) < first + count), by, 0.0)


def cuts_heard(tilt: NDArray[np.float64]) -> bool:
    """Whether a stretch whose bands are so much above the air's, at the same level, is taken for a cut."""
    machine = Machine().stop(1.0).hear(2.0, AIR).hear(1.0, AIR, tilt=tilt)
    return machine.phases[-1] is Phase.CUT


@pytest.mark.parametrize("first", [0, 4, BANDS - 3])
def test_a_third_of_the_bands_makes_a_cut(first: int):
    """Three bands of nine above the air by more than the rise are a cut, wherever they are; two are none."""
    assert cuts_heard(bands_up(3, presence.RISE + 0.5, first))
    assert not cuts_heard(bands_up(2, 30.0, first))


@settings(max_examples=30)
@given(st.lists(st.floats(-20, 20), min_size=BANDS, max_size=BANDS).map(np.array))
def test_a_cut_by_brute_force(tilt: NDArray[np.float64]):
    """Whatever the bands do: it is a cut when three of them rose by more than the rise, and only then."""
    assume(np.abs(tilt - presence.RISE).min() > 0.01 and np.abs(tilt - presence.FALL).min() > 0.01)
    assert cuts_heard(tilt) == (np.count_nonzero(tilt > presence.RISE) >= 3)


@given(st.integers(0, 2**31))
def test_which_bands_rise_does_not_matter(seed: int):
    """The same rises in other bands give the same phases."""
    rng = np.random.default_rng(seed)
    tilt = rng.normal(0, 4, BANDS)
    assert cuts_heard(tilt) == cuts_heard(rng.permutation(tilt))


def test_one_loud_band_hides_no_cut():
    """A collector that drowns the low bands, air and cut alike, leaves the cut's hiss in the others."""
    drowned = bands_up(5, 20.0)
    machine = Machine().stop(1.0).hear(2.0, AIR, tilt=drowned)
    assert machine.hear(2.0, AIR, tilt=drowned + bands_up(4, 6.0, 5)).phases[-1] is Phase.CUT
    assert machine.hear(2.0, AIR, tilt=drowned).phases[-1] is Phase.AIR


def test_a_cut_ends_when_too_few_bands_are_left():
    """Between fall and rise a cut goes on; below the fall it ends."""
    between, below = 0.5 * (presence.RISE + presence.FALL), presence.FALL - 0.5
    machine = Machine().stop(1.0).hear(2.0, AIR).hear(2.0, CUT)
    assert machine.hear(2.0, AIR, tilt=bands_up(4, between)).phases[-1] is Phase.CUT
    assert machine.hear(1.0, AIR, tilt=bands_up(4, below)).phases[-1] is Phase.AIR
    assert machine.hear(1.0, AIR, tilt=bands_up(4, between)).phases[-1] is Phase.AIR


def test_a_new_start_of_the_spindle_has_its_own_air():
    """After a stop the air is learned again: another bit, another speed."""
    machine = Machine().stop(1.0).hear(2.0, AIR).hear(3.0, CUT).stop(4.0).hear(3.0, CUT + 5.0)
    assert machine.story == [Phase.OFF, Phase.AIR, Phase.CUT, Phase.AIR, Phase.OFF, Phase.AIR]


# A recording that begins in the middle


@pytest.mark.parametrize("seconds", [0.02, 0.05, 0.125])
def test_one_steady_sound_is_taken_for_the_cut(seconds: float):
    """When nothing else is heard for the patience, the sound is assumed to be the cut."""
    machine = Machine(seconds).hear(20.0, CUT)
    assert machine.story[-1] is Phase.CUT
    assert machine.presence.assumed
    latest = presence.HEARD_FOR + presence.FIRST + presence.PATIENCE
    assert machine.when(Phase.CUT) == pytest.approx(latest, abs=presence.FIRST + 4 * seconds)
    assert not any(machine.corrected)


def test_a_lower_sound_shows_the_air():
    """When an assumed cut is followed by a far lower sound, the assumption was right and that is the air."""
    machine = Machine().hear(20.0, CUT).hear(3.0, CUT - presence.DROP - 6.0)
    assert machine.phases[-1] is Phase.AIR
    assert not machine.presence.assumed
    assert not any(machine.corrected)
    assert machine.hear(2.0, CUT).phases[-1] is Phase.CUT


def test_a_higher_sound_shows_that_it_was_the_air():
    """When louder teeth follow, what was assumed to be the cut was the air: that is said once."""
    machine = Machine().hear(20.0, AIR).hear(5.0, CUT)
    assert machine.phases[-1] is Phase.CUT
    assert not machine.presence.assumed
    assert sum(machine.corrected) == 1
    assert machine.hear(2.0, AIR).phases[-1] is Phase.AIR


def test_a_louder_shop_is_no_louder_cut():
    """A collector that makes all louder, but not the teeth, leaves the assumption alone."""
    machine = Machine().hear(20.0, CUT).hear(5.0, CUT + 20.0, teeth=CUT - 5.0)
    assert machine.presence.assumed
    assert not any(machine.corrected)
    assert machine.phases[-1] is Phase.CUT


def test_a_bang_corrects_nothing():
    """Half a second of bang, teeth and all, is no other cut."""
    machine = Machine().hear(20.0, CUT).hear(0.5, CUT + 25.0).hear(3.0, CUT)
    assert machine.presence.assumed
    assert not any(machine.corrected)


@given(
    st.lists(
        st.tuples(st.floats(0.05, 3.0), st.floats(-90, 0), st.floats(-90, 0), st.booleans(), st.booleans()),
        max_size=20,
    )
)
def test_whatever_comes_there_is_a_phase(stretches: list[tuple[float, float, float, bool, bool]]):
    """Any sound has a phase; an assumption is only made while cutting, and is corrected in a cut alone."""
    machine = Machine()
    for lasting, level, teeth, runs, is_air in stretches:
        machine.hear(lasting, level, teeth=teeth, stands=HEARD if runs else UNHEARD, is_air=is_air)
        if machine.presence.assumed:
            assert machine.phases[-1] in {Phase.CUT, Phase.OFF}
    assert all(
        phase is Phase.CUT for phase, wrong in zip(machine.phases, machine.corrected, strict=True) if wrong
    )
