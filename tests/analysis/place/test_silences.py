"""For how long nothing is cut hereabouts, by the program."""

import math

import pytest

from analysis.cutting import Bit
from analysis.locate import Plan
from analysis.place.silences import _ABOUT, Silences
from analysis.program import read

# Two cuts of 30 s with 2 s and more of air between them, then one of 60 s.
PROGRAM = """G21 G90
T1 M6
S18000 M3
G0 X0 Y0 Z5
G1 Z-3 F300
G1 X500 F1000
G0 Z5
G4 P2
G0 Y20
G1 Z-3 F300
G1 X0 F1000
G1 Y40
G1 X1000
G0 Z5
M5
M30
"""
PLAN = Plan.of(read(PROGRAM, "job"), {0: Bit("6 mm", 6.0, 2, 18000.0)})
SILENCES = Silences.of(PLAN)


def middle(line: int) -> float:
    """Return the middle of the move on a line of the file, s."""
    first, last = PLAN.moves_on(line)
    return float(PLAN.times.begin[first] + PLAN.times.end[last]) / 2.0


def test_air_between_two_cuts_is_met_nearby_and_has_an_end():
    """In the middle of the first long cut the wait before it is too far, and so is the air after it."""
    assert SILENCES.longest(middle(6), middle(6)) == 0.0
    near = middle(8)
    assert 2.0 < SILENCES.longest(near, near) < 6.0
    assert SILENCES.longest(near - _ABOUT, near - _ABOUT) == SILENCES.longest(near, near)


def test_a_wait_explains_a_silence_in_either_reading():
    """Taken as milliseconds it may be one in seconds all the same, for nothing in a program says which."""
    plan = Plan.of(read(PROGRAM.replace("G4 P2", "G4 P200"), "job"), {0: Bit("6 mm", 6.0, 2, 18000.0)})
    first, last = plan.moves_on(8)
    near = float(plan.times.begin[first])
    assert plan.times.end[last] - near == pytest.approx(0.2)
    assert 200.0 < Silences.of(plan).longest(near, near) < 206.0
    assert Silences.of(plan).longest(middle(6), middle(6)) == 0.0


def test_where_the_spindle_stands_nothing_ends():
    """Before the first cut and after the last one the program waits for as long as it likes."""
    assert math.isinf(SILENCES.longest(middle(5), middle(5)))
    assert math.isinf(SILENCES.longest(middle(14), middle(14)))


def test_a_place_that_is_not_known_well_meets_more():
    """The longest of all that may be met counts."""
    assert math.isinf(SILENCES.longest(middle(6), middle(14)))
