"""The program's clock against closed forms of the trapezoid and the corner."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.program import Machine, Moves, read, schedule
from analysis.program.timing import corner_speeds

FAST = Machine(acceleration=(500.0,) * 3, top_speed=(1000.0,) * 3, junction_deviation=0.01)


def times(text: str, machine: Machine = FAST) -> np.ndarray:
    """Return the durations of a program's moves, s."""
    plan = schedule(read("G21 G90\n" + text).moves, machine)
    return plan.end - plan.begin


@pytest.mark.parametrize(
    ("way", "seconds"),
    [(100, 2.1), (5, 0.2), (2, 0.12649)],
)
def test_single_moves_take_the_time_of_their_trapezoid(way: float, seconds: float):
    """Own arithmetic: v/a + s/v, or 2 sqrt(s/a) where 50 mm/s is not reached at 500 mm/s²."""
    assert times(f"G1 X{way} F3000")[-1] == pytest.approx(seconds, abs=1e-5)


A = np.full(3, 500.0)  # mm/s²


@pytest.mark.parametrize(
    ("turn", "speed"),
    [(120, 2.23607), (90, 208.46 / 60), (45, 467.40 / 60)],
)
def test_corner_speeds(turn: float, speed: float):
    """Junction deviation (formula from memory): v² = a d s/(1-s), s = sin of half the inner angle."""
    corner, straight, back = corner_speeds(np.array([math.cos(math.radians(turn)), 1.0, -1.0]), A, 0.01)
    assert corner == pytest.approx(speed, rel=1e-4)
    assert straight > 1e6
    assert back == 0.0


def test_a_square_corner_is_passed_at_the_corner_speed():
    """Two legs that meet at 90° take as long as two trapezoids that end and begin at that speed."""
    v, top, a, way = 208.46 / 60, 50.0, 500.0, 50.0
    leg = top / a + (top - v) / a + (way - top**2 / (2 * a) - (top**2 - v**2) / (2 * a)) / top
    assert times("G1 X50 F3000\nY50") == pytest.approx([leg, leg], rel=1e-5)


def test_a_corner_is_passed_as_the_slower_axis_bears():
    """Where X and Y accelerate differently the lesser acceleration sets the speed of the corner."""
    machine = Machine(acceleration=(500.0, 200.0, 500.0), top_speed=(1000.0,) * 3, junction_deviation=0.01)
    s, top, way = math.sin(math.pi / 4), 50.0, 50.0
    v = math.sqrt(200.0 * 0.01 * s / (1.0 - s))
    legs = [
        top / a + (top - v) / a + (way - (2 * top**2 - v**2) / (2 * a)) / top
        for a in machine.acceleration[:2]
    ]
    assert times("G1 X50 F3000\nY50", machine) == pytest.approx(legs, rel=1e-5)


def test_straight_on_costs_nothing():
    """A line cut in ten pieces takes as long as in one."""
    pieces = times("F3000 G1\n" + "\n".join(f"X{x}" for x in range(10, 101, 10)))
    assert pieces.sum() == pytest.approx(2.1)


def test_a_circle_in_lines_takes_as_long_as_a_slow_enough_arc():
    """Fine chords of a large circle are gone around without stopping."""
    angles = np.linspace(0, 2 * math.pi, 361)[1:]
    lines = "\n".join(f"X{50 * math.cos(t):.6f} Y{50 * math.sin(t):.6f}" for t in angles)
    chords = times("G0 X50 Y0\nG1 F600\n" + lines)[1:].sum()
    arc = times("G0 X50 Y0\nG3 X50 Y0 I-50 F600")[1:].sum()
    assert chords == pytest.approx(arc, rel=0.01)
    assert arc == pytest.approx(100 * math.pi / 10 + 10 / 500, rel=1e-3)


def test_tight_arcs_are_slowed_by_their_curve():
    """An arc is gone around at no more than sqrt(a r)."""
    assert times("G3 X0 Y0 I-0.5 F6000")[-1] > math.pi / math.sqrt(500 * 0.5)


def test_axes_limit_by_their_share():
    """A slow Z slows a steep move in proportion to its share of the way."""
    machine = Machine(acceleration=(1e9,) * 3, top_speed=(80.0, 80.0, 40.0))
    assert times("G0 Z40", machine)[-1] == pytest.approx(1.0, rel=1e-3)
    assert times("G0 X30 Z40", machine)[-1] == pytest.approx(1.0, rel=1e-3)
    assert times("G0 X80 Y80", machine)[-1] == pytest.approx(1.0, rel=1e-3)


def test_waits_take_their_time_and_pauses_none():
    """The clock of the program stands still while a person is at the machine."""
    assert times("G0 X1\nG4 P3\nM0\nT1 M6")[1:].tolist() == [3, 0, 0]


def test_motion_stops_around_a_wait():
    """A dwell between two lines in one direction costs two ramps."""
    assert times("F3000 G1 X50\nG4 P0\nX100").sum() == pytest.approx(2.2)


STEP = st.integers(-20, 20)
PLACES = st.lists(
    st.tuples(st.sampled_from(["G0", "G1"]), STEP, STEP, STEP, st.integers(60, 6000)), min_size=1, max_size=40
)


@given(PLACES)
def test_the_clock_never_beats_the_limits(places: list[tuple[str, int, int, int, int]]):
    """Times follow each other without gaps, and no move is faster than its feed and axes allow."""
    text = "\n".join(f"{g} X{x} Y{y} Z{z} F{f}" for g, x, y, z, f in places)
    moves: Moves = read("G21 G90\nG0 X99\n" + text).moves
    machine = Machine()
    plan = schedule(moves, machine)
    assert plan.begin[0] == 0
    assert np.allclose(plan.begin[1:], plan.end[:-1])
    seconds = plan.end - plan.begin
    assert (seconds > 0).all()
    way = np.abs(moves.end - moves.start)
    assert (way <= seconds[:, None] * np.array(machine.top_speed) * (1 + 1e-9) + 1e-9).all()
    fed = np.isfinite(moves.feed)
    assert (moves.length[fed] <= seconds[fed] * moves.feed[fed] / 60 * (1 + 1e-9) + 1e-9).all()
