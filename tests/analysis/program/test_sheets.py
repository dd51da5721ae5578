"""What is cut again at the same place, after a stop or a move of the zero, is cut from another sheet."""

from itertools import pairwise

import numpy as np
import pytest

from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.program import Program, engagement, find_parts, read, recut_program
from analysis.program.sheets import sheets_apart, sheets_of

HEAD = "G21 G90 G54 G17\nT1 M6\nS18000 M3\nG0 Z10\n"
SQUARES = (
    "G0 X0 Y0\nG1 Z-3 F500\nX40 F2000\nY40\nX0\nY0\nG1 Z-6 F500\nX40 F2000\nY40\nX0\nY0\nG0 Z10\n"
    "X60 Y0\nG1 Z-6 F500\nX90 F2000\nY30\nX60\nY0\nG0 Z10\n"
)
HOLES = "G0 X0 Y0 Z10\nG81 X5 Y5 Z-6 R1 F200\nX15\nX25\nG80\n"
STOP = "M5\nM0 (put in the next sheet)\nS18000 M3\n"
END = "M5\nM30\n"
ONE = SQUARES[: SQUARES.index("X60 Y0")]
BITS = {0: Bit("6 mm", 6.0, 2)}


def sheets(program: Program) -> list[int]:
    """The sheets, in the order in which they are begun."""
    return list(dict.fromkeys(sheets_of(program.moves, program.tops).tolist()))


AGAIN = {
    "after a stop": HEAD + SQUARES + STOP + SQUARES + END,
    "after a stop that may be left out": HEAD + SQUARES + "M1\n" + SQUARES + END,
    "down from another height": HEAD + SQUARES + STOP + "G0 Z25\n" + SQUARES + END,
    "with each of two bits": (HEAD + SQUARES + "T2 M6\nM3\n" + HOLES + STOP) * 2 + END,
    "holes": HEAD + HOLES + STOP + HOLES + END,
    "by G10 L20": HEAD + SQUARES + "G0 X100 Y0\nG10 L20 P1 X0 Y0\n" + SQUARES + END,
    "by G10 L2": "G10 L2 P1 X0 Y0 Z0\n" + HEAD + SQUARES + "G10 L2 P1 X200\n" + SQUARES + END,
}
ONCE = {
    "no stop": HEAD + SQUARES + SQUARES + END,
    "elsewhere": HEAD + SQUARES + STOP + SQUARES.replace("X", "X2") + END,
    "once more around at the bottom": HEAD
    + SQUARES
    + STOP
    + "G0 X0 Y0\nG1 Z-6 F500\nX40 F2000\nY40\nX0\nY0\nG0 Z10\n"
    + END,
    "deeper": HEAD + SQUARES + STOP + SQUARES.replace("Z-3", "Z-9").replace("Z-6", "Z-12") + END,
    "with another bit": HEAD + SQUARES + "M0\nT2 M6\n" + SQUARES + END,
    "with another bit put in by hand": HEAD + SQUARES + STOP.replace("18000", "9000") + SQUARES + END,
    "in the air": HEAD + SQUARES + STOP + "G0 X0 Y0\nG1 X40 F2000\nY40\n" + END,
    "Z touched off": HEAD + SQUARES + "G10 L20 P1 Z10\n" + SQUARES + END,
    "stopped in the cut": HEAD + SQUARES.replace("Y40\n", "Y40\nM0\n") + END,
}


@pytest.mark.parametrize("text", AGAIN.values(), ids=AGAIN)
def test_what_goes_the_same_ways_again_takes_away_as_much(text: str):
    """The second sheet is as whole as the first one was, with parts of its own."""
    program = read(text)
    assert sheets(program) == [0, 1]
    second = sheets_of(program.moves, program.tops) > 0
    volume = engagement(program, BITS).volume
    assert volume[second].sum() == pytest.approx(volume[~second].sum(), rel=0.02)
    parts = find_parts(program)
    assert all(second[part.moves].all() or not second[part.moves].any() for part in parts)


@pytest.mark.parametrize("text", ONCE.values(), ids=ONCE)
def test_what_goes_other_ways_is_cut_from_the_same_sheet(text: str):
    """Without a stop, elsewhere, deeper, or around at the bottom alone it is the same piece of wood."""
    program = read(text)
    assert sheets(program) == [0]
    assert sheets_apart(program) is program


def test_some_of_the_parts_may_be_cut_again():
    """Of a sheet that is half full the first square is cut as a whole."""
    program = read(HEAD + SQUARES + STOP + ONE + END)
    volume, lines = engagement(program, BITS).volume, program.moves.file_line
    second = sheets_of(program.moves, program.tops) > 0
    first = (lines >= 6) & (lines <= 15)
    assert volume[second].sum() == pytest.approx(volume[first].sum(), rel=0.02)
    assert [part.name for part in find_parts(program)] == ["part 1", "part 2", "part 3"]


def test_many_sheets_are_counted():
    """Each stop after which all is cut again begins one; the parts of each stand in its lines."""
    program = read(HEAD + SQUARES + (STOP + SQUARES) * 3 + END)
    assert sheets(program) == [0, 1, 2, 3]
    lines = [(part.first_line, part.last_line) for part in find_parts(program)]
    assert lines == sorted(lines)
    assert all(before[1] < after[0] for before, after in pairwise(lines))
    assert len(lines) == 8


def test_a_sheet_goes_on_after_a_stop_for_something_else():
    """Of two stops on each sheet only the one after which it begins anew begins a sheet."""
    whole = ONE + "M0 (move the clamps)\n" + SQUARES.removeprefix(ONE)
    program = read(HEAD + whole + STOP + whole + END)
    assert sheets(program) == [0, 1]
    assert len(find_parts(program)) == 4


def test_each_sheet_has_its_own_in_every_system():
    """Cut in G54 and in G55, and both again: four pieces of work."""
    both = "G54 G0 Z10\n" + SQUARES + "G55 G0 Z10\n" + SQUARES
    program = read(HEAD + both + STOP + both + END)
    assert len(np.unique(sheets_apart(program).moves.system)) == 4
    assert len(find_parts(program)) == 8
    volume = engagement(program, BITS).volume
    later = sheets_of(program.moves, program.tops) > 0
    assert volume[later].sum() == pytest.approx(volume[~later].sum(), rel=0.01)


def test_it_is_said_where_another_sheet_begins():
    """A person may see that something else is meant."""
    program = read(AGAIN["after a stop"])
    said = [note for note in program.warnings if "goes the same ways again" in note.text]
    assert len(said) == 1
    assert program.lines[said[0].line - 2].startswith("S18000")


def test_parts_of_several_sheets_are_not_cut_again_in_one():
    """The recut of one sheet's parts is written; of two sheets' it is refused, for it would cut one twice."""
    program = read(AGAIN["after a stop"])
    assert "G1" in recut_program(program, ["part 3", "part 4"])
    with pytest.raises(ProgramError, match="several sheets"):
        recut_program(program, ["part 1", "part 3"])
