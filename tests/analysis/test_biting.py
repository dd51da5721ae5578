"""A cut that was taken for air is told by its teeth, in some seconds; the air never is."""

import itertools

import pytest

from analysis.biting import Biting
from analysis.presence import Phase
from analysis.which_bit import BITES

SECONDS = 0.05
TEETH, NONE = BITES + 2.0, 0.5


def heard(*stretches: tuple[float, float, Phase]) -> list[bool]:
    """Whether each row of some stretches is a cut: their seconds, swell and what they are taken for."""
    biting = Biting(SECONDS)
    return [
        biting.row(bites, phase)
        for lasting, bites, phase in stretches
        for _ in range(round(lasting / SECONDS))
    ]


def since(found: list[bool]) -> float:
    """When the first row was said to be a cut, s."""
    return found.index(True) * SECONDS


def test_teeth_in_what_is_taken_for_air_are_a_cut_within_seconds():
    """Some seconds after the level has fallen, or the place is another one, it is said; and lasts."""
    found = heard((5.0, TEETH, Phase.CUT), (20.0, TEETH, Phase.AIR))
    assert since(found) == pytest.approx(8.0, abs=0.2)
    assert all(found[round(since(found) / SECONDS) :])
    assert since(heard((20.0, TEETH, Phase.AIR))) < 5.0


def test_a_swell_that_comes_and_goes_is_one_cut():
    """Once it is a cut it need not swell so much: noise may cover half of it."""
    found = heard((6.0, TEETH, Phase.AIR), *[(0.5, BITES - 2.0, Phase.AIR), (0.5, TEETH, Phase.AIR)] * 9)
    assert all(found[round(5.0 / SECONDS) :])


def test_air_has_no_teeth():
    """The air before and after deep cuts is air, however long they are, and however deep the swell."""
    cuts = [(3.0, 40.0, Phase.CUT), (6.0, NONE, Phase.AIR)] * 5
    assert not any(heard((30.0, NONE, Phase.AIR), *cuts))


def test_a_knock_is_no_cut():
    """What swells as deeply as nothing else does for a second is none, as often as it comes."""
    assert not any(heard(*[(1.0, 40.0, Phase.AIR), (2.0, NONE, Phase.AIR)] * 9))


@pytest.mark.parametrize("phase", [Phase.CUT, Phase.OFF])
def test_only_what_is_taken_for_air_is_told(phase: Phase):
    """What is known to cut need not be told, and no spindle that stands cuts."""
    assert not any(heard((20.0, TEETH, phase)))


def test_it_is_over_when_the_teeth_are():
    """When the cut that was taken for air ends, or is taken for what it is, nothing more is said."""
    found = heard((8.0, TEETH, Phase.AIR), (5.0, NONE, Phase.AIR))
    assert [said for said, _ in itertools.groupby(found)] == [False, True, False]
    assert not any(found[round(11.0 / SECONDS) :])
    assert not heard((8.0, TEETH, Phase.AIR), (SECONDS, TEETH, Phase.CUT))[-1]
