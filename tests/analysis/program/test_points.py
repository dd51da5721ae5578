"""Decimal points in what is written, for controls that count lengths without one in thousandths."""

import math
import re

import pytest
from restarting import restart_program
from simple_machine import Event, SimpleMachine

from analysis.program import read, recut_program
from analysis.program.cautions import cautions_of
from analysis.program.points import Points, length, mixed, number, points_of

JOB = """G21 G90 G17 G54
T1 M6
G0 G43 H1 Z25.
S18000 M3
G4 P2.
G0 X0. Y0.
G1 Z-6. F300.
X100. F2000.
G3 X100. Y50. I0. J25.
G0 Z25.
X200. Y0.
G1 Z-6. F300.
G4 P1.
X300. F2000.
G2 X300. Y50. R25.
G1 X200.
Y0.
G0 Z25.
M5
M30
"""
OTHERS = {
    "points": JOB,
    "inch": JOB.replace("G21", "G20").replace("F300.", "F20."),
    "shifted": JOB.replace("G0 X0. Y0.", "G0 X0. Y0.\nG92 X5. Y0."),
}


def in_thousandths(text: str) -> str:
    """Return a text as a control understands it that counts lengths, feeds and waits without a point so."""
    said = re.sub(r"\([^)]*\)", lambda found: " " * len(found[0]), text)

    def counted(found: re.Match[str]) -> str:
        return f"{found[1]}{int(found[2]) / 1000:.9f}"

    return re.sub(r"([XYZIJKRQF])(-?[0-9]+)(?![0-9.])", counted, said)


def motions(text: str) -> list[Event]:
    """Return what moves on a machine that stands somewhere up in the air."""
    machine = SimpleMachine(at=[-30.0, 45.0, 1600.0])
    return [event for event in machine.run(text) if event.what in ("rapid", "feed")]


def check_same(text: str) -> None:
    """Assert that a control that counts in thousandths and one that does not move alike."""
    counts, plain = motions(in_thousandths(text)), motions(text)
    assert [event.line for event in counts] == [event.line for event in plain]
    for one, other in zip(counts, plain, strict=True):
        assert math.dist(one.path[-1], other.path[-1]) < 1e-4
        assert math.isclose(one.rate, other.rate, rel_tol=1e-6, abs_tol=1e-9)


@pytest.mark.parametrize("text", OTHERS.values(), ids=list(OTHERS))
def test_a_restart_means_the_same_whether_or_not_a_control_counts_in_thousandths(text: str):
    """Heights, places and feeds of the way back have points as those of the original have."""
    program = read(text)
    for line in range(9, len(program.lines) + 1):
        check_same(restart_program(program, line))


@pytest.mark.parametrize("text", OTHERS.values(), ids=list(OTHERS))
def test_a_recut_means_the_same_whether_or_not_a_control_counts_in_thousandths(text: str):
    """All its lengths have a point, whole or not, and its feeds where the original's have one."""
    for names in (["part 1"], ["part 2"], ["part 1", "part 2"]):
        check_same(recut_program(read(text), names))


def test_feeds_and_waits_have_a_point_only_where_the_program_writes_one():
    """Some controls refuse a point behind F or P: there it is as it is in the program."""
    for text in (JOB, re.sub(r"([FP]\d+)\.", r"\1", JOB)):
        point = "." if text == JOB else ""
        for made in (restart_program(read(text), 12), recut_program(read(text), ["part 2"])):
            lines = made.splitlines()
            assert f"G4 P5{point}" in lines
            assert f"G4 P1{point}" in lines
            assert any(line.endswith(f" F300{point}") for line in lines)
            assert "S18000" in lines
    assert "F2000." in restart_program(read(JOB), 12).splitlines()


@pytest.mark.parametrize(
    ("lines", "points"),
    [
        (["G1 X1 F300."], Points(feeds=True)),
        (["g1x1f 300.0"], Points(feeds=True)),
        (["G4 P2."], Points(waits=True)),
        (["N5 g04 p2.0 (s)"], Points(waits=True)),
        (["G1 X1. F300", "F33.3", "G4 P0.5", "G54.1 P2", "G40 P2."], Points()),
        (["(F300. G4 P2.)", "G1 X1 ;F300.", "G4 (P2.)"], Points()),
    ],
)
def test_a_point_is_looked_for_behind_whole_numbers_outside_comments(lines: list[str], points: Points):
    """A fraction has a point in any program, and tells nothing."""
    assert points_of(lines) == points


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(25, 6, "25."), (0, 6, "0."), (-0.0, 5, "0."), (-1e-9, 6, "0."), (2.50, 6, "2.5"), (-3, 5, "-3.")],
)
def test_a_length_has_a_point(value: float, decimals: int, text: str):
    """Whole ones too; and nothing else that it does not need."""
    assert length(value, decimals) == text
    assert number(value, decimals) == text.removesuffix(".")


@pytest.mark.parametrize("bare", ["X60", "x 60", "R+2", "J-05"])
def test_a_program_that_mixes_whole_lengths_is_remarked_upon(bare: str):
    """One with a point and one without may not mean the same unit: it is said where it is read and cut."""
    found = mixed(["G0 X0 (X5)", "G1 X50.5 Y7.0 F200", f"N7 {bare} ;X8."])
    assert found is not None
    assert (found.without, found.with_point, found.line) == (bare.replace(" ", "").upper(), "Y7.0", 3)
    program = read(JOB.replace("G1 X200.", "G1 X200"))
    note = next(note for note in program.warnings if "thousandths" in note.text)
    assert (note.line, note.column, note.word) == (16, 4, "X200")
    assert note.text.startswith("X200 has no decimal point and Z25. has one")
    assert "file line 16: X200 has no" in " ".join(cautions_of(restart_program(program, 14)))


def test_a_program_that_writes_whole_lengths_in_one_way_is_not_remarked_upon():
    """0 is 0 in either reading, and what is no length, or no whole one, tells nothing."""
    assert mixed(["N5 G0 X0 Y-0 F300 S9000 T1", "X60. Y60.0 Z0.5 H1 P5 (X5)", "X.5 Y5.25 ; R9"]) is None
    assert mixed(["G0 X5 Y0.5", "(X6.) X.5", "X7 ;Y8."]) is None
    assert not [note for note in read(JOB).warnings if "thousandths" in note.text]
