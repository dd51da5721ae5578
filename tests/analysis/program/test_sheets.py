"""What is cut again at the same place, after a stop or a move of the zero, is cut from another sheet."""

from itertools import pairwise

import numpy as np
import pytest

from analysis.contents import Tool, contents_of
from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.locate import Plan
from analysis.place.marks import HEARD, SEEN, unmarked, verdicts
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


def around(left: float, low: float, right: float, high: float, *depths: float) -> str:
    """A rectangle, gone around once at each depth."""
    turn = f"X{right} F2000\nY{high}\nX{left}\nY{low}\n"
    return f"G0 X{left} Y{low}\n" + "".join(f"G1 Z{z} F500\n{turn}" for z in depths) + "G0 Z10\n"


def with_tabs(left: float, low: float, right: float, high: float) -> str:
    """A rectangle, cut through but for a tab on each long side."""
    middle = (left + right) / 2
    over = f"X{middle - 5} F2000\nZ-4\nX{middle + 5}\nZ-6\nX{right}\nY{high}\n"
    back = f"X{middle + 5}\nZ-4\nX{middle - 5}\nZ-6\nX{left}\nY{low}\n"
    return f"G0 X{left} Y{low}\nG1 Z-6 F500\n{over}{back}G0 Z10\n"


def panels(rows: int, along: str, across: str) -> str:
    """Lines through the sheet, side by side."""
    line = "G0 {1}{2}\nG0 {0}0\nG1 Z-6 F500\n{0}200 F2000\nG0 Z10\n"
    return "".join(line.format(along, across, 40 * row) for row in range(1, rows))


def cleared(left: float) -> str:
    """An area that is cleared turn by turn."""
    turn = "G3 X{0} Y12 I0 J6\nG3 X{0} Y0 I0 J-6\nG1 X{1}\n"
    turns = "".join(turn.format(left + 1.5 * i, left + 1.5 * i + 1.5) for i in range(20))
    return f"G0 X{left} Y0\nG1 Z-6 F500\nF2000\n{turns}G0 Z10\n"


POCKET = around(0, 0, 40, 40, -2, -4) + around(6, 6, 34, 34, -4) + around(12, 12, 28, 28, -4)
MIRRORED = POCKET.replace("X0 ", "X40 ").replace("X40 F", "X0 F").replace("X0\n", "X40\n")
ROW = around(0, 0, 80, 50, -3, -6) + around(100, 0, 180, 50, -3, -6)
COLUMN = around(0, 0, 50, 90, -3, -6) + around(60, 0, 110, 90, -3, -6)


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
OTHERS = {
    "another layout": HEAD + ROW + STOP + COLUMN + END,
    "another layout with tabs": HEAD
    + with_tabs(0, 0, 80, 50)
    + with_tabs(100, 0, 180, 50)
    + STOP
    + with_tabs(0, 0, 50, 90)
    + with_tabs(60, 0, 110, 90)
    + END,
    "a layout that begins elsewhere": HEAD + SQUARES + STOP + SQUARES.replace("X", "X2") + END,
    "the other face": HEAD + POCKET + STOP + MIRRORED.replace("-4", "-3") + END,
}
ONCE = {
    "no stop": HEAD + SQUARES + SQUARES + END,
    "elsewhere": HEAD + SQUARES + STOP + SQUARES.replace("Y", "Y1").replace("Y10", "Y100") + END,
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
    "finished in steps": HEAD
    + around(0, 0, 40, 40, -3, -6)
    + STOP
    + around(0.2, 0.2, 39.8, 39.8, -3, -6)
    + END,
    "finished the other way around": HEAD + ROW + STOP + around(0, 50, 80, 0, -6) + END,
    "finished from another place": HEAD
    + around(0, 0, 40, 40, -6)
    + STOP
    + "G0 X20 Y0\nG1 Z-6 F500\nX0\nY40\nX40\nY0\nX20\nG0 Z10\n"
    + END,
    "walls finished from within": HEAD
    + POCKET
    + STOP
    + "G0 X20 Y34\nG1 Z-4 F500\nX40.2\nY40.2\nX-0.2\nY-0.2\nX40.2\nY34\nX20\nG0 Z10\n"
    + END,
    "tabs cut": HEAD + with_tabs(0, 0, 80, 50) + STOP + around(80, 50, 0, 0, -6) + END,
    "chips cleared": HEAD + POCKET + "M0\n" + POCKET.replace("-4", "-8").replace("-2", "-6") + END,
    "chips cleared of a widening pocket": HEAD + cleared(0) + "M0\n" + cleared(28) + END,
    "panels": HEAD + panels(5, "X", "Y") + STOP + panels(5, "Y", "X") + END,
    "around what was cut out": HEAD + ROW + STOP + around(-20, -20, 200, 70, -3, -6) + END,
    "parts over the end of a pocket": HEAD + POCKET + STOP + around(20, -20, 90, 90, -2, -4, -6) + END,
    "a finer bit in the corners": HEAD
    + POCKET
    + "M0\nT2 M6\n"
    + around(-1.5, -1.5, 41.5, 41.5, -1, -2, -3, -4)
    + END,
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


@pytest.mark.parametrize("text", OTHERS.values(), ids=OTHERS)
def test_nobody_cuts_the_air_or_through_what_is_free(text: str):
    """What would do so after a stop is cut from another sheet, or from the other face, and has its parts."""
    program = read(text)
    assert sheets(program) == [0, 1]
    second = program.moves.file_line > program.lines.index("M0 (put in the next sheet)")
    alone = read(HEAD + text[text.index(STOP) + len(STOP) :])
    volume = engagement(program, BITS).volume
    assert volume[second].sum() == pytest.approx(engagement(alone, BITS).volume.sum(), rel=0.02)
    apart = [second[part.moves] for part in find_parts(program)]
    assert sum(part.all() for part in apart) == len(find_parts(alone))
    assert all(part.all() or not part.any() for part in apart)


@pytest.mark.parametrize("text", ONCE.values(), ids=ONCE)
def test_what_goes_other_ways_is_cut_from_the_same_sheet(text: str):
    """Without a stop, elsewhere, deeper, or around at the bottom alone it is the same piece of wood."""
    program = read(text)
    assert sheets(program) == [0]
    assert sheets_apart(program) is program


OUTLINE = around(-20, -20, 60, 60, -4, -8)


def otherwise(z: float, more: str = "") -> str:
    """A pocket, and after a stop another one where it was cleared."""
    return HEAD + POCKET + STOP + around(7, 5, 30, 33, z) + around(13, 11, 24, 27, z) + more + END


def told(plan: Plan) -> list[str]:
    """The verdicts on the parts where all that is taken to cut was heard."""
    return [part.verdict for part in verdicts(plan, unmarked(plan) | np.uint8(SEEN | HEARD), frozenset({1}))]


@pytest.mark.parametrize("text", [otherwise(-3), otherwise(-4), otherwise(-3, OUTLINE)])
def test_a_part_with_what_may_be_cut_from_another_sheet_is_never_good(text: str):
    """After a stop it goes otherwise over what the bit has cut; without one it is the same sheet."""
    program = read(text)
    plan = Plan.of(program, BITS)
    (remark,) = plan.remarks
    assert program.lines[remark.line - 2] == "G0 X7 Y5"
    assert remark in contents_of(program, {0: Tool(BITS[0])}).program.warnings
    assert told(plan) == ["unheard"]
    gone_on = Plan.of(read(text.replace(STOP, "")), BITS)
    assert (gone_on.remarks, told(gone_on)) == ((), ["good"])


@pytest.mark.parametrize("text", [*ONCE.values(), *OTHERS.values(), *AGAIN.values()])
def test_of_the_usual_stops_nothing_is_remarked(text: str):
    """A pass for the finish, tabs, chips, the next sheet: all that is cut there is listened to."""
    assert Plan.of(read(text), BITS).remarks == ()


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
