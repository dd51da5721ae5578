"""Modes, offsets, notes and refusals of the reader."""

import math

import numpy as np
import pytest
from restarting import restart_program

from analysis.errors import ProgramError
from analysis.program import Kind, decode, read

HEAD = "G21 G90 G17 G40 G54\nM3 S9000\nF100\nG0 Z5\n"


def ends(text: str) -> list[list[float]]:
    """Return the places gone to, mm."""
    return np.round(read(text).moves.end, 6).tolist()


def texts(text: str) -> str:
    """Return all notes in one string."""
    return "\n".join(str(note) for note in read(text).warnings)


def test_a_clean_program_has_no_notes():
    """Nothing is said where nothing is odd."""
    source = "%\nO1 (TRAY)\n(poplar)\n" + HEAD + "X1 Y1\nG1 Z-1\nX5\nG0 Z5\nM5 M9\nM30\n%\n"
    program = read(source, "tray")
    assert program.warnings == ()
    assert (program.name, program.top) == ("tray", 0.0)
    assert "\n".join(program.lines) + "\n" == source


def test_rows_carry_line_word_speed_bit_and_feed():
    """Every move knows where it stands in the text and what was in force."""
    moves = read("N5 G21 G90\nT2 M6\nS12000 M3\nN20 G0 Z5\n\nN10 G1 Z-1 F150\nX3\nM5\nM0\nG0 Z5\n").moves
    assert [Kind(k).name for k in moves.kind] == [
        "BIT_CHANGE",
        "RETRACT",
        "PLUNGE",
        "CUT",
        "PAUSE",
        "RETRACT",
    ]
    assert moves.file_line.tolist() == [2, 4, 6, 7, 9, 10]
    assert moves.word.tolist() == [-1, 20, 10, -1, -1, -1]
    assert moves.speed.tolist() == [0, 12000, 12000, 12000, 0, 0]
    assert moves.bit.tolist() == [2] * 6
    assert moves.feed[2:4].tolist() == [150, 150]
    assert np.isnan(moves.feed[[0, 1, 4, 5]]).all()
    assert moves.length.tolist() == [0, 5, 6, 3, 0, 6]


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("G0 X9", Kind.RAPID),
        ("G0 X9 Z9", Kind.RAPID),
        ("G0 Z9", Kind.RETRACT),
        ("G0 Z1", Kind.RAPID),
        ("G1 Z9", Kind.RETRACT),
        ("G1 Z1", Kind.PLUNGE),
        ("G1 X1 Z1", Kind.PLUNGE),
        ("G0 X0.1\nG1 X0.4 Z4.4", Kind.PLUNGE),  # 0.30000000000000004 across
        ("G1 X9 Z1", Kind.RAMP),
        ("G1 X9", Kind.CUT),
        ("G1 X9 Z6", Kind.CUT),
        ("G2 X4 I2", Kind.CUT),
        ("G2 X4 Z4 I2", Kind.RAMP),
        ("G2 I2 Z1", Kind.RAMP),
        ("G4 P1", Kind.DWELL),
        ("M0", Kind.PAUSE),
        ("M1", Kind.PAUSE),
        ("M60", Kind.PAUSE),
        ("T1 M6", Kind.BIT_CHANGE),
    ],
)
def test_kinds_follow_from_the_geometry(words: str, kind: Kind):
    """A plunge goes down at least twice as far as across, a ramp less; straight up is a retract."""
    assert Kind(read(HEAD + "X0 Y0\n" + words).moves.kind[-1]) is kind


def test_inch_and_incremental():
    """G20 scales places and feeds, G91 adds; F on the line of G20 is in inches."""
    moves = read("G20 F10 G91 G1 X1\nX1 Y-0.5\nG21 G90 X10 F50").moves
    assert moves.end[:, :2].tolist() == [[25.4, 0], [50.8, -12.7], [10, -12.7]]
    assert moves.feed.tolist() == [254, 254, 50]


def test_a_motion_word_holds_until_the_next():
    """`X20` alone goes on as the line before (modal group 1)."""
    moves = read(HEAD + "G0 X1\nX2\nG1 X3\nX4\nF50\nX5").moves
    assert moves.kind[1:].tolist() == [Kind.RAPID, Kind.RAPID, Kind.CUT, Kind.CUT, Kind.CUT]
    assert moves.feed[-1] == 50


def test_offsets_as_published():
    """NISTIR 6556, 3.5.18: at X=4 `G92 x7` makes an offset of -3; then `G92 x9` one of -5."""
    assert ends(HEAD + "X4\nG92 X7\nX7 Y1\nX0 Y2")[-1] == [-3, 2, 5]
    assert ends(HEAD + "X4\nG92 X7\nG92 X9\nX0 Y2")[-1] == [-5, 2, 5]
    assert ends(HEAD + "X4\nG92 X7\nG92.1\nX0 Y2")[-1] == [0, 2, 5]
    assert ends(HEAD + "X4\nG92 X7\nG92.2\nX0\nG92.3\nX1")[-1] == [-2, 0, 5]
    assert ends(HEAD + "X4\nG92 X7\nG92.1\nG92.3\nX1")[-1] == [1, 0, 5]


def test_inverse_time_feed_as_published():
    """NISTIR 6556, 3.5.19: under G93, F2.0 means half a minute."""
    moves = read(HEAD + "G93 G1 X60 F2.0").moves
    assert moves.seconds[-1] == 30
    assert moves.feed[-1] == 120


def test_inverse_time_needs_f_on_every_line():
    """NISTIR 6556, 3.5.19: in inverse time mode each feed line needs its own F."""
    with pytest.raises(ProgramError, match="own F"):
        read(HEAD + "G93 G1 X60 F2.0\nX70")


def test_feed_per_turn():
    """G95 multiplies by the spindle speed, and needs one."""
    assert read(HEAD + "G95 F0.1 G1 X5").moves.feed[-1] == 900
    with pytest.raises(ProgramError, match="spindle is stopped"):
        read("G21 G95 F0.1 G1 X5")


def test_dwell_is_in_seconds():
    """NISTIR 6556, 3.5.4: G4 P is in seconds; a very long one is noted."""
    program = read(HEAD + "X1\nG4 P2.5\nG4 P500\nM2")
    assert program.moves.seconds[-2:].tolist() == [2.5, 500]
    assert "milliseconds" in program.warnings[-1].text


def test_order_of_execution():
    """NISTIR 6556, Table 8: words act in the standard's order, not in that of writing."""
    moves = read("X5 G1 G91 F100 M3 S9000 G21\nM30 X5").moves
    assert moves.end[:, 0].tolist() == [5, 10]
    assert moves.speed.tolist() == [9000, 9000]
    assert read("G21\nM0 G0 X5").moves.kind.tolist() == [Kind.RAPID, Kind.PAUSE]


def test_the_end_is_the_end():
    """Nothing after M2, M30 or the closing % is run, and that is noted."""
    for end in ("M2", "M30", "%"):
        assert len(ends(HEAD + f"X1\n{end}\nX2")) == 2
        assert "what follows is not run" in texts(HEAD + f"X1\n{end}\nX2")
        assert "what follows" not in texts(HEAD + f"X1\n{end}\n\n%\n\x1a")


def test_percent_opens_and_closes():
    """NISTIR 6556, 3.1: a file may be wrapped in lines of %."""
    assert ends("\n%\n(name)\nG21 G0 X1\n%\nG0 X2") == [[1, 0, 0]]


def test_block_delete_leaves_lines_out_unless_asked():
    """Lines with / are left out, or run, and noted either way."""
    text = "G21 G0 X1\n/X2\nX3"
    assert [end[0] for end in ends(text)] == [1, 3]
    assert read(text, skip_slashed=False).moves.end[:, 0].tolist() == [1, 2, 3]
    assert "block-delete switch" in texts(text)


def test_machine_places_leave_the_bit_in_doubt():
    """After G28, G30 or G53 the bit is somewhere that only the machine knows."""
    for home in ("G28 Z9", "G30 Z9", "G0 G53 X0 Y0 Z0", "G91 G28 Z0\nG90"):
        assert "how far this goes is not in the program" in texts(HEAD + home + "\nG0 X1 Y1 Z5")
        with pytest.raises(ProgramError, match="G91 from an unknown place"):
            read(HEAD + home + "\nG91 G0 Z5")
        with pytest.raises(ProgramError, match="an arc from an unknown"):
            read(HEAD + home + "\nG90 G2 X5 I2")
    assert ends(HEAD + "X1\nG28\nG0 X2 Y2 Z5\nG28\nG0 Z5")[2][2] == 15
    assert ends(HEAD + "X1\nG28\nG0 X2 Y2 Z5\nG28\nG0 Z5")[-2][2] == 15


def test_g28_goes_through_the_place_it_names():
    """NISTIR 6556, 3.5.8: a traverse to the place given comes first."""
    assert [9, 0, 5] in ends(HEAD + "G28 X9\nG0 X0 Y0 Z5")


def test_another_coordinate_system_is_noted():
    """How far two systems lie apart is not in the program; until stated the place is in doubt."""
    assert "another coordinate system" in texts(HEAD + "X1\nG55\nX1 Y1 Z5")
    assert texts("G55 " + HEAD.replace("G54", "") + "M2") == ""
    assert "steps on from a place" in texts(HEAD + "X1 Y1\nG56\nG91 X1")


def test_length_offsets_put_z_in_doubt_until_it_is_stated():
    """After G43 with another H the coordinate of Z is known only once it is stated."""
    assert "a feed begins at an unknown Z" in texts(HEAD + "G43 H1\nG1 X5")
    assert texts(HEAD + "G43 H1 Z5\nG1 X5 Y0\nZ-1\nX9\nM2") == ""
    assert "G43 without H" in texts(HEAD + "T3 G43 Z5\nX1")


def test_origins():
    """G10 L2 moves an origin, G10 L20 makes the place read as stated; both are noted."""
    assert ends(HEAD + "X4 Y0\nG10 L20 P1 X0\nX1")[-1] == [1, 0, 5]
    assert "remembers this origin" in texts(HEAD + "X4\nG10 L2 P1 X5\nX1")
    assert "remembers this origin" in texts(HEAD + "X4\nG10 L2 P2 X5 Y5\nX1")


def test_probing_is_a_wait_of_unknown_outcome():
    """A probing move takes its full way's time and leaves the axis unknown."""
    moves = read(HEAD + "X0 Y0\nG38.2 Z-5 F60\nG92 Z1\nG0 Z5").moves
    assert moves.kind.tolist() == [Kind.RETRACT, Kind.DWELL, Kind.RETRACT]
    assert moves.seconds[1] == 10
    with pytest.raises(ProgramError, match="G91 from an unknown place"):
        read(HEAD + "G38.2 Z-5 F60\nG91 G0 Z5")


def test_subprograms_run_as_often_as_called():
    """M98 P L runs O.. to M99 and comes back; also with the count before four digits of P."""
    sub = "\nM30\nO7\nG91 X1\nM99\n"
    assert ends(HEAD + "M98 P7 L3\nG90 X9" + sub)[1:] == [[1, 0, 5], [2, 0, 5], [3, 0, 5], [9, 0, 5]]
    assert len(ends(HEAD + "M98 P20007\nG90 X9" + sub)) == 4
    assert "what follows" not in texts(HEAD + "M98 P7 L3" + sub)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("M98 P7", "there is no O7"),
        ("M98", "M98 needs P"),
        ("O7\nM98 P7\nM99", "called without end"),
        ("M98 P7\nM30\nO7\nX1\nM99 P30", "jumps to another line"),
        ("M98 P7 Q20\nM30\nO7\nX9\nN20 X1\nM99", "begins at another line on some controls; leave Q out"),
        ("M98 P7 H20\nM30\nO7\nX9\nN20 X1\nM99", "leave H out"),
        ("M98 P7 L0\nM30\nO7\nM99", "repeat a subprogram"),
        ("X1\nM99\nO1\nG0 X5\nM98 P7\nM30", "the program from line 7 on would never be run: put that first"),
        ("X1\nM99\n%\n(main)\n\nX5\nM02", "the program from line 10 on would never be run"),
        ("X1\nM99\nO1\nX5\nM98P7\nM99", "the program from line 7 on would never be run"),
        ("M98 P7 L9999\nM30\nO7\nM98 P8 L9999\nM99\nO8\nX1\nM99", "called without end"),
    ],
)
def test_calls_that_lead_nowhere_are_refused(text: str, reason: str):
    """A call to nothing, or without end, is an error and does not hang."""
    with pytest.raises(ProgramError, match=reason):
        read(HEAD + text)


def test_a_program_that_starts_over_may_have_subprograms_behind_it():
    """What follows M99 is no program of its own: a subprogram, called or not, or an M30 for one who stops."""
    called, alone = "\nM99\nO7\nG91 X1\nM99\n", "\nM99\nO9\nX5\nM99\n"
    assert "what follows" not in texts(HEAD + "M98 P7" + called)
    assert "line 7, column 1: the program ends before this line" in texts(HEAD + "X1" + alone)
    assert ends(HEAD + "X1\nM99\nM30\n(X Y, see M98 P7)") == [[0, 0, 5], [1, 0, 5]]


def test_bits_get_the_comment_that_stands_by_them():
    """The comment on the line of the bit, before it or after it names the bit."""
    assert read(HEAD + "(6 mm)\nT1 M6\nX1\n(slot)\nT2 M6 (3 mm)\nX2\nT3 M6\n(v bit)\nX3\n(more)").bits == {
        0: "", 1: "6 mm", 2: "3 mm", 3: "v bit",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "names"),
    [
        (
            "(T1 = 6 mm upcut)\n(tool 2: 3 mm downcut)\n(T3 60 deg V)\nG21\nT1 M6\nX1\nT2 M6\nX2",
            {0: "", 1: "6 mm upcut", 2: "3 mm downcut"},
        ),
        ("(--- SHEET 1 ---)\nT1\nM6 (6 mm)\nX1", {0: "", 1: "6 mm"}),
        ("T1 M6\nS18000 M3 (18000 RPM)\nX1", {0: "", 1: ""}),
        ("(tool 6 mm)\nT1 M6\nX1", {0: "", 1: "tool 6 mm"}),
        ("(inner pockets)\nG64\nT1 M6\nX1", {0: "", 1: ""}),
        ("(T2 = 3 mm)\nT2 M6 (V bit)\nX1", {0: "", 2: "V bit"}),
    ],
)
def test_a_bit_gets_no_comment_of_something_else(text: str, names: dict[int, str]):
    """One that names a bit is of that one; one beside other words of these; the bit's own line goes first."""
    assert read(HEAD + text).bits == names


def test_a_spindle_that_turns_at_a_speed_that_nobody_says_turns():
    """M3 starts it with or without S, but not with S0; M5 and M6 stop it."""
    moves = read("G21 G90\nG0 Z5\nM3\nX1\nS9000\nX2\nS0\nX3\nM5\nS9000\nX4\nM4\nX5\nT1 M6\nX6\n").moves
    assert moves.spun.tolist() == [False, True, True, False, False, True, False, False]
    assert moves.speed.tolist() == [0, 0, 9000, 0, 0, 9000, 0, 0]


def test_a_bit_that_is_in_to_begin_with_cuts_until_the_first_m6():
    """The T before it names it; the T of M6 does not, be it said long before."""
    begun = read("G21 G90\nT1 (6 mm)\nG0 Z5\nX1\nT2 M6 (3 mm)\nX2\nT3\nX3\nM6\nX4\n")
    assert begun.moves.bit.tolist() == [1, 1, 2, 2, 2, 3, 3]
    assert begun.bits == {1: "6 mm", 2: "3 mm", 3: ""}
    ahead = read("G21 G90\nT1\nG0 Z5\nT2\nX1\nX2\nM6\nX3\n")
    assert ahead.moves.bit.tolist() == [1, 1, 1, 2, 2]
    unnamed = read("G21 G90\nG0 Z5\nT2\nX1\nM6\nX3\n")
    assert unnamed.moves.bit.tolist() == [0, 0, 2, 2]


def test_a_program_without_m6_has_the_bit_it_selected():
    """Where M6 never stands, T alone says which bit is in."""
    program = read("T4 (ball nose)\nG21 G0 X1\nT5\nX2")
    assert program.moves.bit.tolist() == [4, 5]
    assert program.bits == {4: "ball nose", 5: ""}


@pytest.mark.parametrize(
    ("words", "note"),
    [
        ("X1 Q5", "Q has no meaning"),
        ("G1 X1 I5", "I has no meaning"),
        ("X1 H5", "H has no meaning"),
        ("G91 G28 Z0 H0", "H has no meaning"),
        ("G9 X1", "exact stop"),
        ("M106 X1", "M106 is not known here"),
        ("M3.5 X1", "M3.5 is not known here"),
        ("M99", "starts the program over"),
        ("G53 G90 G40", "G53 without X, Y or Z moves nothing"),
        ("G0 X1 A0.", "A0 is read over"),
        ("G0 X1 B-0", "B0 is read over"),
        ("S0 M3", "starts without a speed"),
        ("G20 X1", "units change on the way"),
    ],
)
def test_what_is_not_understood_but_harmless_is_noted_with_its_place(words: str, note: str):
    """Line, column and word stand beside the remark."""
    found = [item for item in read(HEAD + words).warnings if note in item.text]
    assert len(found) == 1
    assert found[0].line == 5
    assert found[0].column >= 1


@pytest.mark.parametrize(
    "words", ["G21 G90\nG71 G91.1", "G71G21G90", "G90 G20\nG70", "G0 G70 G17 G20 G90 G40 G49 G80"]
)
def test_a_second_word_for_the_unit_is_read_over(words: str):
    """Many programs say G71 beside G21, or G70 beside G20; then it can begin no turning cycle."""
    moves = "G54 M3 S9000 F10\nG0 Z5\nX1 Y0\nG1 Z-1\nX2\nG0 Z5\nX1 Y1\nG1 Z-1\nX2\nG0 Z5\nM30"
    program = read(f"{words}\n{moves}")
    (note,) = program.warnings
    assert note.word in ("G70", "G71")
    assert "is read over" in note.text
    assert program.moves.end[1, 0] == (1 if "G21" in words else 25.4)
    assert "(RESTART" in restart_program(program, len(program.lines) - 3)


@pytest.mark.parametrize(
    "words", ["G71", "G20\nG71", "G21\nG70", "G21 G70", "G21 G71 P10 Q20", "G21\nG71 R1", "G21\nG71 U1"]
)
def test_a_word_for_the_unit_that_may_be_a_cycle_is_refused(words: str):
    """Alone, or against G20 or G21, or with the words of a cycle, nobody knows what it means."""
    with pytest.raises(ProgramError, match="some read it as"):
        read(f"G90\n{words}\nG0 X1")


def test_a_traverse_through_the_work_is_noted_with_its_line():
    """Across at rapid below the top: one should know before. Down into a hole, and above, is usual."""
    said = texts(
        "G21 G0 Z5\nX5 Y5\nM3 S9000\nG1 Z-3 F300\nX10\nG0 Z-1\nG0 X100\nG1 Z-3\nX120\nG0 Z5\nX0\nG0 Z-1"
    )
    assert said.count("traverses across below the top") == 1
    assert "line 7" in said


@pytest.mark.parametrize("line", ["o100 sub", "O<pocket> call [1] [2]", "o2 while [#1 LT 3]"])
def test_what_an_o_word_names_is_refused_with_what_to_do(line: str):
    """A loop or a call put into a comment would leave another program behind."""
    with pytest.raises(ProgramError, match="O words are not followed: write the moves out"):
        read(f"G21 G90\n{line}\nG1 X1 F100\nM2")


@pytest.mark.parametrize(
    "line", ["IF [#1 EQ 0] GOTO 10", "while[#1LT3]do1", "N5 GOTO 20", "END1", "WHILE #1 DO1"]
)
def test_loops_and_choices_of_macros_are_refused_with_what_to_do(line: str):
    """They are not mistaken for words that lack a number."""
    with pytest.raises(ProgramError, match="loops and choices are not followed: write the moves out"):
        read(f"G21 G90\n{line}\nG1 X1 F100\nM2")


def test_numbers_of_programs_and_lines_may_be_long():
    """Some number them by the day; it is no place that the machine could not go to."""
    moves = read("O20261130\nG21 G90\nN20261130 G0 X1\nM2").moves
    assert moves.word.tolist() == [20261130]
    for line in ("O99999999999", "N99999999999", "X20261130"):
        with pytest.raises(ProgramError, match="too large"):
            read(f"G21 G90 G0\n{line}\nX1")


@pytest.mark.parametrize("words", ["G05.1 Q1", "G5.1 Q1 R5", "G08 P1", "G05 P10000", "G187 P3 E0.01"])
def test_look_ahead_is_read_over_with_a_note(words: str):
    """How smoothly a control drives changes no path."""
    (note,) = read(f"G21 G90\n{words}\nG0 X1 Y1\nM2").warnings
    assert (note.line, note.column, note.word) == (2, 1, words.split(maxsplit=1)[0])
    assert "look-ahead" in note.text


@pytest.mark.parametrize("words", ["G5.1 X1 Y1 I1 Q1", "G5 X1 Y1 I1 P1 Q1", "G5", "G8", "G187", "G05.1 P1"])
def test_what_may_be_a_spline_or_something_else_is_refused(words: str):
    """The same words, or without what says that they mean look-ahead, may change where the bit goes."""
    with pytest.raises(ProgramError, match="may change where the bit goes"):
        read(f"G21 G90\n{words}\nG0 X1 Y1\nM2")


def test_missing_units_and_spindle_are_noted():
    """Millimetres are assumed, and a cut with a spindle that nobody started is pointed out."""
    assert "has not said whether it means millimetres" in texts("G0 X1")
    cut = "G21 G0 Z5\n{start}G1 Z-1 F100\nX5"
    assert "is it switched by hand?" in texts(cut.format(start=""))
    assert "is it switched by hand?" in texts(cut.format(start="S0 M3\n"))
    assert "is it switched by hand?" not in texts(cut.format(start="M3\n"))


@pytest.mark.parametrize(
    ("words", "reason", "column"),
    [
        ("X1", "without a motion word", 1),
        ("G80\nG80 X1", "without a motion word", 1),
        ("G1 X1", "without F", 1),
        ("G1 X1 F0", "without F", 1),
        ("F-5", "can't be negative", 1),
        ("G0 S-5", "can't be negative", 4),
        ("T1.5", "whole number", 1),
        ("G0 G1 X1", "contradict each other", 4),
        ("G54 P3", "write G54.1 with P, or leave P out", 5),
        ("G43 H1\nG0 Z5 H2", "H2 alone is another length offset on some controls", 7),
        ("G59P10", "G59 with P means another system on some controls", 4),
        ("G20 G21", "contradict each other", 5),
        ("M3 M5", "contradict each other", 4),
        ("M0 M2", "contradict each other", 4),
        ("G68 X1", "not followed", 1),
        ("G12.34", "not followed", 1),
        ("G5 X1", "not followed", 1),
        ("G70", "some read it as inch", 1),
        ("G41", "shifted by the bit's radius", 1),
        ("M47", "repeats the program", 1),
        ("M97 P5", "M98 and an O number", 1),
        ("G0 A5", "only X, Y and Z", 4),
        ("G0 Z5 U0", "only X, Y and Z", 7),
        ("G0 X1 E5", "without exponent", 7),
        ("G4", "G4 needs P", 1),
        ("G4 P-1", "G4 needs P", 4),
        ("G92", "without X, Y or Z", 1),
        ("G1 G92 X0", "both claim", 4),
        ("G53 G2 X1 I1", "G53 needs G0 or G1", 1),
        ("G91 G0 G53 X1", "needs G90", 8),
        ("G38.2 Z-1", "probing move without F", 1),
        ("G43 H1.5", "whole number", 5),
        ("G10 L2 X1", "G10 needs P", 1),
        ("G10 L1 P1 Z5", "sets a bit's length", 5),
        ("G10 L7 P1", "L1, L2 or L20", 5),
        ("G10 L2 P1 R5", "turns the axes", 11),
        ("O1.5", "whole number", 1),
        ("G54.1", "G54.1 needs P", 1),
        ("G54.1 P1.5", "G54.1 needs P", 7),
        ("G52 X1", "not followed", 1),
    ],
)
def test_what_leaves_the_motion_open_is_refused_with_its_place(words: str, reason: str, column: int):
    """An error names line, column and word, and says what to do."""
    with pytest.raises(ProgramError, match=reason) as caught:
        read("G21\n" + words)
    assert caught.value.line >= 2
    assert caught.value.column == column


@pytest.mark.parametrize("text", ["", "\n\n", "(only a comment)", "G21 G90", "M3 S1000\nG4 P5\nM0", "%\n%"])
def test_a_text_that_moves_nothing_is_no_program(text: str):
    """It says which file to choose instead."""
    with pytest.raises(ProgramError, match="choose the file that the machine runs"):
        read(text)


def test_prose_and_pictures_are_refused():
    """A letter, a page, bytes of a picture: an error, never a crash."""
    for text in ("Dear customer,\nplease find", "<html>", "\x89PNG\r\n\x1a\n\x00\x00", '{"a": 1}'):
        with pytest.raises(ProgramError):
            read(text)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_and_marks_do_not_matter(end: str):
    """CRLF, CR, a byte order mark and no-break spaces read the same; line numbers too."""
    source = "\ufeffG21 G90\nG0\xa0X1\n\nG1 X2 F100\n".replace("\n", end)
    moves = read(source).moves
    assert moves.file_line.tolist() == [2, 4]


def test_line_ends_may_be_mixed():
    """CRLF, LF and CR in one file, as editors leave them: each ends one line."""
    moves = read("G21 G90\r\nG0 X1\rX2\n\rX3\r\n\r\nX4").moves
    assert moves.file_line.tolist() == [2, 3, 5, 7]


def test_line_numbers_may_repeat_and_run_backwards():
    """NISTIR 6556, 3.3.1: a line's N-word is a name; its place in the file is another thing."""
    moves = read("N30 G21 G90 G0 X1\nN10 X2\nN10 X3\nX4").moves
    assert moves.word.tolist() == [30, 10, 10, -1]
    assert moves.file_line.tolist() == [1, 2, 3, 4]


def test_form_feeds_do_not_split_lines():
    """Only line ends count lines: an editor must show the same numbers."""
    assert read("G21 (a\x0cb\u2028c)\nG0 X1").moves.file_line.tolist() == [2]


def test_bytes_become_text():
    """UTF-8 with or without mark, UTF-16 with one, else the western code page; no text is refused."""
    assert decode("G0 X1 (Größe)".encode()) == "G0 X1 (Größe)"
    assert decode(b"\xef\xbb\xbfG0 X1") == "G0 X1"
    assert decode("G0 X1 (Größe)".encode("cp1252")) == "G0 X1 (Größe)"
    for encoding in ("utf-16", "utf-16-le", "utf-16-be"):
        mark = "" if encoding == "utf-16" else "\ufeff"
        assert decode((mark + "G0 X1 (Größe)").encode(encoding)) == "G0 X1 (Größe)"
    assert decode("G0 X1".encode("utf-16")[:-1]).startswith("G0 X")
    for raw in ("G0 X1".encode("utf-16-le"), b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", bytes(range(1, 9)) * 50):
        with pytest.raises(ProgramError, match="no text"):
            decode(raw)


@pytest.mark.parametrize("line", ["I-5. J0", "N9 J0 I-5", "I-5 F800", "M8 I-5", "/I-5"])
def test_a_full_circle_is_one_with_g2_in_force_as_well(line: str):
    """What takes G2 I J without a place takes a line of I and J alone the same way."""
    circle = HEAD + "X20 Y20\nG1 Z-2 F300\nG2 I5 J0 F900\n"
    again = read(circle + line, skip_slashed=False).moves
    assert np.allclose(again.sweep[-2:], -2 * np.pi)
    assert np.allclose(again.centre[-2:, 0], [25, 15])
    assert len(read(circle + "K0").moves) == len(again) - 1


def test_duration_of_a_full_circle_equals_its_circumference():
    """A closed arc has the length of its circle."""
    assert read(HEAD + "X0 Y0\nG2 I5").moves.length[-1] == pytest.approx(10 * math.pi)


@pytest.mark.parametrize(
    ("text", "missing"),
    [
        (HEAD + "G1 Z-1\nX10\n", True),
        (HEAD + "G1 Z-1\nX10\nG2 ", True),
        (HEAD + "G1 Z-1\nX10\nG0 Z5\n", True),
        ("%\n" + HEAD + "G1 Z-1\nX10\nG0 Z5\nM5\n", True),
        (HEAD + "G1 Z-1\nX10\nG0 Z5\nM5\n", False),
        (HEAD + "G1 Z-1\nX10\nG0 Z5\nM30\n", False),
        (HEAD + "G1 Z-1\nX10\nG0 Z5\n%\n", False),
        ("%\n" + HEAD + "G1 Z-1\nX10\nG0 Z5\nM5\n%\n", False),
        ("%\n" + HEAD + "G1 Z-1\nX10\nG0 Z5\nM2", False),
        ("G21 G90\nG0 Z5\nG1 Z-1 F300\nX10\n", False),
    ],
)
def test_an_end_that_seems_to_be_missing_is_noted(text: str, *, missing: bool):
    """Half a file begins with % and ends without, or leaves the spindle on, and has no M2 or M30."""
    program = read(text)
    said = [note for note in program.warnings if "copied whole?" in note.text]
    assert program.breaks_off is missing
    assert [note.line for note in said] == [len(program.lines)] * missing
