"""A spindle that stops in the cut: its comb, its tooth-pass and its speed are gone, after a surge."""

import pytest
from moments import Machine

SURGE = {"level": -8.0, "hiss": -12.0, "comb": 0.3, "speed": 280.0}
GONE = {"comb": 0.3, "speed": 285.0, "teeth": -40.0}


def test_a_spindle_that_stops_is_said():
    """Within seconds, since its comb was last heard."""
    machine = Machine().cuts(6.0)
    began = machine.at
    machine.hear(0.3, **SURGE).hear(3.0, **GONE)
    at, found = machine.found[0]
    assert found.cause == "spindle"
    assert at - began < 3.0
    assert found.since == pytest.approx(began, abs=0.2)


def test_it_is_over_when_the_comb_is_heard_again():
    """However long it stands, that does not become usual."""
    machine = Machine().cuts(6.0).hear(0.3, **SURGE).hear(15.0, **GONE)
    assert machine.tests.found is not None
    machine.hear(2.0)
    assert machine.tests.found is None


@pytest.mark.parametrize(
    ("surge", "then"),
    [
        ({"level": -8.0}, {}),
        (SURGE, {"level": -12.0} | GONE),
        (SURGE, GONE | {"speed": 300.0}),
        (SURGE, GONE | {"comb": 2.5}),
        (SURGE, GONE | {"teeth": -34.0}),
        ({}, GONE),
        (SURGE | {"hiss": -24.0}, GONE),
        (SURGE | {"foreign": 12.0}, {"foreign": 12.0} | GONE),
    ],
    ids=[
        "a bang",
        "something loud covers the comb",
        "its speed is still heard",
        "its comb is still heard, at another speed",
        "its teeth are still heard",
        "no surge",
        "a surge that does not hiss",
        "talk",
    ],
)
def test_other_changes_are_not_said(surge: dict[str, float], then: dict[str, float]):
    """What lacks one of the signs is no stopped spindle."""
    assert not Machine().cuts(6.0).hear(0.3, **surge).hear(4.0, **then).causes


def test_a_stop_that_the_program_plans_is_no_fault():
    """Where it may stop the spindle hereabouts nothing is said; what is planned later excuses nothing."""
    about = Machine().cuts(6.0).hear(1.0, stops=True)
    assert not about.hear(0.3, stops=True, **SURGE).hear(4.0, stops=True, **GONE).causes
    later = Machine().cuts(6.0).hear(0.3, **SURGE)
    assert later.hear(4.0, stops=True, **GONE).causes == {"spindle"}


def test_where_nobody_knows_which_bit_turns_no_spindle_has_stopped():
    """It may be another one, whose lines never were where this one's are looked for."""
    machine = Machine().cuts(6.0).hear(1.0, guessed=True)
    assert not machine.hear(0.3, guessed=True, **SURGE).hear(4.0, guessed=True, **GONE).causes
