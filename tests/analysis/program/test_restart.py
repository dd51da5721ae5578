"""The restart program, run by a machine that shares no code with the reader."""

import math
import re

import pytest
from generated import programs
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from restarting import restart_program
from simple_machine import Event, SimpleMachine

from analysis.errors import ProgramError
from analysis.program import Program, read, resume_at, resume_before_move
from analysis.program.cautions import cautions_of
from analysis.program.following import EVERY

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
    # The run that was stopped left a shift behind only if the program makes one.
    machine.shift = [7.0, 8.0, 9.0] if re.search(r"G92(?!\.[12])", text) else [0.0] * 3
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


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs())
def test_restart_feeds_exactly_what_was_left_and_comes_from_above(text: str):
    """For every line, the restart feeds the original's remaining path, wherever the control was left."""
    check_every_line(text)


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs())
def test_what_a_program_takes_for_granted_is_stated(text: str):
    """A program without coordinate system and return mode carries on as in G54 and G98, as it began."""
    check_every_line(re.sub(r"G5[4-9](\.1)?|G9[89]", "", text))


def check_every_line(text: str) -> None:
    """Assert for every line of a program that the restart is safe and feeds what was left."""
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


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs())
def test_nothing_that_was_not_cut_before_the_resume_line_is_left_out(text: str):
    """Every cut at or after the line asked for is still in what the restart runs."""
    program = read(text)
    for line in range(1, len(program.lines) + 1):
        resume = resume_at(program, line)
        assert not (program.moves.file_line[: resume.move] >= line).any()


CALLS = """G21 G90 G54
M3 S9000
G0 Z5
X10 Y0
M98 P7
G0 X50
M30
O7
G1 Z-3 F200
X9
G0 Z5
M99
"""


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs() | st.just(CALLS), bulk=st.sampled_from([1, 3, 1000]))
def test_looking_where_the_bit_was_last_above_the_work_finds_the_same(text: str, bulk: int):
    """The quick way through a long program leads to the same resume line as looking at every line."""
    program = read(text)
    lines = [
        line for line in range(1, len(program.lines) + 1) if line in set(program.moves.file_line.tolist())
    ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("analysis.program.following.BULK", bulk)
        quick = [resume_at(program, line) for line in lines]
        patch.setattr("analysis.program.restart._where_it_may_stand", lambda *_: EVERY)
        assert [resume_at(program, line) for line in lines] == quick


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
    """Where nothing has been cut the restart is the whole program, with what to check before it."""
    program = read(JOB)
    assert resume_at(program, 3).file_line == 1
    text = restart_program(program, 3)
    assert "\n".join(lines_of(text)) + "\n" == JOB
    assert text.startswith("%\n(it begins before the first cut of program: this is the whole program")
    assert "touch off Z again" in text
    bare = JOB.replace("%\n", "")
    assert restart_program(read(bare), 2).endswith(bare)
    unsaid = restart_program(read("G0 Z5\nG1 Z-1 F100\nX9\nM2"), 1)
    assert "never states its unit, G20 or G21" in unsaid
    assert "never states its coordinate system" in unsaid


def test_restart_states_the_modes_in_order():
    """Modes first, then up, the bit, the spindle, the wait, across, down at feed, and the original."""
    text = lines_of(restart_program(read(JOB), 9, spin_up=4))
    assert text[:15] == [
        "%", "G94 G17 G90 G40 G80", "G21", "G54", "G98", "M5", "M9", "G0 Z5.", "T1 M6", "G0 Z5.",
        "S18000", "M3", "G4 P4", "G0 X10. Y10.", "G1 Z5. F300",
    ]  # fmt: skip
    assert text[15] == "G0"
    assert "\n".join(text[16:]) + "\n" == JOB[JOB.index("N60") :]


@pytest.mark.parametrize(
    ("first", "after", "said"),
    [
        ("G49", "", ["T1 M6"]),
        ("", "", ["T1 M6"]),
        ("G49", "G49", ["G49", "T1 M6", "G49"]),
        ("G49", "G43 H1", ["G43 H1", "T1 M6", "G43 H1"]),
        ("G43 H2", "", ["G43 H2", "T1 M6"]),
    ],
)
def test_a_length_offset_is_said_after_the_change_of_bit_only_where_the_program_does(
    first: str, after: str, said: list[str]
):
    """
    A machine that measures the bit at M6 keeps what it measured, as it did in the first run.

    So a G49 from before M6 is not said again: the way up would go by no length, the bit's own lower.
    """
    begin = ["G21 G90 G17 G94 G54", first, "T1 M6", after, "M3 S9000", "G0 Z5", "X1 Y1", "G1 Z-3 F300", "X9"]
    text = lines_of(restart_program(read("\n".join([*begin, "G0 Z5", "M2"])), 8))
    assert [line for line in text[: text.index("M3")] if line[:3] in ("G49", "G43") or "M6" in line] == said


def head_of(text: str) -> str:
    """Return what the head of a restart says, in one line."""
    return " ".join(" ".join(cautions_of(text)).split())


@pytest.mark.parametrize(
    "caution",
    [
        *("cut its power before a hand", "Collet clean, dry and tight", "feed hold", "eyes, ears and lungs"),
        *("manual of your machine", "T1 6 mm, two flutes", "N60", "file line 7", "M48 or M49", "in seconds"),
        *("straight along Z to 5 mm, up or down", "emergency stop", "clamps", "--safe-z", "cut through"),
    ],
)
def test_restart_tells_the_person_what_to_check(caution: str):
    """Comments at the head say what only a person can check."""
    assert caution in head_of(restart_program(read(JOB), 9))


def test_what_to_check_comes_in_the_order_of_doing():
    """Power, position, bit, touching off, jogging clear, a hand at the stop; the steps are numbered."""
    said = head_of(restart_program(read(JOB), 9))
    steps = ["1 - stop the spindle", "2 - make sure that the ", "3 - bit to have", "4 - touch off Z",
             "5 - jog the bit", "6 - eyes"]  # fmt: skip
    places = [said.index(step) for step in steps]
    assert places == sorted(places)


@pytest.mark.parametrize("line", [9, 1])
def test_a_restart_of_half_a_file_says_that_its_end_is_missing(line: int):
    """It is the original from there on, so it would end with the spindle on, in the work perhaps."""
    half = "\n".join(lines_of(JOB)[:10]) + "\n"
    said = head_of(restart_program(read(half, "tray.ngc"), line))
    assert "THE END SEEMS TO BE MISSING: tray.ngc has no M2 or M30" in said
    assert "Copy the program whole first" in said
    assert "SEEMS TO BE MISSING" not in head_of(restart_program(read(JOB), line))


SPOILBOARD = "G21 G90\nM3 S9000\nG0 Z25\nX1 Y1\nG1 Z15 F100\nX9\nZ12\nX30\nZ9\nX9\nG0 Z25\nX0\nG1 Z9\nX5\nM2"


@pytest.mark.parametrize(
    ("source", "line", "first", "instead"),
    [
        (
            JOB,
            9,
            "it seems the top of the sheet: take a spot of it",
            "spoilboard beside it and set Z there to minus the thickness",
        ),
        (
            SPOILBOARD,
            14,
            "it seems the spoilboard, below the top",
            "sheet's top and set Z there to the thickness",
        ),
        (
            "G21 G90\nM3 S9000\nG0 Z-10\nX1 Y1\nG1 Z-15 F100\nX9\nG0 Z-10\nX0\nG1 Z-15\nX4\nM2",
            10,
            "Z0 lies above the work",
            "one whose distance from it you can measure",
        ),
    ],
)
def test_touching_off_names_the_surface_and_another_one(source: str, line: int, first: str, instead: str):
    """The head says where Z0 lies, and from what to measure if that surface has been cut away."""
    said = head_of(restart_program(read(source), line))
    assert first in said
    assert instead in said


def test_a_length_offset_is_to_be_measured_anew():
    """With G43 in force the bit's length may come from the table of offsets: the head names its number."""
    said = head_of(restart_program(read(JOB.replace("M3 S18000", "M3 S18000 G43 H7")), 9))
    assert "from offset H7, measure it anew into that" in said


MEASURED = """G21 G90 G17 G54
T2 M6
G0 G43 H2 Z15
S18000 M3
X0 Y0
G1 Z-3 F300
X50 F2000
G0 Z15
T8 M6
G0 G43 H8 Z15
S9000 M3
X0 Y50
G1 Z-3 F300
X50 F2000
G0 Z15
M30
"""


def test_the_bit_by_whose_length_the_first_motion_goes_must_be_in_already():
    """On a machine with a changer a later and longer bit may be in: M6 comes after the way up."""
    for line, bit in ((9, 2), (14, 8)):
        text = restart_program(read(MEASURED), line)
        way = lines_of(text)
        assert way.index(f"G43 H{bit}") < way.index("G0 Z15.") < way.index(f"T{bit} M6")
        said = (
            f"leave it to the M6 below: T{bit} must be in when you start, for the first motion goes by its "
        )
        assert f"{said}length, offset H{bit}." in head_of(text)


@pytest.mark.parametrize("left_out", ["T2 M6\n", " G43 H2"])
def test_where_no_bit_is_called_or_none_has_a_length_the_bit_in_is_the_right_one(left_out: str):
    """Without M6 nothing puts another in, and without an offset Z is that of the bit that was touched off."""
    one = MEASURED.replace("T8 M6\nG0 G43 H8 Z15\n", "")
    assert "T2 must be in when you start" in head_of(restart_program(read(one), 12))
    assert "when you start" not in head_of(restart_program(read(one.replace(left_out, "")), 11))


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs(), name=st.text(max_size=80))
def test_comments_hold_nothing_that_a_control_could_obey(text: str, name: str):
    """Whatever a program is called, its comments hold only signs that mean nothing, and under 80 of them."""
    program = read(text, name)
    restart = restart_program(program, len(program.lines))
    for line in restart.splitlines()[: restart[: restart.index(MARK)].count("\n") + 1]:
        if line.startswith("("):
            assert re.fullmatch(r"\([-A-Za-z0-9 .,:'/+*=<>@#&_^|\"`{}\[\]\\]*\)", line)
            assert len(line) < 80


def test_comments_of_the_head_stay_comments_whatever_the_program_is_called():
    """A name with brackets, blanks or foreign letters can't break out of its comment."""
    text = restart_program(read(JOB, "tray (v2)\nG0 Z-50 ü.nc"), 9)
    assert "(RESTART of tray v2 G0 Z-50 .nc from file line 7, N60)" in text


def test_safe_height_is_the_programs_own_or_the_one_asked_for():
    """The crossing height is the highest the program named so far, unless another is given."""
    assert "G0 Z5.\n" in restart_program(read(JOB), 9)
    assert "G0 Z30.\n" in restart_program(read(JOB), 9, safe_z=30)
    with pytest.raises(ProgramError, match=r"safe-z of 2 mm .* give 5 mm or more"):
        restart_program(read(JOB), 9, safe_z=2)


def test_a_height_to_cross_at_below_the_programs_own_is_warned_of():
    """The program may go as high for a clamp: one who chooses less is told by how much."""
    inch = "G20 G90 G54\nM3 S9000\nG0 Z1\nX0 Y0\nZ.05\nG1 Z-.2 F20\nX4\nG0 Z1\nX6\nZ.05\nG1 Z-.2\nX9\nM2"
    low = head_of(restart_program(read(inch), 12, safe_z=1.5))
    assert "at, 0.05906 inch, is lower than the program's own, 1 inch: see that no clamp" in low
    for height in (25.4, 50.0, None):
        assert "is lower than" not in head_of(restart_program(read(inch), 12, safe_z=height))


def test_a_spindle_switched_by_hand_gets_a_stop():
    """A program that never starts the spindle stops and asks for it before it goes across."""
    text = lines_of(restart_program(read(JOB.replace("N30 M3 S18000\n", "")), 8))
    assert text.index("M0") < text.index("G0 X10. Y10.")
    assert "M3" not in text


@pytest.mark.parametrize("started", ["", "M3\nM5\n"])
def test_a_spindle_that_is_started_further_on_at_no_stated_speed_gets_a_stop(started: str):
    """Nobody knows what speed a control has left by then, so that a person sets it; none is invented."""
    text = f"G21 G90\n{started}G0 Z5\nX1 Y1\nG1 Z-1 F300\nX5\nG0 Z5\nX9\nG1 Z1\nM3\nZ-1\nX20\nG0 Z5\nM2\n"
    again = restart_program(read(text), text.split("\n").index("G1 Z1") + 1)
    said = lines_of(again)
    assert said.index("M0") < said.index("G0 X9. Y1.") < said.index("M3")
    assert not any(line.startswith("S") for line in said)
    told = " ".join(re.sub("[()]", " ", again).split())
    assert "starts the spindle without a speed - set it as in the first run, then carry on" in told
    assert "with the spindle off" not in told


def test_a_spindle_that_turns_at_no_stated_speed_is_started_so_again():
    """A person is told to set its speed; S0 is put back as the program said it."""
    for start, stated in (("M3", []), ("S0 M3", ["S0"])):
        again = restart_program(read(JOB.replace("M3 S18000", start)), 8)
        said = lines_of(again)
        assert "M3" in said
        assert [line for line in said[: said.index("M3")] if line.startswith("S")] == stated
        assert "the program starts the spindle without a speed" in " ".join(
            re.sub("[()]", " ", again).split()
        )


def test_the_bit_that_is_in_to_begin_with_is_the_one_to_have_in():
    """What T names before the first M6, but not what the M6 will put in."""
    text = (
        "G21 G90 G54\n{first}M3 S9000\nG0 Z5\nX1 Y1\nG1 Z-1 F300\nX5\nG0 Z5\n{then}X9\nG1 Z-1\nX20\nG0 Z5\n"
        "{change} M6\nM3\nX30\nG1 Z-1\nX40\nG0 Z5\nM2\n"
    )
    for first, then, change, bit in (
        ("T1 (SIX)\n", "", "T2", "T1 SIX"),
        ("T1 (SIX)\n", "T2\n", "", "T1 SIX"),
        ("", "T2\n", "", "the one that the program was cutting with"),
    ):
        program = read(text.format(first=first, then=then, change=change))
        line = program.lines.index("X20") + 1
        again = restart_program(program, line)
        assert f"bit to have in: {bit}." in " ".join(re.sub("[()]", " ", again).split())
        assert resume_at(program, line).bit == (1 if first else 0)
        assert ("T2" in lines_of(again)[: lines_of(again).index("M3")]) == bool(then)


def test_a_cut_with_a_standing_spindle_gets_a_stop_though_the_program_has_started_it_once():
    """M6 stops the spindle where the standard is kept to: what is cut then is not begun without a word."""
    text = "G21 G90\nG0 Z5\nG0 X1 Y1\nM3 S18000\nT1 M6\nG1 Z-1 F300\nX10\nG0 Z5\nX20\nG1 Z-1\nX30\nG0 Z5\nM2"
    said = lines_of(restart_program(read(text), 10))
    assert said.index("T1 M6") < said.index("M0") < said.index("G0 X20. Y1.")
    assert "with the spindle off" in restart_program(read(text), 10)


BY_STOP = """G21 G90 G54
T1 M6 (6 MM END MILL)
S18000 M3
G0 Z20
G0 X0 Y0
G1 Z-3 F300
X10
G0 Z20
M5
M0 (FIT THE 3 MM BALL NOSE, ZERO Z)
S24000 M3
G0 X20
G1 Z-1 F300
X30
G0 Z20
M5
M30
"""


def test_a_stop_at_which_a_bit_was_put_in_by_hand_is_made_again():
    """The head stops before the spindle starts, says what the original asked for, and is sure of no bit."""
    text = restart_program(read(BY_STOP), 14)
    said = lines_of(text)
    assert said.index("T1 M6") < said.index("M0") < said.index("S24000")
    assert "(file line 10: FIT THE 3 MM BALL NOSE, ZERO Z)" in text
    assert "or what was put in at the stop on file line 10" in head_of(text)
    before = restart_program(read(BY_STOP), 7)
    assert "M0" not in lines_of(before)[: lines_of(before).index("M3")]


def test_the_last_stops_are_named_and_the_others_counted():
    """A program that stops at every part is no reason for pages of comments."""
    stops = "\n".join(f"M0 (LOOK AT PART {n})" for n in range(1, 9))
    text = restart_program(read(BY_STOP.replace("M0 (FIT THE 3 MM BALL NOSE, ZERO Z)", stops)), 21)
    assert "3 stops before those named here" in text
    assert ["LOOK AT PART 3)" in text[: text.index("S24000")], "LOOK AT PART 4)" in text] == [False, True]


@pytest.mark.parametrize(("change", "said"), [("T1 M6\nT2", "G43 H1"), ("T2", "G43 H2")])
def test_a_length_offset_without_a_number_is_that_of_the_bit_that_cuts(change: str, said: str):
    """A bit that is chosen for later is not the one whose length counts."""
    text = f"G21 G90 G54\n{change}\nG43\nS18000 M3\nG0 Z20\nX0 Y0\nG1 Z-3 F300\nX10\nG0 Z20\nX30\nG1 Z-3\nM2"
    restart = lines_of(restart_program(read(text), text.count("\n")))
    assert {line for line in restart if line.startswith("G43")} == {said}


def test_a_change_of_bit_without_a_number_stays_one():
    """T0 M6 would put the bit away."""
    text = "G21 G90 G54\nM6\nS18000 M3\nG0 Z20\nX0 Y0\nG1 Z-3 F300\nX10\nG0 Z20\nX20\nG1 Z-1\nX30\nM2"
    said = lines_of(restart_program(read(text), 10))
    assert "M6" in said
    assert not any(line.startswith("T") for line in said)


def test_a_shift_that_the_control_kept_from_before_is_no_restart():
    """G92.3 brings back what the program never set: where its zero lies then nobody here knows."""
    text = "G21 G90 G54\nG92.3\nM3 S9000\nG0 Z5\nX0 Y0\nG1 Z-3 F300\nX10\nG0 Z5\nX20\nG1 Z-3\nX30\nG0 Z5\nM2"
    with pytest.raises(
        ProgramError, match=r"G92\.3 on line 2 .*: the control kept it from before; set the zero"
    ):
        restart_program(read(text), 11)
    known = text.replace("G92.3", "G92.1\nG92.3")
    assert "G0 X20. Y0." in lines_of(restart_program(read(known), 12))


def test_a_shift_set_by_hand_before_the_run_is_kept():
    """A program that only clears the shift at its end has not done so yet; one that sets it may have."""
    text = "G21 G90 G54\nM3 S9000\nG0 Z5\nX0 Y0\nG1 Z-3 F300\nX10\nG0 Z5\nX20\nG1 Z-3\nX30\nG0 Z5\nG92.1\nM2"
    said = lines_of(restart_program(read(text), 9))
    assert "G92.1" not in said[: said.index("M3")]
    said = lines_of(restart_program(read(text.replace("G92.1", "G92 X0")), 9))
    assert "G92.1" in said[: said.index("M3")]


SLASHED = """G21 G90 G54
T1 M6
S18000 M3
/M8
/%s
G0 Z20
X0 Y0
G1 Z-3 F300
X10
G0 Z20
X20
G1 Z-1
X30
M2
"""


def test_what_hangs_on_the_block_delete_switch_is_refused():
    """A coordinate system that a slash may leave out decides where it cuts; coolant is a matter of a word."""
    with pytest.raises(ProgramError, match="depends on the block-delete switch, for line 4"):
        restart_program(read(SLASHED % "G55"), 12)
    said = head_of(restart_program(read(SLASHED % "M1"), 12))
    assert "begin with a slash, file line 4, 5, are taken as left out" in said


def test_a_numbered_slash_is_one_too():
    """Which switch it is makes no difference to what may be in force."""
    numbered = SLASHED.replace("/", "/2 ")
    with pytest.raises(ProgramError, match="depends on the block-delete switch, for line 4"):
        restart_program(read(numbered % "G55"), 12)
    assert "are taken as left out" in head_of(restart_program(read(numbered % "M1"), 12))
    named = read((numbered % "M1").replace("G0 Z20\nX20", "G0 Z20\n/2 N70 M8\nX20"))
    assert resume_at(named, 11).word == 70


def test_a_slash_in_a_subprogram_that_stands_further_on_counts_as_well():
    """What was run before the stand may stand behind it in the file."""
    called = SLASHED.replace("/M8\n/%s\n", "M98 P7\n") + "O7\n/G55\nM99\n"
    with pytest.raises(ProgramError, match="depends on the block-delete switch, for line 15"):
        restart_program(read(called), 11)


TWO_ZEROS = """G21 G90 G54
T1 M6
S18000 M3
G0 Z20
X0 Y0
G1 Z-6 F400
X50
Y50
X0
Y0
G0 Z20
G55
G0 Z25
X5 Y5
G1 Z12 F400
X50
Y50
X0
Y0
G1 Z6
X50
Y50
X0
Y0
G0 Z25
M2
"""


def test_each_coordinate_system_has_its_own_top():
    """In G55 zero is the spoilboard: at Z 12 the bit is in the sheet, though above the top of G54."""
    program = read(TWO_ZEROS)
    resume = resume_at(program, 22)
    assert (resume.file_line, resume.position) == (15, (5.0, 5.0, 25.0))
    assert "G1 Z25. F400" in lines_of(restart_program(program, 22))


def heights_of(text: str, line: int) -> list[str]:
    """Return the lines of a restart's head that go up or down at traverse."""
    head = restart_program(read(text), line).partition(MARK)[0]
    return [at for at in lines_of(head) if at.startswith("G0 Z")]


BOTH_ZEROS = TWO_ZEROS.replace("Z25\nM2", "Z{high}\nG54\n{back}G0 Z5\nX0 Y90\nG1 Z-6\nX50\nG0 Z5\nM2")


@pytest.mark.parametrize("high", ["25", "60"])
def test_the_height_to_cross_at_is_named_in_the_coordinate_system_in_force(high: str):
    """Z 60 above the spoilboard may lie beyond the machine's stop where zero is the top of a sheet."""
    text = BOTH_ZEROS.format(high=high, back="")
    assert heights_of(text, 29) == ["G0 Z20."] * 2
    assert heights_of(text, 22) == ["G0 Z25."] * 2
    low = text.replace("G0 Z20", "G0 Z5")
    assert heights_of(low, 29) == ["G0 Z5."] * 2
    assert "the next straight across" in head_of(restart_program(read(low), 29))


@pytest.mark.parametrize(
    ("zeros", "back", "height"),
    [
        ("G10 L2 P1 Z-80\nG10 L2 P2 Z-98\n", "", "42."),
        ("G10 L2 P1 Z-80\nG10 L2 P2 Z-98\n", "G10 L2 P1 Z-90\n", "52."),
        ("G10 L2 P1 Z-80\nG10 L2 P2 Z-98\n", "G0 Z30\nG10 L20 P1 Z1\n", "13."),
        ("G10 L2 P1 Z-80\n", "", "20."),
        ("G10 L2 P1 Z-80\n", "G10 L2 P1 Z-90\n", "30."),
        ("", "G10 L2 P1 Z-90\n", "5."),
        ("", "G55\nG10 L2 P1 Z-90\nG54\n", "5."),
        ("", "G55\nG10 L20 P1 Z3\nG54\n", "5."),
        ("G10 L2 P1 Z-80\n", "G55\nG10 L2 P1 Z-90\nG54\n", "30."),
        ("G10 L2 P1 Z-80\n", "G10 L20 P1 Z9\n", "5."),
    ],
)
def test_heights_go_along_with_zeros_as_far_as_the_program_tells(zeros: str, back: str, height: str):
    """Where it says how far two zeros lie apart a height is known in both; where it does not, in one."""
    text = BOTH_ZEROS.format(high=60, back=back).replace("T1 M6\n", f"{zeros}T1 M6\n")
    assert set(heights_of(text, text.count("\n", 0, text.index("X0 Y90")) + 3)) == {f"G0 Z{height}"}


def test_a_line_at_the_end_of_a_program_without_an_end_word_is_run():
    """Nothing but plain lines behind the stand: the last of them are no lines that are never run."""
    text = "G21 G90\nG0 Z5\nM3 S1000\nG0 X0 Y0\nG1 Z-1 F300\nX10\nX20\nX30"
    assert resume_at(read(text), 8).file_line == resume_at(read(text + "\nM30"), 8).file_line == 5


BARE = "G90\nG0 Z5\nX1 Y1\nM3 S9000\nG1 Z-1 F100\nX9\nG0 Z5\nM2\n"


def test_a_program_without_a_unit_is_refused_until_somebody_says_it():
    """A wrong unit is wrong by 25.4 times: no restart before the caller has said which it is."""
    program = read(BARE)
    with pytest.raises(ProgramError, match="say which when it is written, --units mm or --units inch"):
        restart_program(program, 6)
    metric, inch = (restart_program(program, 6, units=units) for units in ("mm", "inch"))
    assert {"G21", "G0 Z5.", "G0 X1. Y1.", "G1 Z5. F100"} < set(lines_of(metric))
    assert {"G20", "G0 Z5.", "G0 X1. Y1.", "G1 Z5. F100"} < set(lines_of(inch))
    assert "does not say its unit: inch, as you said" in head_of(inch)
    assert "straight along Z to 5 inch" in head_of(inch)


def test_a_unit_that_is_said_only_further_on_is_not_known_before():
    """Where G20 comes after the resume line, what the control was in before it is not known either."""
    late = BARE.replace("G0 Z5\nM2", "G0 Z5\nG20\nX2 Y2\nG1 Z-1\nX3\nM2")
    with pytest.raises(ProgramError, match="before line 5 whether it means millimetres or inches"):
        restart_program(read(late), 6)
    assert "G21" in lines_of(restart_program(read(late), 6, units="mm"))
    assert "G20" in lines_of(restart_program(read(late), 11, units="mm"))


@pytest.mark.parametrize(("units", "x"), [("mm", 9.0), ("inch", 228.6), (None, 9.0)])
def test_reading_in_a_unit(units, x: float):
    """The unit that is said counts until the program says its own; none is said to be taken as mm."""
    program = read(BARE, units=units)
    assert program.moves.end[-1, 0] == pytest.approx(x)
    assert any("taken as mm" in note.text for note in program.warnings) == (units is None)
    assert read("G21\n" + BARE, units=units).moves.end[-1, 0] == 9.0


def test_a_program_without_a_coordinate_system_is_taken_to_mean_g54():
    """G54 is stated, for the end of a program sets it (NISTIR 6556, 3.6.1), and the head says so."""
    text = restart_program(read("G21\n" + BARE), 7)
    assert "G54" in lines_of(text)
    assert "G54 is stated below" in head_of(text)
    assert "G54 is stated below" not in head_of(restart_program(read("G21 G54\n" + BARE), 7))


def test_a_length_offset_that_the_program_leaves_to_m6_must_be_the_bits_own():
    """The first motion goes by the one that the control has in force, and the head says so."""
    begin = ["G21 G90 G54 G49", "T1 M6", "M3 S9000", "G0 Z5", "X1 Y1", "G1 Z-3 F300", "X9", "G0 Z5"]
    said = "The program says no length offset for it: the one that the control has in force must be its own"
    assert said in head_of(restart_program(read("\n".join([*begin, "M2"])), 7))
    again = ["T2 M6", "G43 H2", "M3", "G0 Z5", "X20", "G1 Z-3", "X29", "G0 Z5", "M2"]
    assert said not in head_of(restart_program(read("\n".join([*begin, *again])), 15))


def test_what_is_stated_further_on_alone_is_left_as_the_control_has_it():
    """Before the first G61 or G43 nobody knows what was in force: neither G64 nor G49 is made up."""
    first = ["G21 G90 G54", "T1 M6", "M3 S9000", "G0 Z5", "X1 Y1", "G1 Z-3 F300", "X9", "G0 Z5"]
    later = ["T2 M6", "G43 H2", "G61", "M3", "G0 Z5", "X20", "G1 Z-3", "X29", "G0 Z5", "M2"]
    program = read("\n".join([*first, *later]))
    text = lines_of(restart_program(program, 7))
    assert not {"G49", "G61"} & set(text[: text.index("M3")])
    named = "up to here the program does not state a length offset G43 or G49, a path mode G61 or G64"
    assert named in head_of(restart_program(program, 7))
    assert {"G43 H2", "G61"} <= set(lines_of(restart_program(program, 15)))


def test_what_a_control_may_not_know_is_left_alone_and_named():
    """Length offset, path mode and overrides that the program leaves to the control stay as they are."""
    text = restart_program(read("G21\n" + BARE), 7)
    unsaid = "a length offset G43 or G49, a path mode G61 or G64, overrides M48 or M49."
    assert f"up to here the program does not state {unsaid}" in head_of(text)
    stated = {word for line in lines_of(text) for word in line.split()}
    assert not {"G43", "G49", "G61", "G64", "M48", "M49"} & stated


def test_the_return_mode_is_stated_where_a_cycle_is_left():
    """A program that drills without saying G98 or G99 is carried on with the G98 that it was read with."""
    drills = "G21\n" + BARE.replace("M2", "G81 X20 Z-3 R1\nX30\nG80\nM2")
    assert "G98" in lines_of(restart_program(read(drills), 7))
    assert "G98" not in lines_of(restart_program(read("G21\n" + BARE), 7))


UNREAD = "G21 G90\nM10\nM3 S9000\nG0 X1 Y1 Z5\nG1 Z-1 F100\nX9\nG0 Z5\nM123\nG0 X2\nY2\nZ6\nG1 Z-1\nX9\nM2"


def test_after_an_unread_word_the_place_is_unknown_until_it_is_stated():
    """An M word that nobody knows may move the bit: the resume line waits for X, Y and Z."""
    program = read(UNREAD)
    assert [resume_at(program, line).file_line for line in (7, 8, 9, 11, 12, 13)] == [5, 8, 8, 8, 12, 12]
    said = head_of(restart_program(program, 13))
    assert "not known here: M10 on file line 2, M123 on file line 8" in said
    assert "M123" not in head_of(restart_program(program, 7))
    never = "G21 G90\nM3 S9000\nG0 X1 Y1\nM123\nZ5\nG1 Z-1 F100\nX9\nG0 Z5\nX3\nG1 Z-1\nX9\nM2"
    with pytest.raises(
        ProgramError, match=r"never known .*\(M123 on file line 4 is not known and may move it"
    ):
        restart_program(read(never), 7)


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


NEST = """G21 G90 G54
T1 M6
M3 S9000
G0 Z5
X10 Y0
M98 P7
G0 X50
M98 P7
G0 X90
M98 P7
G0 Z9
M5
M30
O7
G91
G1 Z-8 F200
X20
G0 Z8
G90
M99
"""


def test_before_a_move_it_carries_on_with_the_call_that_the_move_belongs_to():
    """The same lines are run in each call; what the calls before have cut is not cut again."""
    program = read(NEST)
    calls = [number for number, line in enumerate(program.lines, 1) if line == "M98 P7"]
    plunges = [move for move, line in enumerate(program.moves.file_line) if line == 16]
    assert resume_at(program, 16).file_line == calls[0]
    for call, plunge in zip(calls, plunges, strict=True):
        for move in (plunge, plunge + 1, plunge + 2):
            assert resume_before_move(program, move).file_line == call
        again = restart_program(program, call).split("(from here on", 1)[1]
        assert again.count("M98 P7\n") == len(calls) - calls.index(call)


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs() | st.sampled_from([CALLS, NEST, NEST.replace("M30\n", "")]))
def test_before_a_move_the_bit_stood_above_the_work_on_a_line_that_tells_it(text: str):
    """Its number alone tells the line; nothing from the move on is left out, and no more is cut twice."""
    program = read(text)
    once = (program.moves.file_line[1:] >= program.moves.file_line[:-1]).all()
    for move, line in enumerate(program.moves.file_line.tolist()):
        resume = resume_before_move(program, move)
        assert resume.move <= move
        assert resume_at(program, resume.file_line) == resume
        assert resume.move >= resume_at(program, line).move
        assert resume == resume_at(program, line) or not once


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


@pytest.mark.parametrize(
    ("lost", "why"),
    [
        ("G0 Z5", "has not said where it starts"),
        ("G91 G0 Z5", "has not said where it starts"),
        ("G0 X1 Y1 Z-1\nG28 Z9\nZ5", "a place that only the machine knows"),
        ("G0 X1 Y1 Z-1\nM199\nG0 Z5", "M199 on file line 4 is not known and may move it"),
    ],
    ids=["start", "steps", "home", "macro"],
)
def test_where_nobody_knows_the_place_the_advice_is_to_state_it(lost: str, why: str):
    """A top that is said helps nothing there; X, Y and Z that are stated above the work do."""
    head, cut = f"G21 G90 G54\nM3 S18000\n{lost}\n", "G1 Z-6 F300\nX50 F1200\nG0 Z5\nM30\n"
    line = (head + cut).count("\n") - 2
    for top in (None, 0.0):
        with pytest.raises(ProgramError) as refused:
            resume_at(read(head + cut, top=top), line)
        assert why in str(refused.value)
        assert "start the program over from where it began" in str(refused.value)
        assert "--top" not in str(refused.value)
    stated = read(f"{head}G90 G0 X0 Y0 Z5\n{cut}")
    assert resume_at(stated, line + 1).file_line == stated.lines.index("G1 Z-6 F300") + 1


def test_a_place_that_may_be_in_the_work_is_a_matter_of_the_top():
    """Where the place is known and its height alone is in question, the advice is to say the top."""
    with pytest.raises(ProgramError, match="say where it is with --top"):
        resume_at(read("G21 G90\nM3 S9000\nG1 X1 Y1 Z-1 F100\nX9\nX12\nM2"), 5)


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
    assert "G10 on file line 2 moved an origin" in head_of(restart_program(read(source), 6))


PROBED = "G38.2 Z-30 F100\nG10 L20 P1 Z12\n"


def probed(again: str, first: str = "") -> Program:
    """A program that finds Z for each of two bits."""
    cut = "G0 Z20\nS9000 M3\nX0 Y0\nG1 Z-3 F400\nX50\nG0 Z20\nM5\n"
    return read(f"G21 G90 G54\nT1 M6\n{first}{PROBED}{cut}T2 M6\n{again}{cut}M30\n")


def test_where_each_bit_is_probed_the_first_ones_cut_can_be_carried_on():
    """Z is touched off again anyway, and what finds it for the next bit is run again; the head says so."""
    program = probed(PROBED)
    line = program.lines.index("X50") + 1
    assert resume_at(program, line).file_line < line
    text = restart_program(program, line)
    assert f"G10 on file line {program.lines.index('T2 M6') + 3} may have set it" in head_of(text)
    assert "Z0 must be that of T1 again" in head_of(text)
    assert "Z0 must be that of" not in head_of(restart_program(program, len(program.lines) - 3))


@pytest.mark.parametrize(
    ("again", "first"),
    [
        (PROBED.replace("Z12", "Z12 X0"), ""),
        (PROBED.replace("L20 P1", "L2 P1"), ""),
        (PROBED.replace("P1", "P2"), ""),
        ("G10 L20 P1 X0\n" + PROBED, ""),
        (PROBED, "G43 H1\n"),
    ],
)
def test_another_origin_that_is_set_further_on_is_not_carried_on_before(again: str, first: str):
    """Across, in another system, or to a place of the machine nobody sets it back; nor beside a length."""
    program = probed(again, first)
    with pytest.raises(ProgramError, match="may have moved the origin already"):
        restart_program(program, program.lines.index("X50") + 1)


def test_spoilboard_zero_asks_for_the_programs_own_height():
    """Where the top is only estimated, standing above means: where the program itself crosses."""
    source = "G21 G90\nM3 S9000\nG0 Z25\nX1 Y1\nG1 Z15 F100\nX9\nZ18.9\nX20\nZ12\nX30\nZ9\nX9\nG0 Z25\nM2"
    program = read(source)
    assert 15 < program.top < 25
    assert resume_at(program, 12).file_line == 5


STAND = """G20 G90 G54
S18000 M3
G0 Z1.25
X.5 Y.5
G1 Z.5 F40
X9.5 F150
Y6.5
X.5
Y.5
Z-.01
X9.5
Y6.5
X.5
Y.5
G0 Z1.25
M30
"""


def test_a_pass_above_a_zero_on_the_spoilboard_is_no_place_to_stand():
    """Half way down the sheet is in the work, though above Z 0: the way back leads to before the plunge."""
    program = read(STAND)
    assert program.top > 0.5 * 25.4
    assert {resume_at(program, line).file_line for line in range(5, 15)} == {5}


def test_where_zero_may_be_the_spoilboard_the_bit_stands_where_the_program_traverses():
    """A single pass through the sheet does not tell where its top is: a lift over a tab is not above it."""
    source = "G21 G90\nM3 S9000\nG0 Z12\nX1 Y1\nG1 Z-.2 F300\nX9\nZ2\nX13\nZ-.2\nX20\nG0 Z12\nX0\nM2"
    program = read(source)
    assert program.top == 0
    assert {resume_at(program, line).file_line for line in range(5, 11)} == {5}


SHEET = """G21 G90 G54 G17
G28 G91 Z0
G90
T1 M6
S18000 M3
G0 X5 Y5
G43 H1 Z30
G0 Z20
G1 Z12 F500
X100 F2000
Y100
G1 Z6 F500
X5 F2000
Y5
G1 Z-0.2 F500
X100 F2000
G0 Z30
X150 Y5
G1 Z12 F500
X200 F2000
G0 Z30
M30
"""


@pytest.mark.parametrize("home", ["G28 G91 Z0", "G53 G0 Z-1", ""])
def test_after_the_way_home_half_way_down_the_sheet_is_no_place_to_stand(home: str):
    """The height that is drawn for a place of the machine is none that the program crosses at."""
    program = read(SHEET.replace("G28 G91 Z0", home))
    assert {resume_at(program, line).file_line for line in range(8, 18)} == {8}
    assert resume_at(program, 20).file_line == 19


TWO_BITS = """G21 G90 G54 G17
T1 M6
S18000 M3
G0 X10 Y10
G0 G43 H1 Z25
G1 Z{deep} F300
X60
G0 Z25
{off}
M5
T2 M6 (3 MM)
S12000 M3
G0 X100 Y50
G43 H{number} Z5
G1 Z-1 F300
X160
G0 Z25
X100 Y70
G1 Z-1
X160
G0 Z25
M30
"""


@pytest.mark.parametrize("deep", [-1.5, -6])
@pytest.mark.parametrize("off", ["", "G0 G49 Z0", "G49\nG0 Z40"])
@pytest.mark.parametrize("number", [1, 2])
def test_a_new_bit_goes_nowhere_before_its_length_offset(deep: float, off: str, number: int):
    """No restart begins, or adds a motion, where Z is still that of another bit, or of none."""
    text = TWO_BITS.format(deep=deep, off=off, number=number)
    program = read(text)
    changed = text.split("\n").index("T2 M6 (3 MM)") + 1
    off_at = changed - 2 if "Z0" in off else changed - 3 if off else changed
    for line in range(changed, len(program.lines) + 1):
        assert not off_at < resume_at(program, line).file_line <= changed + 3
        lines = restart_program(program, line).split("\n")
        for begin in (i for i, said in enumerate(lines) if re.match(r"T2 M6$", said)):
            assert lines[begin + 1] == f"G43 H{number}"


def test_a_bit_that_came_loose_after_the_resume_line_is_measured_anew():
    """The way back leads to before the change: the head speaks of the bit that is put in after it, too."""
    program = read(TWO_BITS.format(deep=-1.5, off="", number=2))
    assert resume_at(program, 15).file_line == 11
    said = head_of(restart_program(program, 15))
    assert "T2 3 MM is put in further on" in said
    assert "bit to have in: T1." in said
    assert "further on" not in head_of(restart_program(program, 8))


def test_a_bit_that_goes_without_a_length_offset_stands_where_it_says():
    """G49 after the change is the new bit's own: it is cut with that way, and can be taken up again."""
    text = TWO_BITS.format(deep=-6, off="", number=2).replace("G43 H2 Z5", "G49 Z5")
    assert resume_at(read(text), 15).file_line == 15


def test_where_a_place_is_too_low_to_be_surely_above_the_work_this_is_said():
    """A height below that of the program's own traverses is known, and yet no reason to trust it."""
    text = "G21 G90\nM3 S9000\nG0 X1 Y1\nG0 Z5\nG1 Z-1 F100\nX9\nG0 Z25\nX20\nG1 Z-1\nX30\nG0 Z25\nM2"
    with pytest.raises(
        ProgramError, match=r"Z 5 mm may be in the work, for the program goes across at Z 25 mm"
    ):
        resume_at(read(text), 6)


def test_traverses_at_a_height_of_the_machine_only_do_not_refuse_a_restart():
    """Where the program crosses at G53 heights alone, the bit stands where it has come down to."""
    cut = "G1 Z-1 F100\nX{}\nG53 G0 Z-1"
    first, second = cut.format(10), cut.format(30)
    text = f"G21 G90\nG53 G0 Z-1\nM3 S9000\nG0 X0 Y0\nZ15\n{first}\nG0 X20 Y0\nZ15\n{second}\nM2"
    assert resume_at(read(text), 12).file_line == 11


def test_the_first_bit_as_well_goes_nowhere_before_its_length_offset():
    """From the first change to its length offset there is nothing to carry on from but the change."""
    text = "G21 G90 G54\nG0 Z50\nX0 Y0\nT1 M6\nS9000 M3\nG0 X5 Y5\nG43 H1 Z30\nG1 Z-3 F100\nX9\nG0 Z30\nM2"
    assert {resume_at(read(text), line).file_line for line in (5, 6, 7)} == {4}
    assert resume_at(read(text), 8).file_line == 8


def test_the_height_to_cross_at_is_one_that_the_program_names_for_the_tip():
    """Neither a height that is drawn for a place of the machine counts, nor one without the length offset."""
    text = TWO_BITS.format(deep=-6, off="G0 G49 Z90\nG28 G91 Z0\nG4 P1\nG90\nG53 G0 Z0", number=2)
    assert "further on" not in head_of(restart_program(read(text), 20))
    assert "straight along Z to 25 mm" in head_of(restart_program(read(text), 20))
