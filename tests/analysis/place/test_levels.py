"""What air and cut sound like is learned on the way, and what is odd is told from what is new."""

import numpy as np
import pytest

from analysis.place import levels
from analysis.place.levels import AIR, CUT, STILL, STILL_VAR, Heard

NEVER = np.array([False, False])


def hear(
    state: "np.typing.NDArray[np.float64]", level: float, times: int = 1
) -> "np.typing.NDArray[np.float64]":
    """Let a cell in air and one in a usual cut hear a level some times; how well both foresaw the last."""
    fits = np.ones(2)
    for _ in range(times):
        fits = levels.hear(state, np.array([np.nan, 0.0]), NEVER, Heard(level, 0.8, 0.2))
    return fits


def test_both_learn_what_they_hear():
    """A cell in air takes a steady level for the air's, one in the cut for the cut's."""
    state = levels.unheard(2)
    hear(state, -37.0, 40)
    assert state[AIR, 0] == pytest.approx(-37.0, abs=0.3)
    assert state[CUT, 1] == pytest.approx(-37.0, abs=1.5)
    assert state[AIR, 1] < -40.0


def test_before_anything_was_heard_all_is_alike():
    """The first level fits air and cut about as well: nothing is known yet."""
    air, cut = hear(levels.unheard(2), -37.0)
    assert 0.5 < air / cut < 2.0


def test_the_level_of_the_cut_is_foreseen():
    """Once the air is known, a rise fits a cut far better than air, and a fall back the air."""
    state = levels.unheard(2)
    for _ in range(30):
        levels.hear(state, np.full(2, np.nan), NEVER, Heard(-42.0, 0.8, 0.2))
    air, cut = hear(state.copy(), -30.0)
    assert cut > 10.0 * air
    air, cut = hear(state.copy(), -42.0)
    assert air > cut


def test_a_bang_changes_little():
    """One row that is 25 dB too loud moves the air by less than half a dB."""
    state = levels.unheard(2)
    hear(state, -42.0, 40)
    hear(state, -17.0)
    assert state[AIR, 0] == pytest.approx(-42.0, abs=0.5)


def test_what_stays_is_learned_anew():
    """A collector that is switched on, 12 dB above the air, is the new air after two seconds."""
    state = levels.unheard(2)
    hear(state, -42.0, 40)
    hear(state, -30.0, 12)
    assert state[AIR, 0] == pytest.approx(-30.0, abs=1.0)


def test_what_is_misheard_for_long_tells_nothing_new():
    """However long a spindle is misheard, it counts no more than a few rows."""
    state = levels.unheard(1)
    product = 1.0
    for _ in range(500):
        product *= float(levels.hear_turning(state, np.array([True]), 0.2)[0])
    assert 1e-5 < product < 0.2


def test_densities_are_densities():
    """Over all levels the density of a cell that knows its air adds up to about 1."""
    state = levels.unheard(2)
    hear(state, -42.0, 40)
    grid = np.arange(-62.0, -22.0, 0.05)
    total = sum(0.05 * float(hear(state.copy(), level)[0]) for level in grid)
    assert total == pytest.approx(1.0, abs=0.06)


def test_another_bit_is_believed_for_a_while():
    """A cell whose bit is not the one heard fits ever worse; what is mistaken for long tells nothing new."""
    state = levels.unheard(2)
    unlike, idle = np.array([0.0, 2.0]), np.zeros(2)
    fits = np.array([levels.hear_bit(state, unlike, idle, 0.2) for _ in range(1000)])
    assert (fits[:, 0] == 1.0).all()
    assert fits[:10, 1].prod() < 0.05
    assert np.all(np.diff(fits[:, 1]) >= 0.0)
    assert fits[900:, 1].prod() > 0.9


def test_what_bites_is_no_air():
    """A hiss that swells with the teeth speaks against air and a held feed; none of it against nothing."""
    for swell, least, most in ((1.0, 1.0, 1.0), (3.0, 1.0, 1.0), (6.0, 0.0, 0.05)):
        state = levels.unheard(1)
        air = np.prod([levels.hear_bit(state, np.zeros(1), np.array([swell]), 0.2) for _ in range(10)])
        held = levels.hear_bites(swell, 0.2) ** 10
        assert least <= air <= most
        assert least <= held <= most


def test_a_spindle_does_not_turn_in_silence():
    """As quiet as when it stood speaks against a spindle that turns, where turning was heard to be louder."""
    state = levels.unheard(3)
    state[STILL], state[STILL_VAR] = -62.0, np.array([1.0, 1.0, 1e4])
    turns = np.array([True, False, True])
    for level, louder, expected in (
        (-62.0, 16.0, [0.5, 1.0, 1.0]),
        (-60.0, 16.0, [0.5, 1.0, 1.0]),
        (-50.0, 16.0, [1.0, 1.0, 1.0]),
        (-62.0, 3.0, [1.0, 1.0, 1.0]),
    ):
        assert levels.hear_silence(state, turns, level, louder).tolist() == expected
