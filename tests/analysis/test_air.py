"""What the air sounds like is learned in the air and taken off the cut."""

import numpy as np
import pytest
from hand_made import comb, white, windows_of
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.air import LEAST_OWN, Air, Telling
from analysis.features import ABSENT, Ear, FeatureReader, Rows, standing
from analysis.presence import Phase

NOISE = np.float32([1.0, 1.0, 2.0, 2.0, 4.0])
AIR = Telling(
    NOISE * np.float32(1.25) + np.float32([4.0, 0.0, 2.0, 1.0, 0.5]), NOISE, 2.0, np.float32([-18.0, -20.0])
)
CUT = Telling(np.float32([100.0, 50.0, 20.0, 10.0, 5.0]), NOISE, 8.0, np.float32([-12.0, -17.0]))
POWERS = st.lists(st.floats(0, 100, width=32), min_size=5, max_size=5).map(np.float32)
SWELLS = st.lists(st.floats(ABSENT, 0, width=32), min_size=2, max_size=2).map(np.float32)
TELLINGS = st.builds(Telling, POWERS, POWERS, st.floats(0, 100), SWELLS, st.just(1.0))

# The swell is raised by 3 dB at most, as where half of the hiss is the cut's own.
MOST_RAISED = -10 * np.log10(0.5)


def after(air: Air, phase: Phase, seconds: float, heard: Telling = AIR, *, apart: bool = True) -> Air:
    """Let some seconds of a phase pass."""
    for _ in range(round(seconds / 0.05)):
        air.row(heard, phase, apart=apart)
    return air


def taken(air: Air, heard: Telling = CUT) -> Telling:
    """One row of a cut without the air."""
    return air.row(heard, Phase.CUT, apart=True)


def as_bytes(heard: Telling) -> tuple[bytes, ...]:
    """All of a row, to compare it with another."""
    return tuple(np.asarray(part).tobytes() for part in heard)


def test_the_airs_lines_are_taken_off_half_again_as_strong():
    """Of each line 1.5 times what stands a quarter above the air's noise is taken; none becomes negative."""
    air = after(Air(0.05), Phase.AIR, 20.0)
    left = taken(air)
    assert left.lines.tolist() == pytest.approx([94.0, 50.0, 17.0, 8.5, 4.25])
    assert left.noise.tolist() == CUT.noise.tolist()
    assert left.hiss == CUT.hiss
    assert taken(air, CUT._replace(lines=np.float32([1, 1, 1, 1, 1]))).lines.min() == 0.0


def test_noise_in_the_air_is_no_line():
    """What stands no more than a quarter above the noise about it is chance: nothing is taken off for it."""
    air = after(Air(0.05), Phase.AIR, 20.0, AIR._replace(lines=np.float32(1.25) * NOISE))
    assert taken(air).lines.tolist() == CUT.lines.tolist()


@pytest.mark.parametrize("share", [0.0, 0.1, 0.3, 0.5])
def test_other_hiss_hides_the_swell_by_its_share(share: float):
    """Where a share of the hiss is the air's, swells are raised by half of the 20 lg that the cut loses."""
    left = taken(after(Air(0.05), Phase.AIR, 20.0, AIR._replace(hiss=share * CUT.hiss)))
    assert left.own == pytest.approx(1 - share)
    assert left.swell == pytest.approx(CUT.swell - 10 * np.log10(1 - share))


@pytest.mark.parametrize("share", [0.6, 0.9, 10.0])
def test_what_is_mostly_from_elsewhere_is_raised_no_further(share: float):
    """Where less than half of the hiss is the cut's, it is raised as by half and no more."""
    left = taken(after(Air(0.05), Phase.AIR, 20.0, AIR._replace(hiss=share * CUT.hiss)))
    assert left.own == pytest.approx(1 - share)
    assert left.swell == pytest.approx(CUT.swell + MOST_RAISED)


def test_of_a_cut_that_is_hardly_heard_nothing_is_told():
    """Its own share of the hiss is below the least that tells, where the air is three times as loud as it."""
    air = after(Air(0.05), Phase.AIR, 20.0, AIR._replace(hiss=3.0))
    assert taken(air, CUT._replace(hiss=3.9)).own < LEAST_OWN < taken(air, CUT._replace(hiss=4.1)).own


@pytest.mark.parametrize("which", [0, 1])
def test_a_swell_that_is_absent_stays_so(which: int):
    """Where the hiss does not swell there is nothing to put right; the other swell is raised all the same."""
    swell = CUT.swell.copy()
    swell[which] = ABSENT
    left = taken(after(Air(0.05), Phase.AIR, 20.0, AIR._replace(hiss=4.0)), CUT._replace(swell=swell))
    assert left.swell[which] == ABSENT
    assert left.swell[1 - which] == pytest.approx(CUT.swell[1 - which] + MOST_RAISED)


def test_without_air_the_cut_is_as_it_was_heard():
    """Before any air was heard nothing is known of it, and nothing taken off."""
    assert taken(Air(0.05)) is CUT
    assert CUT.own == 1.0


def test_air_itself_is_passed_on():
    """Only cuts lose the air; a row of air, or of a stopped spindle, is what it was."""
    air = after(Air(0.05), Phase.AIR, 5.0)
    assert air.row(CUT, Phase.AIR, apart=True) is CUT
    assert air.row(CUT, Phase.OFF, apart=True) is CUT


def test_a_stopped_spindle_begins_anew():
    """When the spindle stops, its air is forgotten: the next bit has another."""
    assert taken(after(after(Air(0.05), Phase.AIR, 5.0), Phase.OFF, 0.05)) is CUT


def test_what_may_have_been_the_cut_is_not_taken_for_air():
    """As long as air and cut cannot be told apart, nothing counts as air."""
    assert taken(after(Air(0.05), Phase.AIR, 20.0, apart=False)) is CUT


def test_the_end_of_a_cut_is_not_air():
    """The first rows after a cut hold the cut as well: the air is learned from those after them."""
    air = after(Air(0.05), Phase.AIR, 20.0)
    known = taken(air)
    left = taken(after(air, Phase.AIR, 0.15, CUT))
    assert as_bytes(left) == as_bytes(known)


@pytest.mark.parametrize("seconds", [0.02, 0.05, 0.125])
def test_old_air_is_forgotten_in_seconds(seconds: float):
    """When the air changes, what was known decays by e in 2 s, however long the rows are."""
    air, louder = Air(seconds), AIR._replace(lines=AIR.lines + np.float32(16), hiss=3.5)
    for _ in range(round(20.0 / seconds)):
        air.row(AIR, Phase.AIR, apart=True)
    for _ in range(round(2.0 / seconds)):
        air.row(louder, Phase.AIR, apart=True)
    left = taken(air)
    assert (CUT.lines[0] - left.lines[0]) / 1.5 == pytest.approx(20.0 - 16.0 / np.e, rel=0.03)
    assert (1 - left.own) * CUT.hiss == pytest.approx(3.5 - 1.5 / np.e, rel=0.03)


@given(st.lists(st.tuples(st.sampled_from(Phase), TELLINGS), max_size=40), TELLINGS)
def test_never_more_line_than_was_heard(rows: list[tuple[Phase, Telling]], last: Telling):
    """Whatever came before, a cut keeps its noise and hiss, no line gains, what is handed in stays."""
    air = Air(0.05)
    for phase, heard in rows:
        air.row(heard, phase, apart=True)
    before = as_bytes(last)
    left = air.row(last, Phase.CUT, apart=True)
    assert as_bytes(last) == before
    assert (left.noise.tobytes(), left.hiss) == (last.noise.tobytes(), last.hiss)
    assert np.all((left.lines >= 0) & (left.lines <= last.lines))
    raised = left.swell - last.swell
    assert np.all((raised >= 0.0) & (raised <= MOST_RAISED + 1e-5))
    assert left.own <= 1.0


# With sound

RATE = 48_000
EAR = Ear.for_speed(RATE, 18_000, 2)
SECONDS = 4.0


def rows_of(sound: NDArray[np.floating]) -> Rows:
    """All rows of a sound."""
    return FeatureReader(EAR).read(windows_of(sound.astype(np.float32), EAR.size, EAR.hop))


def tellings(rows: Rows) -> list[Telling]:
    """What tells in each row."""
    return [
        Telling(lines, noise, 10 ** (float(hiss) / 10), np.array(swell))
        for lines, noise, hiss, *swell in zip(
            rows.tells, rows.hides, rows.hiss, rows.modulation, rows.rocking, strict=True
        )
    ]


def without_air(cut: NDArray[np.floating], air: NDArray[np.floating]) -> list[Telling]:
    """The rows of a cut in some air, after that air was heard alone."""
    known = Air(EAR.seconds)
    for heard in tellings(rows_of(air)):
        known.row(heard, Phase.AIR, apart=True)
    return [known.row(heard, Phase.CUT, apart=True) for heard in tellings(rows_of(cut + air))]


def swelling(depth: float) -> NDArray[np.float64]:
    """A cut whose hiss swells once a turn, with its teeth."""
    time = np.arange(round(SECONDS * RATE)) / RATE
    hiss = white(SECONDS, RATE, 0.1, seed=1) * np.sqrt(1 + depth * np.cos(2 * np.pi * 300.0 * time))
    return hiss + comb(SECONDS, RATE, 300.0, {2: 0.3, 4: 0.2, 6: 0.1})


def mean_swell(rows: list[Telling]) -> float:
    """The swell, dB, mean power of some rows."""
    return float(10 * np.log10(np.mean([10 ** (one.swell[0] / 10) for one in rows[4:]])))


@pytest.mark.parametrize("depth", [0.4, 0.7, 0.95])
@pytest.mark.parametrize("other", [0.03, 0.06, 0.09])
def test_the_swell_under_another_hiss_is_half_restored(depth: float, other: float):
    """
    Of what a swell loses where up to 45 % of the hiss is a collector's half is put right, within 1 dB.

    In the mean power of the rows: noise scatters them, and the median of their dB falls by half a dB more.
    """
    air = white(SECONDS, RATE, other, seed=2) + comb(SECONDS, RATE, 300.0, {2: 0.01, 4: 0.01, 6: 0.01})
    cut = swelling(depth)
    alone, left = tellings(rows_of(cut)), without_air(cut, air)
    share = 0.1**2 / (0.1**2 + other**2)
    assert mean_swell(alone) == pytest.approx(20 * np.log10(depth), abs=1.5)
    assert mean_swell(left) == pytest.approx(mean_swell(alone) + 10 * np.log10(share), abs=1.0)
    assert np.median([one.own for one in left]) == pytest.approx(share, abs=0.08)


@pytest.mark.parametrize("tone", [0.03, 0.1])
def test_a_tone_of_the_air_is_no_runout_of_the_cut(tone: float):
    """A fan's tone on the spindle line and on half orders is taken off: the cut's stand as without it."""
    teeth = {2: 0.3, 4: 0.2, 6: 0.1}
    air = comb(SECONDS, RATE, 300.0, {1: tone, 0.5: tone, 1.5: tone}, seed=3) + white(SECONDS, RATE, 0.003, 4)
    cut = comb(SECONDS, RATE, 300.0, teeth, seed=5) + white(SECONDS, RATE, 0.05, 6)
    alone, both, left = tellings(rows_of(cut)), tellings(rows_of(cut + air)), without_air(cut, air)

    def stands(some: list[Telling]) -> NDArray[np.floating]:
        return np.median([standing(one.lines, one.noise, len(EAR.telling)) for one in some[4:]], axis=0)

    assert np.all(stands(both)[[0, 2]] > stands(alone)[[0, 2]] + 5.0)
    assert np.all(stands(left) < stands(alone) + 1.0)


def test_an_air_that_was_louder_than_the_cut_is_forgotten():
    """No cut is quieter than the air: within its memory of 2 s it is unknown, until it is heard anew."""
    air = after(Air(0.05), Phase.AIR, 5.0, AIR._replace(hiss=2.0 * CUT.hiss))
    assert taken(air).own == pytest.approx(-1.0)
    assert taken(after(air, Phase.CUT, 2.0, CUT)).own == 1.0
    assert taken(after(air, Phase.AIR, 1.0)).own == pytest.approx(1.0 - AIR.hiss / CUT.hiss)


def test_a_cut_that_is_hardly_louder_than_the_air_forgets_nothing():
    """Nor does a quiet moment of a cut."""
    air = after(Air(0.05), Phase.AIR, 5.0, AIR._replace(hiss=1.05 * CUT.hiss))
    assert taken(after(air, Phase.CUT, 60.0, CUT)).own == pytest.approx(-0.05)
    louder = after(Air(0.05), Phase.AIR, 5.0)
    after(louder, Phase.CUT, 0.5, CUT._replace(hiss=1.0))
    assert taken(louder).own == pytest.approx(1.0 - AIR.hiss / CUT.hiss)


def test_after_the_spindle_stood_the_air_is_learned_anew():
    """What the shop was before does not linger: a bit that turns again is heard in another air."""
    air = after(after(Air(0.05), Phase.AIR, 20.0, AIR._replace(hiss=0.9 * CUT.hiss)), Phase.OFF, 1.0)
    assert taken(after(air, Phase.AIR, 0.5)).own == pytest.approx(1.0 - AIR.hiss / CUT.hiss)
