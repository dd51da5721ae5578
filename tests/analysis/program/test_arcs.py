"""Arcs against NISTIR 6556, section 3.5.3, and against their own geometry."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from analysis.errors import ProgramError
from analysis.program import read
from analysis.program.paths import flattened


def arc(text: str) -> tuple[list[float], float, float]:
    """Return centre, sweep in degrees and length of the last move."""
    moves = read("G21 G90 F100\n" + text).moves
    return moves.centre[-1].tolist(), math.degrees(moves.sweep[-1]), float(moves.length[-1])


def test_arc_by_radius_has_the_published_centre():
    """NISTIR 6556, 3.5.3.1: `g17 g2 x0 r7.01 z0.5` from (3, 1, 0), in the numbers worked out for it."""
    centre, sweep, length = arc("G0 X3 Y1\nG17 G2 X0 R7.01 Z0.5")
    assert centre == pytest.approx([1.5, 7.8476, 0.0], abs=1e-4)
    assert sweep == pytest.approx(-24.711, abs=1e-3)
    assert length == pytest.approx(3.0644, abs=1e-4)


def test_arc_by_centre_has_the_published_centre():
    """NISTIR 6556, 3.5.3.2: `g17 g2 x10 y16 i3 j4` from (7, 7): centre (10, 11), radius 5."""
    centre, sweep, length = arc("G0 X7 Y7\nG17 G2 X10 Y16 I3 J4")
    assert centre == pytest.approx([10, 11, 0])
    assert sweep == pytest.approx(-143.130, abs=1e-3)
    assert length == pytest.approx(12.4905, abs=1e-4)


@pytest.mark.parametrize(
    ("words", "sweep"),
    [
        ("G3 X0 Y10 R10", 90),
        ("G3 X0 Y10 R-10", 270),
        ("G2 X0 Y10 R10", -90),
        ("G2 X0 Y10 R-10", -270),
        ("G3 X0 Y10 I-10 J0", 90),
        ("G2 X0 Y10 I-10 J0", -270),
        ("G3 X10 Y0 I-10", 360),
        ("G2 I-10", -360),
        ("G90.1 G3 X0 Y10 I0 J0", 90),
        ("G91 G3 X-10 Y10 I-10", 90),
    ],
)
def test_arcs_turn_the_right_way_by_the_right_angle(words: str, sweep: float):
    """Seen from above G3 is anticlockwise; a negative radius takes the long way (NISTIR 6556, 3.5.3)."""
    centre, found, length = arc("G0 X10 Y0\n" + words)
    assert found == pytest.approx(sweep)
    assert length == pytest.approx(10 * math.radians(abs(sweep)))
    if "R10" in words and sweep in (90, -270):
        assert centre == pytest.approx([0, 0, 0], abs=1e-9)


@pytest.mark.parametrize(
    ("plane", "words", "sweep"),
    [
        ("G18", "G2 X10 Z-10 I10 K0", -90),
        ("G18", "G3 X10 Z10 I10 K0", 90),
        ("G18", "G3 X10 Z-10 I10 K0", 270),
        ("G18", "G2 X10 Z-10 R10", -90),
        ("G18", "G2 X10 Z10 R-10", -270),
        ("G19", "G3 Y10 Z-10 J10 K0", 90),
        ("G19", "G2 Y10 Z10 J10 K0", -90),
        ("G19", "G2 Y10 Z-10 J10 K0", -270),
        ("G19", "G3 Y10 Z-10 R10", 90),
    ],
)
def test_upright_arcs_are_seen_from_the_positive_end_of_the_third_axis(plane: str, words: str, sweep: float):
    """NISTIR 6556, 3.5.3: G18 is seen from +Y, where X is to the left of Z; G19 from +X."""
    moves = read(f"G21 G90 F100 {plane}\nG0 X0 Y0 Z0\n{words}").moves
    assert math.degrees(moves.sweep[-1]) == pytest.approx(sweep)
    assert moves.length[-1] == pytest.approx(10 * math.radians(abs(sweep)))


@given(
    begin=st.floats(0, 6.28), turn=st.floats(0.1, 6.2), radius=st.floats(0.5, 200), clockwise=st.booleans()
)
def test_both_ways_of_writing_an_arc_agree(begin: float, turn: float, radius: float, clockwise: bool):
    """The same arc by centre and by radius has the same sweep, length and middle."""
    assume(abs(turn - math.pi) > 0.05)
    start = radius * math.cos(begin), radius * math.sin(begin)
    last = begin - turn if clockwise else begin + turn
    end = radius * math.cos(last), radius * math.sin(last)
    word = "G2" if clockwise else "G3"
    signed = radius if turn < math.pi else -radius
    head = f"G21 G90 F100\nG0 X{start[0]:.9f} Y{start[1]:.9f}\n{word} X{end[0]:.9f} Y{end[1]:.9f}"
    by_centre = read(f"{head} I{-start[0]:.9f} J{-start[1]:.9f}").moves
    by_radius = read(f"{head} R{signed:.9f}").moves
    assert by_centre.sweep[-1] == pytest.approx(-turn if clockwise else turn, abs=1e-5)
    assert by_radius.sweep[-1] == pytest.approx(by_centre.sweep[-1], abs=1e-4)
    assert by_radius.length[-1] == pytest.approx(radius * turn, rel=1e-4)


def test_flattened_arcs_have_the_arcs_length():
    """A fine polygon is as long as the arc it stands for, helix included."""
    moves = read("G21 G90 F100\nG0 X10 Y0\nG3 X10 Y0 Z-5 I-10").moves
    points = flattened(moves, len(moves) - 1)
    length = np.sqrt((np.diff(points, axis=0) ** 2).sum(axis=1)).sum()
    assert length == pytest.approx(math.hypot(20 * math.pi, 5), rel=1e-3)
    assert moves.length[-1] == pytest.approx(math.hypot(20 * math.pi, 5))


def test_a_small_mismatch_is_noted_and_a_large_one_refused():
    """NISTIR 6556, 3.5.3.2 allows 0.002 mm between the radii; a little more is common and followed."""
    head = "G21 G90 G17 G40 G0 X0 Y0 Z1\nG1 Z-1 F100\nM3 S9000\n"
    assert read(head + "G2 X10 Y0.0015 I5\nM2").warnings == read(head + "M2").warnings
    assert "off its circle" in read(head + "G2 X10.02 Y0 I5").warnings[0].text
    with pytest.raises(ProgramError, match="off its circle"):
        read(head + "G2 X11 Y0 I5")


@pytest.mark.parametrize("words", ["G2 X10 I5 J0 K0", "G2 X10 R5 P1", "G90.1 G2 X10 I5 J0 K7"])
def test_words_that_change_no_arc_are_let_go(words: str):
    """K0 in the XY plane and one turn say nothing new, and no note is needed."""
    program = read("G21 G90 F100\nG0 X0 Y0 Z0\n" + words)
    assert abs(program.moves.sweep[-1]) == pytest.approx(math.pi)
    assert not any("no meaning" in note.text for note in program.warnings)


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        ("G2 X10", "needs I and J, or R"),
        ("G18 G2 X10", "needs I and K, or R"),
        ("G2 X0 Y0 R5", "no one centre"),
        ("G2 X20 R5", "too far for a radius"),
        ("G2 X20 R10 I5", "either R or I, J, K"),
        ("G2 X0 Y0 I0 J0", "no radius"),
        ("G90.1 G2 X10 I5", "both words for its centre"),
        ("G41 D1 G1 X5", "the path is shifted"),
        ("G2 X10 I5 Z-9 P3", "a count of turns"),
        ("G2 I5 Z-9 L3", "a count of turns"),
        ("G2 I5 Z-9 K3", "a pitch"),
        ("G19 G2 J5 X-9 I3", "a pitch"),
    ],
)
def test_arcs_that_are_none_are_refused(words: str, reason: str):
    """What leaves the path open is an error, never a straight line."""
    with pytest.raises(ProgramError, match=reason):
        read("G21 G90 F100\nG0 X0 Y0\n" + words)
