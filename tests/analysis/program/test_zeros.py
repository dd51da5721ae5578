"""What the program tells of the zeros of its coordinate systems, and all systems on one sheet."""

import numpy as np
import pytest

from analysis.cutting import Bit
from analysis.program import Kind, read
from analysis.program.engagement import engagement
from analysis.program.one_sheet import GAP, on_one_sheet

HEAD = "G21 G90 G17 G40 G94\nS9000 M3 F600\n"
SQUARE = "G0 Z5\nX0 Y0\nG1 Z-1\nX20\nY20\nX0\nY0\nG0 Z5\n"
ZEROS = "G10 L2 P1 X100 Y50 Z-80\nG10 L2 P2 X350 Y60 Z-90\n"


def notes(text: str) -> str:
    """Return all notes in one string."""
    return "\n".join(str(note) for note in read(text).warnings)


def test_g10_tells_where_the_zeros_lie():
    """NISTIR 6556, 3.5.5: G10 L2 P puts the zero of a system at a place of the machine."""
    program = read(HEAD + ZEROS + "G54\n" + SQUARE + "G55\n" + SQUARE)
    assert program.zeros == {1: (100, 50, -80), 2: (350, 60, -90)}
    assert "another coordinate system" not in notes("\n".join(program.lines))


def test_over_to_another_system_the_bit_stands_where_it_stood():
    """With both zeros told, its place in the new system follows: another number, the same place."""
    moves = read(HEAD + ZEROS + "G54 G0 X10 Y10 Z5\nG55\nG91 X1").moves
    assert moves.start[-1].tolist() == [10 - 250, 10 - 10, 5 + 10]
    assert moves.end[-1].tolist() == [11 - 250, 0, 15]
    assert moves.system.tolist() == [1, 2]


def test_a_system_whose_zero_is_not_told_leaves_the_place_in_doubt():
    """Where one zero is missing, or moved by G91, nobody knows how far apart they lie."""
    for lost in ("", "G10 L2 P1 X100 Y50 Z-80\n", "G91 G10 L2 P1 X0 Y0 Z0\nG90 G10 L2 P2 X1 Y1 Z1\n"):
        assert "another coordinate system" in notes(HEAD + lost + "G54 G0 X10 Y10 Z5\nG55\nX1 Y1 Z5")
        assert "steps on from a place" in notes(HEAD + lost + "G54 G0 X10 Y10 Z5\nG55\nG91 X1")


def test_moving_the_zero_in_force_renumbers_the_place():
    """A zero moved by a told amount moves no bit: the coordinate changes by as much, the other way."""
    text = HEAD + ZEROS + "G54 G0 X10 Y10 Z5\nG10 L2 P1 X103\nG91 X1"
    assert read(text).moves.end[-1].tolist() == [8, 10, 5]
    assert "steps on from a place" not in notes(text)
    assert "steps on from a place" in notes(HEAD + "G54 G0 X10 Y10 Z5\nG10 L2 P1 X103\nG91 X1")


def test_g10_l20_tells_the_zero_from_where_the_bit_stands():
    """L20 lets the place read as stated; the zero is then known if it was known before."""
    text = HEAD + ZEROS + "G54 G0 X10 Y10 Z5\nG10 L20 P1 X0\nG10 L20 P3 X0 Y0 Z0\nX1"
    program = read(text)
    assert program.zeros[1] == (110, 50, -80)
    assert program.zeros[3] == (110, 60, -75)
    assert program.moves.end[-1].tolist() == [1, 10, 5]
    assert read(HEAD + "G54 G0 X10 Y10 Z5\nG10 L20 P1 X0\nX1").zeros == {}


def test_further_systems_are_followed():
    """G54.1 P, as the trade writes it, is a system of its own for each P."""
    moves = read(HEAD + "G54.1 P1 G0 Z5\nX1 Y1\nG54.1 P2\nX2 Y2 Z5\nG59.3 X3 Y3 Z5").moves
    assert moves.system.tolist() == [101, 101, 102, 9]


def test_one_system_is_left_as_it_is():
    """Nothing is laid anew where there is nothing to lay apart."""
    program = read(HEAD + "G55\n" + SQUARE)
    assert on_one_sheet(program) is program


@pytest.mark.parametrize(("zeros", "by"), [(ZEROS, (250, 10)), ("", (20 + GAP, 0))])
def test_the_same_square_in_two_systems_is_two_squares(zeros: str, by: tuple[float, float]):
    """As far apart as G10 tells, else one beside the other; depths stay as they are."""
    program = read(HEAD + zeros + "G54\n" + SQUARE + "G55\n" + SQUARE)
    moves = on_one_sheet(program).moves
    first, second = np.flatnonzero(moves.kind == Kind.CUT).reshape(2, 4)
    assert np.allclose(moves.end[second, :2] - moves.end[first, :2], by)
    assert np.allclose(moves.start[second, :2] - moves.start[first, :2], by)
    assert np.array_equal(moves.end[:, 2], program.moves.end[:, 2])


def test_the_traverse_between_two_systems_joins_them():
    """It begins where the bit stood in the old system and ends where it goes in the new one."""
    moves = on_one_sheet(read(HEAD + ZEROS + "G54 G0 Z5\nX10 Y10\nG55 X1 Y1 Z5")).moves
    assert moves.start[-1, :2].tolist() == [10, 10]
    assert moves.end[-1, :2].tolist() == [251, 11]


def test_arcs_are_laid_beside_with_their_whole_way():
    """A circle whose way reaches farther than its ends does not touch its neighbour."""
    circle = "G0 Z5\nX0 Y0\nG1 Z-1\nG2 I10\nG0 Z5\n"
    moves = on_one_sheet(read(HEAD + "G54\n" + circle + "G55\n" + circle)).moves
    arcs = np.flatnonzero(moves.sweep)
    assert moves.centre[arcs, 0].tolist() == [10, 20 + GAP + 10]


def test_the_tops_of_all_systems_are_one():
    """With one zero on the spoilboard and one on the work, what is cut lies as deep below the one top."""
    passes = "\n".join(f"G1 Z{z}\nX50\nX0" for z in (12, 6, -0.2))
    text = f"{HEAD}G54 G0 Z30\nX0 Y1\n{passes}\nG0 Z30\nG55 Z10\nX0 Y0\nG1 Z-6\nX50\nG1 Z-12\nX0\nG0 Z30"
    program = read(text)
    assert (program.level(1).top, program.level(2).top) == (18, 0)
    sheet = on_one_sheet(program)
    assert set(sheet.tops) == {18}
    assert sheet.moves.end[sheet.moves.system == 2, 2].min() == 6
    depth = engagement(program, {0: Bit("6 mm", diameter=6.0, flutes=2)}).depth
    across = (program.moves.system == 2) & (program.moves.kind == Kind.CUT)
    assert depth[across].tolist() == pytest.approx([6, 6], abs=0.05)
