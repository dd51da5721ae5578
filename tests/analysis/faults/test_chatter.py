"""Chatter is heard by tones a tooth-pass apart, in a cut that grows louder."""

import pytest
from moments import Machine

TONES = {"beats": 15.0, "tone": 1120.0, "level": -14.0, "hiss": -18.0}


def test_chatter_is_said_after_a_second():
    """It is named, with its tone, and since when."""
    machine = Machine().cuts()
    began = machine.at
    machine.hear(2.0, **TONES)
    at, found = machine.found[0]
    assert found.cause == "chatter"
    assert at - began < 1.2
    assert found.since == pytest.approx(began, abs=0.1)
    assert "1120 Hz" in found.because[0]


def test_it_lasts_as_long_as_it_is_heard():
    """Each row finds it again; when the tones have gone, nothing does."""
    machine = Machine().cuts().hear(3.0, **TONES)
    assert machine.tests.found is not None
    machine.hear(1.5)
    assert machine.tests.found is None


@pytest.mark.parametrize("as_usual", [{"level": -20.0}, {"hiss": -24.0}], ids=["level", "hiss"])
def test_tones_in_a_cut_as_loud_as_before_are_another_machine_s(as_usual: dict[str, float]):
    """A bit that shakes cuts louder, and its hiss swells; a saw beside it has tones alone."""
    assert not Machine().cuts().hear(5.0, **TONES | as_usual).causes


@pytest.mark.parametrize(
    "shop", [{"beats": 15.0, "tone": 1120.0}, {"foreign": 6.0}], ids=["the same tones in the air", "music"]
)
def test_a_shop_with_tones_of_its_own_is_not_chatter(shop: dict[str, float]):
    """What is heard outside the cut as well comes from elsewhere."""
    assert not Machine().cuts().air(1.5, **shop).hear(5.0, **TONES).causes


def test_what_was_there_before_is_not_chatter():
    """A machine beside it had such tones all along, and now they are stronger."""
    assert not Machine().cuts().hear(15.0, **TONES | {"beats": 8.0}).hear(3.0, **TONES).causes


def test_a_low_tone_is_another_machine_s():
    """No bit rings as low as a motor hums."""
    assert not Machine().cuts().hear(5.0, **TONES | {"tone": 170.0}).causes


def test_tones_that_wander_are_none():
    """A voice rises and falls; chatter keeps its tone."""
    machine = Machine().cuts()
    for step in range(30):
        machine.hear(0.1, **TONES | {"tone": 900.0 + 40.0 * step})
    assert not machine.causes


def test_a_short_tone_is_none():
    """A corner squeaks for half a second."""
    assert not Machine().cuts().hear(0.6, **TONES).hear(3.0).causes
