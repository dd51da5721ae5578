"""The restart program, run by a machine that shares no code with the reader."""

import math

import pytest
from generated import programs
from hypothesis import HealthCheck, given, settings
from simple_machine import Event, SimpleMachine

from analysis.errors import ProgramError
from analysis.program import read, restart_program, resume_at

MARK = "from here on it is the original"
ELSEWHERE = [
    {"distance": "G91", "units": "G20", "plane": "G18", "system": "G59", "length": "G43H9", "feed": "G93",
     "return": "G99", "motion": "G83", "path": "G61.1", "over": "M49"},
    {"distance": "G90", "units": "G21", "plane": "G19", "system": "G54", "length": "G49", "feed": "G94",
     "return": "G98", "motion": "G2", "path": "G64", "over": "M48"},
]  # fmt: skip


def run_restart(text: str, modes: dict[str, str]) -> tuple[list[Event], list[Event], SimpleMachine]:
    """Run a restart on a machine left in the given modes; return events of head and body."""
    machine = SimpleMachine(at=[-30.0, 45.0, 60.0], modes=dict(modes), mist=True)
    machine.shift = [7.0, 8.0, 9.0] if "G92" in text else [0.0] * 3
    machine.rate, machine.speed = 111.0, 222.0
    events = machine.run(text)
    mark = next(i for i, line in enumerate(text.split("\n"), 1) if MARK in line)
    return [e for e in events if e.line <= mark], [e for e in events if e.line > mark], machine


def same_way(one: Event, other: Event) -> bool:
    """Whether two feeds follow the same path, at the same rate, speed, bit, offsets and coolant."""
    close = len(one.path) == len(other.path) and all(
        math.dist(a, b) < 2e-3 for a, b in zip(one.path, other.path, strict=True)
    )
    told = (one.spindle, one.system, one.length, one.bit, one.coolant)
    return close and math.isclose(one.rate, other.rate, rel_tol=1e-5) and told == (
        other.spindle, other.system, other.length, other.bit, other.coolant
    )  # fmt: skip


def check_head(head: list[Event], place: tuple[float, float, float]) -> None:
    """Assert that the way back to the work is safe and leads to the resume place."""
    moves = [e for e in head if e.what in ("rapid", "feed")]
    assert moves[0].path[0][:2] == moves[0].path[-1][:2]
    for event in moves:
        across = math.dist(event.path[0][:2], event.path[-1][:2]) > 1e-6
        low = min(point[2] for point in event.path)
        assert low > 0
        if across:
            assert event.what == "rapid"
            assert low >= place[2] - 1e-4
            assert event.spindle[0] == 5 or event.waited
        if event.what == "feed":
            assert event.spindle[0] == 5 or event.waited
    assert math.dist(moves[-1].path[-1], place) < 1e-4


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs())
def test_restart_feeds_exactly_what_was_left_and_comes_from_above(text: str):
    """For every line, the restart feeds the original's remaining path, wherever the control was left."""
    program = read(text)
    original = [e for e in SimpleMachine(shift=[0.0] * 3).run(text) if e.what == "feed"]
    done = {}
    for line in range(1, len(program.lines) + 1):
        resume = resume_at(program, line)
        assert resume.file_line <= line
        if resume.move == 0 or resume.file_line in done:
            continue
        done[resume.file_line] = True
        assert resume.position[2] > program.top == 0.0
        restart = restart_program(program, line)
        body_text = restart.split("\n")
        assert body_text[-len(program.lines) + resume.file_line - 2 :][:-1] == list(
            program.lines[resume.file_line - 1 :]
        )
        left = [e for e in original if e.line >= resume.file_line]
        for modes in ELSEWHERE:
            head, body, _ = run_restart(restart, modes)
            check_head(head, resume.position)
            feeds = [e for e in body if e.what == "feed"]
            assert len(feeds) == len(left)
            assert all(same_way(a, b) for a, b in zip(feeds, left, strict=True))
            check_body(body)


def check_body(body: list[Event]) -> None:
    """Assert that the rest neither cuts with a spindle that is off or too young, nor rapids through work."""
    for event in body:
        low = min(point[2] for point in event.path)
        if event.what == "feed" and low < 0:
            assert event.spindle[0] != 5
            assert event.waited
        if event.what == "rapid" and not event.cycle:
            across = math.dist(event.path[0][:2], event.path[-1][:2]) > 1e-6
            assert not (across and low < 0)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs())
def test_nothing_that_was_not_cut_before_the_resume_line_is_left_out(text: str):
    """Every cut at or after the line asked for is still in what the restart runs."""
    program = read(text)
    for line in range(1, len(program.lines) + 1):
        resume = resume_at(program, line)
        assert not (program.moves.file_line[: resume.move] >= line).any()


JOB = """%
N10 G21 G90 G17 G40 G49 G80 G94 G54
N20 T1 M6 (6 mm, two flutes)
N30 M3 S18000
N40 G0 Z5
N50 X10 Y10
N60 G1 Z-3 F300
N70 X40 F1200
N80 G3 X40 Y30 I0 J10
N90 G0 Z5
N100 G98 G81 X60 Y10 Z-6 R1 F200
N110 X70
N120 X80
N130 G80
N140 M30
%
"""


def lines_of(text: str) -> list[str]:
    """Return the lines that are no comments."""
    return [line for line in text.splitlines() if not line.startswith("(")]


def test_resume_goes_back_to_before_the_plunge():
    """A bit that came loose in a cut or an arc is taken back to where it stood above that cut."""
    program = read(JOB)
    for line in (7, 8, 9, 10):
        resume = resume_at(program, line)
        assert (resume.file_line, resume.word) == (7, 60)
        assert resume.position == (10.0, 10.0, 5.0)
        assert resume.bit == 1


def test_resume_in_a_series_of_holes_opens_the_series_again():
    """A hole in the middle of a series is never a place to begin: the series begins anew."""
    program = read(JOB)
    assert {resume_at(program, line).file_line for line in (11, 12, 13, 14)} == {11}


def test_before_the_first_cut_the_program_starts_over():
    """Where nothing has been cut the restart is the whole program."""
    program = read(JOB)
    assert resume_at(program, 3).file_line == 1
    assert restart_program(program, 3) == JOB
    bare = JOB.replace("%\n", "")
    assert restart_program(read(bare), 2).endswith(bare)


def test_restart_states_the_modes_in_order():
    """Modes first, then up, the bit, the spindle, the wait, across, down at feed, and the original."""
    text = lines_of(restart_program(read(JOB), 9, spin_up=4))
    assert text[:17] == [
        "%", "G94 G17 G90 G40 G80", "G21", "G54", "G98", "G49", "M5", "M9", "G0 Z5", "T1 M6", "G49", "G0 Z5",
        "S18000", "M3", "G4 P4", "G0 X10 Y10", "G1 Z5 F300",
    ]  # fmt: skip
    assert text[17] == "G0"
    assert "\n".join(text[18:]) + "\n" == JOB[JOB.index("N60") :]


@pytest.mark.parametrize(
    "caution",
    [
        *("cut the power", "collet", "touch off Z again", "feed hold", "eyes, ears and lungs", "in seconds"),
        *("manual of your machine", "T1 6 mm, two flutes", "N60", "file line 7", "M48 or M49"),
    ],
)
def test_restart_tells_the_person_what_to_check(caution: str):
    """Comments at the head say what only a person can check."""
    head = restart_program(read(JOB), 9).split("(from here on")[0]
    assert caution in head


def test_comments_of_the_head_stay_comments_whatever_the_program_is_called():
    """A name with brackets, blanks or foreign letters can't break out of its comment."""
    text = restart_program(read(JOB, "tray (v2)\nG0 Z-50 ü.nc"), 9)
    assert "(RESTART of tray v2 G0 Z-50 .nc from file line 7, N60)" in text


def test_safe_height_is_the_programs_own_or_the_one_asked_for():
    """The crossing height is the highest the program named so far, unless another is given."""
    assert "G0 Z5\n" in restart_program(read(JOB), 9)
    assert "G0 Z30\n" in restart_program(read(JOB), 9, safe_z=30)
    with pytest.raises(ProgramError, match="safe_z=2 mm is below"):
        restart_program(read(JOB), 9, safe_z=2)


def test_a_spindle_switched_by_hand_gets_a_stop():
    """A program that never starts the spindle stops and asks for it before it goes across."""
    text = lines_of(restart_program(read(JOB.replace("N30 M3 S18000\n", "")), 8))
    assert text.index("M0") < text.index("G0 X10 Y10")
    assert "M3" not in text


def test_what_was_never_stated_is_left_alone_and_named():
    """Units and coordinate system that the program leaves to the control are not guessed."""
    text = restart_program(read("G90\nG0 Z5\nX1 Y1\nM3 S9000\nG1 Z-1 F100\nX9\nM2\n"), 6)
    assert "never states G20 or G21, G54 to G59.3" in text
    assert not {"G21", "G20", "G54"} & set(lines_of(text))


def test_parameters_are_put_back():
    """Values that the skipped lines set are set again."""
    source = "G21 G90\n#1=4.5\n#2=[#1*2]\nG0 Z5\nX1 Y1\nM3 S9000\nG1 Z-1 F100\nX#2\nM2\n"
    text = restart_program(read(source), 8)
    assert "#1=4.5\n#2=9\n" in text


def test_a_subprogram_is_called_again_as_a_whole():
    """A cut inside a subprogram is taken back to its call."""
    source = (
        "G21 G90\nM3 S9000\nG0 Z5\nX1 Y1\nM98 P7 L2\nG90 G0 Z5\nM30\nO7\nG91 G1 Z-6 F100\nX5\nG0 Z6\nM99\n"
    )
    program = read(source)
    assert len(program.moves) == 8
    assert resume_at(program, 10).file_line == 5
    assert "M98 P7 L2\n" in restart_program(program, 10)


@pytest.mark.parametrize(
    ("text", "line", "reason"),
    [
        (JOB, 0, "line 0 is not in"),
        (JOB, 99, "which has 16 lines"),
        (JOB, 16, "is never run"),
        (
            "G21 G91\nM3 S9000\nG0 Z5\nG1 Z-6 F100\nX9\nG0 Z6\nX9\nG1 Z-6\nX2\nM2",
            9,
            "not said where it starts",
        ),
        ("G21 G90\nM3 S9000\nG1 X1 Y1 Z-1 F100\nX9\nX12\nM2", 5, "never known to stand above"),
        ("G21 G92 X0 Y0 Z0\nM3 S9000\nG0 Z5\nX5\nY5\nG1 Z-1 F100\nX9\nM2", 7, "sets the zero"),
        (
            "G21 G90\nM3 S9000\nG0 X0 Y0 Z5\nG1 Z-1 F100\nG0 Z5\nG10 L20 P1 X9\nX0\nM2",
            5,
            "the origin already",
        ),
        (
            "G21 G90\nM3 S9000\nG0 X0 Y0 Z5\nG38.2 Z-9 F50\nG92 Z2\nG0 Z5\nX5 Y5\nG1 Z-1\nX9\nM2",
            9,
            "sets the zero",
        ),
    ],
)
def test_what_cannot_be_made_safe_is_refused(text: str, line: int, reason: str):
    """A restart that rests on a guess is refused, with the reason."""
    with pytest.raises(ProgramError, match=reason):
        restart_program(read(text), line)


def test_after_a_trip_home_the_resume_line_waits_until_the_place_is_known():
    """Between G28 and the next stated X, Y and Z the bit is nowhere to come back to."""
    head = "G21 G90\nM3 S9000\nG0 X1 Y1 Z5\nG1 Z-1 F100\nX9\nG0 Z5\n"
    source = head + "G91 G28 Z0\nG90\nG0 X2 Y2\nG0 Z5\nG1 Z-1\nX9\nM2"
    program = read(source)
    assert resume_at(program, 10).file_line == 7
    assert resume_at(program, 12).file_line == 11


def test_a_machine_place_leaves_the_other_axes_known():
    """G53 Z moves Z alone: the bit can be come back to as soon as Z is stated again."""
    source = "G21 G90\nM3 S9000\nG0 X1 Y1 Z5\nG1 Z-1 F100\nX9\nG0 G53 Z0\nZ5\nG1 Z-1\nX2\nM2"
    assert resume_at(read(source), 9).file_line == 8


def test_an_origin_set_in_the_skipped_part_is_pointed_out():
    """The control keeps what G10 set before the resume line; the head says so."""
    source = "G21 G90\nG10 L2 P1 X9\nM3 S9000\nG0 X1 Y1 Z5\nG1 Z-1 F100\nX9\nM2"
    assert "G10 on file line 2 moved an origin" in restart_program(read(source), 6)


def test_spoilboard_zero_asks_for_the_programs_own_height():
    """Where the top is only estimated, standing above means: where the program itself crosses."""
    source = "G21 G90\nM3 S9000\nG0 Z25\nX1 Y1\nG1 Z15 F100\nX9\nZ18.9\nX20\nZ12\nX30\nZ9\nX9\nG0 Z25\nM2"
    program = read(source)
    assert 15 < program.top < 25
    assert resume_at(program, 12).file_line == 5
