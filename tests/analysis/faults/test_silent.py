"""Nothing is cut where the program cuts on; what else falls silent does not count."""

import math
from dataclasses import replace

import pytest
from moments import NORMAL, SHORT, Machine

LONG = 10.0


def test_a_silence_longer_than_the_program_s_is_said():
    """It is said what is heard, for feed that is held sounds so as well; it began with the silence."""
    machine = Machine().cuts()
    began = machine.at
    machine.air(LONG)
    at, found = machine.found[0]
    assert found.cause == "stalled"
    assert found.confidence < 0.5
    assert 1.5 * SHORT < at - began < LONG
    assert found.since == pytest.approx(began, abs=0.1)


def test_with_a_crack_the_bit_is_broken():
    """A blow far louder than the cut before, just where it ends."""
    machine = Machine().cuts().hear(0.05, peak=0.5).air(LONG)
    assert machine.causes == {"broken"}
    assert "cracked" in machine.found[0][1].because[-1]


@pytest.mark.parametrize(
    ("air", "how"),
    [
        (1.4 * SHORT, {}),
        (LONG, {"silence": math.inf}),
        (LONG, {"silence": LONG}),
        (LONG, {"level": -24.0, "hiss": -26.0}),
        (LONG, {"level": -40.0}),
        (LONG, {"teeth": -30.0, "level": -26.0, "hiss": -29.0}),
    ],
    ids=[
        "no longer than the program's",
        "a wait, or the place is unknown",
        "the program's own",
        "hardly quieter",
        "quieter than the air before: something in the shop has stopped",
        "teeth are heard",
    ],
)
def test_other_silences_are_not_said(air: float, how: dict[str, float]):
    """Planned pauses, bit changes, a collector that stops, and a light cut that is taken for air."""
    assert not Machine().cuts().air(air, **how).causes


def test_what_nobody_heard_was_no_silence():
    """The microphone was away while the program cut, and is back in the next air move."""
    assert not Machine().cuts().air(0.5).deaf(20.0).air(4.0).causes


def test_a_light_cut_after_a_heavy_one_is_no_silence():
    """What is no quieter than the cuts that were learned from may be one of them."""
    assert not Machine(replace(NORMAL, level=-30.0)).cuts().air(LONG).causes


def test_a_cut_that_goes_on_ends_it():
    """Heard cutting again, all is well; a bang is no cut."""
    assert not Machine().cuts().air(3.0).hear(1.0).air(3.0).causes
    assert Machine().cuts().air(3.0).hear(0.2).air(3.0).causes == {"stalled"}
