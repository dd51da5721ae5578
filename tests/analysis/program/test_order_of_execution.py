"""The words of a line act in the order of NISTIR 6556, Table 8, however they are written."""

import random
import re

import numpy as np
import pytest
from generated import programs
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.program import Kind, Moves, read

HEAD = "G21 G90 G17 G40 G54\nS5000\nG0 X0 Y0 Z5\n"


def after(line: str, head: str = HEAD) -> Moves:
    """Return the moves of a line that comes after the head."""
    moves = read(f"{head}{line}\nM2\n").moves
    begin = len(read(f"{head}M2\n").moves)
    return type(moves)(**{name: column[begin:] for name, column in vars(moves).items()})


def kinds(moves: Moves) -> list[str]:
    """Return the kinds by name."""
    return [Kind(kind).name for kind in moves.kind]


def test_comment_before_bit_change():
    """1 before 6: a comment at the end of the line names the bit that the line puts in."""
    assert read(HEAD + "M6 T3 (ball nose)\nX1").bits[3] == "ball nose"


def test_feed_mode_before_feed():
    """2 before 3: F on the line of G93 is one over minutes."""
    assert after("F2 X60 G1 G93").seconds.tolist() == [30]


def test_units_before_feed():
    """12 before 3, our one deviation, noted in the reader: F on the line of G20 is in inches."""
    assert after("F10 G1 X1 G20").feed.tolist() == [254]


def test_feed_before_motion():
    """3 before 20: a line feeds at its own F."""
    assert after("X5 G1 F150").feed.tolist() == [150]


def test_speed_before_spindle():
    """4 before 7: M3 starts at the S of its own line, and no note says that the speed is missing."""
    program = read(HEAD + "M3 S9000 X5")
    assert program.moves.speed[-1] == 9000
    assert not any("without a speed" in note.text for note in program.warnings)


def test_selection_before_change():
    """5 before 6: M6 puts in the bit that T on its own line selects."""
    assert after("M6 T4").bit.tolist() == [4]


def test_change_before_spindle():
    """6 before 7: the change stops the spindle, then M3 of the same line starts it."""
    moves = after("M3 T1 M6 X5", HEAD + "M3\n")
    assert kinds(moves) == ["BIT_CHANGE", "RAPID"]
    assert moves.speed.tolist() == [0, 5000]


def test_spindle_before_dwell():
    """7 before 10: the wait on the line of M3 lets the spindle come up to speed."""
    moves = after("G4 P3 M3")
    assert (kinds(moves), moves.speed.tolist()) == (["DWELL"], [5000])


def test_dwell_before_plane_and_motion():
    """10 before 11 and 20: first the wait, then the plane, then the motion."""
    moves = after("G2 X4 I2 K0 G18 F100 G4 P1")
    assert kinds(moves)[0] == "DWELL"
    assert moves.plane.tolist() == [17, 18]


def test_dwell_takes_p_before_the_path_mode():
    """10 before 16: of G4 and G64 on one line the wait has P."""
    assert after("G64 G4 P2").seconds.tolist() == [2]


def test_plane_before_arc():
    """11 before 20: an arc lies in the plane that its own line states."""
    moves = after("G2 X4 I2 K0 F100 G18")
    assert moves.plane.tolist() == [18]
    assert abs(moves.sweep[0]) == pytest.approx(np.pi)


def test_units_before_motion():
    """12 before 20: a place is in the unit of its own line."""
    assert after("X1 G20").end[0, 0] == 25.4


def test_length_offset_before_motion():
    """14 before 20: a Z on the line of G43 is a Z with that length."""
    text = HEAD + "Z9 G43 H1\nG1 Z4 F100"
    assert read(text).moves.end[-2:, 2].tolist() == [9, 4]
    assert not any("unknown Z" in note.text for note in read(text).warnings)


def test_coordinate_system_before_motion():
    """15 before 20: a place on the line of G55 is a place in G55."""
    program = read(HEAD + "X1 Y2 Z9 G55\nG91 X1")
    assert program.moves.system[-2:].tolist() == [2, 2]
    assert not any("steps on" in note.text for note in program.warnings)


def test_distance_mode_before_motion():
    """17 before 20: X on the line of G91 is a step."""
    assert after("X5 G91", HEAD + "X5\n").end[0, 0] == 10


def test_distance_mode_before_reference():
    """17 before 19: the place on the way of G28 is a step on the line of G91."""
    assert after("G28 X3 G91", HEAD + "X5\n").end[0].tolist() == [8, 0, 5]


def test_return_mode_before_cycle():
    """18 before 20: a hole on the line of G99 leaves at R."""
    assert after("X9 R1 Z-1 G81 F100 G99").end[-1, 2] == 1


def test_return_to_the_old_distance_mode_takes_the_next_line():
    """17 before 20, twice: each line goes by its own word."""
    assert after("X1 G91\nX1 G90\nX1 G91").end[:, 0].tolist() == [1, 2]


def test_motion_before_stop():
    """20 before 21: the line is gone to before the program pauses or ends."""
    assert kinds(after("M0 G0 X5")) == ["RAPID", "PAUSE"]
    assert after("M30 X7").end[0, 0] == 7


def test_spindle_and_coolant_before_stop():
    """7 before 21: at a pause on the line of M5 the spindle stands."""
    assert after("M0 M5 M9", HEAD + "M3\n").speed.tolist() == [0]


def test_motion_before_call():
    """Common practice: a line with M98 goes where it says, then calls."""
    moves = after("M98 P7 X5\nM2\nO7\nG91 X1\nM99")
    assert moves.end[:, 0].tolist() == [5, 6]


_WORD = re.compile(r"\([^)]*\)|[A-Za-z][-+0-9.]+")


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs(), seed=st.integers(0, 2**32))
def test_the_order_of_writing_changes_nothing(text: str, seed: int):
    """The words of each line in any other order give the same moves."""
    chance = random.Random(seed)  # noqa: S311 (no secret)
    lines = [_WORD.findall(line.split(";")[0]) for line in text.split("\n")]
    for words in lines:
        chance.shuffle(words)
    plain, other = read(text).moves, read("\n".join(" ".join(words) for words in lines)).moves
    for name, column in vars(plain).items():
        assert np.array_equal(column, getattr(other, name), equal_nan=True)
