"""What the machine really does."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.program import Kind, read, schedule
from recordings_synthetic.job import seedling_trays
from recordings_synthetic.machine import Gantry, path, timing

PLAIN = Gantry(
    acceleration=(500.0, 500.0, 500.0),
    top_speed=(200.0, 200.0, 200.0),
    corner=0.01,
    lead=(0.0, 0.0),
    tail=0.1,
)


def run(text, gantry=PLAIN, seed=0):
    """Return moves and their times."""
    moves = read(text).moves
    return moves, timing(moves, gantry, np.random.default_rng(seed))


@pytest.mark.parametrize(("length", "seconds"), [(100.0, 2.1), (5.0, 0.2), (2.0, 0.12649)])
def test_a_move_is_a_trapezoid_of_speed(length, seconds):
    """At 50 mm/s and 500 mm/s² a move from rest to rest lasts as the trapezoid says (computed by hand)."""
    _, when = run(f"G21 G90 G1 X{length} F3000\nM2\n")
    assert when.end[-1] == pytest.approx(seconds, abs=1e-5)


def test_the_short_move_peaks_below_its_feed():
    """2 mm are too short for 50 mm/s: the peak is 31.623 mm/s (computed by hand)."""
    _, when = run("G21 G90 G1 X2 F3000\nM2\n")
    assert when.top[0] == pytest.approx(31.623, abs=1e-3)


@pytest.mark.parametrize(("there", "speed"), [("X50 Y50", 208.46), ("X85.3553 Y35.3553", 467.40)])
def test_corners_follow_the_junction_deviation(there, speed):
    """Corners of 90 and 45 degrees are passed at 208.46 and 467.40 mm/min (a 500, d .01; from memory)."""
    _, when = run(f"G21 G90 G1 X50 Y0 F6000\n{there}\nM2\n")
    assert when.leave[0] * 60.0 == pytest.approx(speed, abs=0.05)
    assert when.entry[1] == when.leave[0]


def test_the_path_meets_the_ends_of_all_moves():
    """At the beginning and the end of each move the bit is where the program says, arcs included."""
    moves, when = run(seedling_trays())
    way = path(moves, when, PLAIN, 0.001)
    for times, points in ((when.begin, moves.start), (when.end, moves.end)):
        ticks = np.clip(np.rint(times / way.step).astype(int), 0, len(way.position) - 1)
        assert np.abs(way.position[ticks] - points).max() < 0.15  # what a rapid goes in a tick


def test_arcs_stay_on_their_circle():
    """On an arc the distance from its centre stays the radius."""
    moves, when = run("G21 G90 G17 G0 X0 Y0\nG1 X10 F2400\nG3 X-10 Y0 I-10 J0\nM2\n")
    way = path(moves, when, PLAIN, 0.001)
    on = way.position[way.move == len(moves) - 1]
    np.testing.assert_allclose(np.hypot(on[:, 0], on[:, 1]), 10.0, atol=1e-9)
    assert on[:, 1].max() == pytest.approx(10.0, abs=1e-3)


@given(seed=st.integers(0, 100), faster=st.floats(0.5, 2.0))
@settings(max_examples=15, deadline=None)
def test_nothing_jumps(seed, faster):
    """No axis moves faster than its top speed, whatever the acceleration."""
    gantry = Gantry(acceleration=(400.0 * faster, 400.0, 250.0))
    rng = np.random.default_rng(seed)
    lines = [f"G{rng.integers(0, 2)} X{x:.2f} Y{y:.2f} Z{z:.2f}" for x, y, z in rng.uniform(-9, 9, (12, 3))]
    moves, when = run("\n".join(["G21 G90 F2400 G1 X0", *lines, "M2"]), gantry, seed)
    way = path(moves, when, gantry, 0.001)
    assert (np.abs(way.velocity) <= np.array(gantry.top_speed) * 1.001 + 1e-9).all()
    assert (np.diff(when.begin) >= 0.0).all()


def test_stops_take_their_time():
    """Dwells last what they say, bit changes something between the machine's limits."""
    moves, when = run("G21 G90 T1 M6\nS1000 M3\nG4 P2.5\nG1 X10 F600\nM2\n", Gantry(stop=(8.0, 14.0)), 3)
    lasted = when.end - when.begin
    assert lasted[moves.kind == Kind.DWELL] == pytest.approx(2.5)
    assert 8.0 <= float(lasted[moves.kind == Kind.BIT_CHANGE][0]) <= 14.0


def test_the_machine_keeps_another_clock_than_a_listener_assumes():
    """Without its stops the default machine differs from the assumed one by some percent, not by much."""
    moves, when = run(seedling_trays(), Gantry())
    moving = moves.kind != Kind.BIT_CHANGE
    real = float((when.end - when.begin)[moving].sum())
    assumed = float(schedule(moves).end[-1])
    assert 0.002 < abs(real / assumed - 1.0) < 0.1
