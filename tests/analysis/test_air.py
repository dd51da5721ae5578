"""What the air sounds like is learned in the air and taken off the cut."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.air import Air
from analysis.features import GROUPS
from analysis.presence import Phase

AIR = np.float32([4.0, 9.0, 2.0, 1.0, 0.5])
CUT = np.float32([100.0, 50.0, 20.0, 10.0, 5.0])
NOISE = GROUPS.index("noise")
POWERS = st.lists(st.floats(-1, 100, width=32), min_size=5, max_size=5).map(np.float32)


def after(air: Air, phase: Phase, seconds: float, groups: NDArray[np.float32] = AIR, *, apart: bool = True):
    """Let some seconds of a phase pass."""
    for _ in range(round(seconds / 0.05)):
        air.row(groups, phase, apart=apart)
    return air


def taken(air: Air, groups: NDArray[np.float32] = CUT) -> list[float]:
    """One row of a cut without the air."""
    return air.row(groups, Phase.CUT, apart=True).tolist()


def test_the_air_is_taken_off_half_again_as_strong():
    """From every group 1.5 times the air's power is taken, but from the noise; nothing becomes negative."""
    air = after(Air(0.05), Phase.AIR, 20.0)
    assert taken(air) == pytest.approx([94.0, 50.0, 17.0, 8.5, 4.25])
    assert taken(air, AIR) == [0.0, 9.0, 0.0, 0.0, 0.0]


def test_without_air_the_cut_is_as_it_was_heard():
    """Before any air was heard nothing is known of it, and nothing taken off."""
    assert taken(Air(0.05)) == CUT.tolist()


def test_air_itself_is_passed_on():
    """Only cuts lose the air; a row of air, or of a stopped spindle, is what it was."""
    air = after(Air(0.05), Phase.AIR, 5.0)
    assert air.row(CUT, Phase.AIR, apart=True).tolist() == CUT.tolist()
    assert air.row(CUT, Phase.OFF, apart=True).tolist() == CUT.tolist()


def test_a_stopped_spindle_begins_anew():
    """When the spindle stops, its air is forgotten: the next bit has another."""
    air = after(after(Air(0.05), Phase.AIR, 5.0), Phase.OFF, 0.05)
    assert taken(air) == CUT.tolist()


def test_what_may_have_been_the_cut_is_not_taken_for_air():
    """As long as air and cut cannot be told apart, nothing counts as air."""
    assert taken(after(Air(0.05), Phase.AIR, 20.0, apart=False)) == CUT.tolist()


def test_the_end_of_a_cut_is_not_air():
    """The first rows after a cut hold the cut as well: the air is learned from those after them."""
    air = after(Air(0.05), Phase.AIR, 20.0)
    known = taken(air)
    after(air, Phase.AIR, 0.15, groups=CUT)
    assert taken(air) == known


@pytest.mark.parametrize("seconds", [0.02, 0.05, 0.125])
def test_old_air_is_forgotten_in_seconds(seconds: float):
    """When the air changes, what was known decays by e in 2 s, however long the rows are."""
    air, louder = Air(seconds), AIR * np.float32(5)
    for _ in range(round(20.0 / seconds)):
        air.row(AIR, Phase.AIR, apart=True)
    for _ in range(round(2.0 / seconds)):
        air.row(louder, Phase.AIR, apart=True)
    tooth = (CUT[0] - taken(air)[0]) / 1.5
    assert tooth == pytest.approx(louder[0] + (AIR[0] - louder[0]) / np.e, rel=0.03)


@given(st.lists(st.tuples(st.sampled_from(Phase), POWERS), max_size=40), POWERS)
def test_never_more_than_was_heard(rows: list[tuple[Phase, NDArray[np.float32]]], last: NDArray[np.float32]):
    """Whatever came before, a cut keeps its noise, gains nothing, and the rows handed in are left alone."""
    air = Air(0.05)
    for phase, groups in rows:
        air.row(groups, phase, apart=True)
    before = last.copy()
    left = air.row(last, Phase.CUT, apart=True)
    assert last.tobytes() == before.tobytes()
    assert left[NOISE] == last[NOISE] or left[NOISE] == 0.0 >= last[NOISE]
    assert np.all(left <= np.maximum(last, 0))
