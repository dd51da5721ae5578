"""Recuts, run by a machine that shares no code with the reader."""

import math
import random
import re

import numpy as np
import pytest
from generated import programs
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from simple_machine import Event, SimpleMachine
from test_fuzz import damaged
from test_restart import ELSEWHERE, lines_of, same_way

from analysis.errors import ProgramError
from analysis.program import Program, cutting, find_parts, read, recut_program
from analysis.program.cautions import cautions_of
from analysis.program.recut import all_parts_but


def low(event: Event) -> float:
    """Return the lowest Z of an event."""
    return min(point[2] for point in event.path)


def across(event: Event) -> bool:
    """Whether an event goes across."""
    return any(math.dist(event.path[0][:2], point[:2]) > 1e-6 for point in event.path)


def run(text: str, modes: dict[str, str] | None = None) -> list[Event]:
    """Run a recut on a machine left in the given modes, somewhere up in the air."""
    machine = SimpleMachine(at=[-30.0, 45.0, 60.0], modes=dict(modes or {}), mist=True)
    machine.shift = [7.0, 8.0, 9.0] if "G92" in text else [0.0] * 3
    machine.rate, machine.speed = 111.0, 222.0
    return machine.run(text)


def check_air(events: list[Event]) -> None:
    """Assert that nothing traverses in the work, and nothing cuts before the spindle has its speed."""
    first = next(event for event in events if event.what == "rapid")
    assert not across(first)
    for event in events:
        if event.what == "rapid" and low(event) < -1e-9:
            assert not across(event)
            assert event.path[-1][2] > event.path[0][2]
        if event.what == "feed":
            assert event.spindle[0] != 5
            assert event.waited
        if event.what == "rapid" and across(event) and event is not first:
            assert event.spindle[0] != 5
            assert event.waited


def check_feeds(events: list[Event], wanted: list[tuple[Event, float]]) -> None:
    """Assert that these feeds below the top are the wanted ones, in order, and ways back into holes."""
    left = list(wanted)
    reached: dict[tuple[float, float], float] = {}
    for event in events:
        if event.what != "feed" or low(event) >= -1e-9:
            continue
        place = (round(event.path[-1][0], 2), round(event.path[-1][1], 2))
        if left and same_way(event, rated(*left[0])):
            left.pop(0)
        else:
            assert not across(event)
            assert low(event) >= reached[place] - 1e-4
        reached[place] = min(low(event), reached.get(place, 0.0))
    assert not left


def rated(event: Event, rate: float) -> Event:
    """Return an event with its feed in mm/min."""
    return Event(**{**vars(event), "rate": rate})


def original(text: str, program: Program) -> dict[int, tuple[Event, float]]:
    """Return, for each move that cuts, what the other machine makes of it, and its feed in mm/min."""
    feeds = [event for event in SimpleMachine().run(text) if event.what == "feed"]
    moves = np.flatnonzero(np.isfinite(program.moves.feed))
    assert len(feeds) == len(moves)
    cuts = cutting(program.moves, program.top)
    both = zip(moves.tolist(), feeds, strict=True)
    return {i: (event, float(program.moves.feed[i])) for i, event in both if cuts[i]}


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs(), data=st.data())
def test_a_recut_feeds_exactly_the_chosen_parts(text: str, data: st.DataObject):
    """Whatever parts are chosen and however the control was left, those are cut, and nothing else."""
    program = read(text)
    parts = find_parts(program)
    names = data.draw(st.sets(st.sampled_from([part.name for part in parts]), min_size=1))
    try:
        recut = recut_program(program, names)
    except ProgramError as error:
        if "in one go" not in str(error):
            raise
        reject()
    chosen = sorted(int(i) for part in parts if part.name in names for i in part.moves)
    feeds = original(text, program)
    for modes in ELSEWHERE:
        events = run(recut, modes)
        check_air(events)
        check_feeds(events, [feeds[i] for i in chosen])


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs())
def test_all_parts_together_are_the_whole_job(text: str):
    """A recut of every part feeds all that the program cuts, and reading it gives the same moves."""
    program = read(re.sub(r"G83 Q[\d.]+", "G81", text))
    again = read(recut_program(program, [part.name for part in find_parts(program)]))
    old, new = (np.flatnonzero(cutting(moves, 0.0)) for moves in (program.moves, again.moves))
    for name in ("bit", "speed"):
        assert (getattr(program.moves, name)[old] == getattr(again.moves, name)[new]).all()
    for name in ("start", "end", "centre", "sweep", "length"):
        before, after = getattr(program.moves, name)[old], getattr(again.moves, name)[new]
        np.testing.assert_allclose(before, after, atol=2e-4)
    np.testing.assert_allclose(program.moves.feed[old], again.moves.feed[new], rtol=1e-4)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=programs(), seed=st.integers(0, 2**32))
def test_damaged_programs_are_recut_or_refused(text: str, seed: int):
    """Of whatever can be read, each part is written so that it can be read again, or refused in one line."""
    try:
        program = read(damaged(text, random.Random(seed)))  # noqa: S311 (no secret)
    except ProgramError:
        return
    for part in find_parts(program)[:3]:
        try:
            recut = recut_program(program, [part.name])
        except ProgramError as error:
            refused = str(error)
            assert "\n" not in refused
            continue
        assert len(read(recut).moves) > 1


def written(source: str, *names: str, **how) -> list[str]:
    """Return the lines of a recut that are no comments."""
    return lines_of(recut_program(read(source), names, **how))


def said(source: str, *names: str, **how) -> str:
    """Return what the head of a recut says, in one line."""
    return " ".join(" ".join(cautions_of(recut_program(read(source), names, **how))).split())


HOLES = """G21 G90 G17 G54 G40 G80 G94
T1 M6 (drill)
G0 Z9
M3 S12000
G99 G83 X5 Y5 Z-6 R1 Q4 F200
X45
G80
T2 M6 (6 mm, two flutes)
G0 Z9
M3 S18000 M7
G0 X0 Y0
G1 Z-3 F300
X10 F900
Y10
X0
Y0
G0 Z9
G0 X40 Y0
G1 Z-3 F300
X50 F900
Y10
G2 X40 Y10 I-5 J0
G1 Y0
G0 Z9
M30
"""


def test_a_series_of_holes_is_cut_apart():
    """Of a series that drills into several parts, only the chosen part's holes are drilled."""
    assert written(HOLES, "part 2") == [
        *("G94 G17 G90 G40 G80", "G21", "G54", "G99", "M5", "M9"),
        *("G0 Z9.", "T1 M6", "G0 Z9.", "S12000", "M3", "G4 P5"),
        *("G0 X45. Y5.", "G1 Z1. F200", "G1 Z-3.", "G0 Z1.", "G1 Z-2.746", "G1 Z-6.", "G0 Z9."),
        *("M5", "M9", "G0 Z9.", "T2 M6", "G0 Z9.", "S18000", "M3", "G4 P5", "M7"),
        *("G0 X40. Y0.", "G1 Z-3. F300"),
        *("G1 X50. F900", "G1 Y10.", "G2 X40. Y10. I-5. J0.", "G1 Y0.", "G0 Z9."),
        *("M5", "M9", "M30"),
    ]  # fmt: skip


TWO_LENGTHS = """G21 G90 G17 G54 G40 G80 G94
T1 {change}
G43 H1
G0 Z9
M3 S12000
G0 X0 Y0
G1 Z-3 F300
X10 F900
Y10
X0
Y0
G0 Z9
{between}
M3 S12000
G0 Z9
G0 X40 Y0
G1 Z-3 F300
X50 F900
Y10
X40
Y0
G0 Z9
M30
"""


@pytest.mark.parametrize(
    ("change", "between", "said"),
    [
        ("M6", "T2 M6\nG43 H2", ["G0 Z9.", "T2 M6", "G43 H2", "G0 Z9."]),
        ("M6", "G49\nT2 M6", ["G0 Z9.", "G49", "T2 M6", "G0 Z9."]),
        ("M6", "T2 M6", ["G0 Z9.", "T2 M6", "G0 Z9."]),
        ("", "T2\nG43 H2", ["G0 Z9.", "T2", "M0", "G43 H2", "G0 Z9."]),
        ("M6", "G43 H2", ["G43 H2", "G0 Z9."]),
    ],
)
def test_a_length_offset_comes_where_the_program_has_it(change: str, between: str, said: list[str]):
    """Before M6 or after it, up in the air; where a person puts the bit in, when it is in."""
    text = written(TWO_LENGTHS.format(change=change, between=between), "part 1", "part 2")
    up = text.index("G0 Z9.", text.index("G1 Z-3. F300"))
    way = text[up + 1 : text.index("G0 X40. Y0.")]
    assert [line for line in way if line[:3] in ("G0 ", "G43", "G49", "M0") or line[0] == "T"] == said


def test_inch_is_written_as_inch():
    """A program in inches gives a recut in inches, feeds and heights too."""
    inch = "G20 G90\nM3 S9000\nG0 Z.25\nX1 Y1\nG1 Z-.125 F30\nG3 X1 Y1 I.5\nG0 Z.25\nX3\nG1 Z-.1\nY2\nM2\n"
    assert written(inch, "part 1", spin_up=2) == [
        *("G94 G17 G90 G40 G80", "G20", "G54", "M5", "M9", "G0 Z0.25", "S9000", "M3", "G4 P2"),
        *("G0 X1. Y1.", "G1 Z-0.125 F30", "G3 X1. Y1. I0.5 J0.", "G0 Z0.25", "M5", "M9", "M30"),
    ]  # fmt: skip
    assert "straight along Z to 0.25 inch" in said(inch, "part 1")
    assert "between X 1 inch and 2 inch" in said(inch, "part 1")


def test_several_bits_are_named_and_where_they_are_changed():
    """The head lists the bits in the order of use and says at which height the hand has to fit."""
    told = said(HOLES, "part 1", safe_z=40)
    assert "bit to have in: T1 drill - then T2 6 mm, two flutes." in told
    assert "bits are changed at Z 40 mm, above where the last cut ends" in told
    assert "bits are changed" not in said(LINKED, "part 1")


def test_the_first_bit_must_be_in_already_where_the_first_motion_goes_by_its_length():
    """Of several bits it is the first one, whose M6 comes after the way up."""
    text = TWO_LENGTHS.format(change="M6", between="T2 M6\nG43 H2")
    assert "T1 must be in when you start, for the first motion goes by its length, offset H1" in said(
        text, "part 1", "part 2"
    )
    assert "T2 must be in when you start" in said(text, "part 2")
    assert "when you start" not in said(HOLES, "part 1")


def test_the_height_to_cross_at_can_be_chosen():
    """The highest place that the program goes to, unless another is given; never one below the work."""
    assert "G0 Z9." in written(HOLES, "part 1")
    assert "G0 Z30." in written(HOLES, "part 1", safe_z=30)
    high = HOLES.replace("M30", "G0 Z20\nM30")
    assert "at, 12 mm, is lower than the program's own, 20 mm: see" in said(high, "part 1", safe_z=12)
    assert "is lower than" not in said(high, "part 1", safe_z=20) + said(high, "part 1")
    for height in (0.5, 0, math.nan):
        with pytest.raises(ProgramError, match=r"is no height to cross at; give 9 mm or more$"):
            written(HOLES, "part 1", safe_z=height)
    with pytest.raises(ProgramError, match="no time to wait"):
        written(HOLES, "part 1", spin_up=-1)


def test_a_program_that_opens_with_percent_ends_with_it():
    """A recut is wrapped as the original is."""
    lines = written("%\n" + HOLES + "%\n", "part 2")
    assert (lines[0], lines[-2:]) == ("%", ["M30", "%"])


SQUARE = "G0 X{x} Y0\nG1 Z-3 F300\nX{far} F900\nY10\nX{x}\nY0\nG0 Z5\n"


def squares(*between: str) -> str:
    """Return a program of squares in a row, with these lines before each."""
    cut = [f"{line}\n" + SQUARE.format(x=20 * i, far=20 * i + 10) for i, line in enumerate(between)]
    return "G21 G90 G54\nG0 Z5\n" + "".join(cut) + "M30\n"


def test_a_stop_between_parts_stays():
    """Where the original stops, to change the bit by hand say, so does the recut, the spindle stopped."""
    source = squares("M3 S9000", "M5\nM0 (put in the 3 mm bit!)\nM3 S20000", "")
    text = recut_program(read(source), ["part 1", "part 2"])
    assert "(the original stops here, file line 12: put in the 3 mm bit)" in text
    lines = lines_of(text)
    stop = lines.index("M0")
    assert lines[stop - 3 : stop + 6] == [
        "G0 Z5.",
        "M5",
        "M9",
        "M0",
        "S20000",
        "M3",
        "G4 P5",
        "G0 X20. Y0.",
        "G1 Z-3. F300",
    ]
    alone = written(source, "part 3")
    assert alone.index("M0") < alone.index("M3") < alone.index("G0 X40. Y0.")
    assert "M0" not in written(source, "part 1")


def test_bits_that_are_only_chosen_get_a_stop():
    """In a program with T words but no M6 nothing changes the bit: the recut stops for it."""
    text = recut_program(read(squares("T1 M3 S9000", "T2")), ["part 1", "part 2"])
    lines = lines_of(text)
    at = lines.index("T2")
    assert lines[at - 3 : at + 5] == ["M5", "M9", "G0 Z5.", "T2", "M0", "S9000", "M3", "G4 P5"]
    assert "(put in T2)" in text


@pytest.mark.parametrize(
    ("between", "lines"),
    [
        ("S12000", ["S12000", "M3", "G4 P5"]),
        ("M4", ["M5", "M9", "S9000", "M4", "G4 P5"]),
        ("M8", ["M9", "M8"]),
        ("G64 P0.1", ["G64 P0.1"]),
        ("G61", ["G61"]),
        ("M49", ["M49"]),
        ("G43 H2\nG0 Z5", ["G43 H2", "G0 Z5."]),
        ("", []),
    ],
)
def test_what_changes_between_parts_is_said_in_the_air(between: str, lines: list[str]):
    """Speed, direction, coolant, path mode, overrides, length: stated at the height of crossing."""
    all_lines = written(squares("M3 S9000", between), "part 1", "part 2")
    end = all_lines.index("G0 X20. Y0.")
    assert all_lines[end - len(lines) - 1 : end] == ["G0 Z5.", *lines]


@pytest.mark.parametrize("path", ["G61", "G64 P0.1"])
def test_no_path_mode_is_said_before_the_program_says_one(path: str):
    """What the control had of it before nobody knows: it stays, and the head says so."""
    program = read(squares("M3 S9000", path))
    text = recut_program(program, ["part 1"])
    assert not {"G61", "G64"} & {line.split()[0] for line in lines_of(text)}
    assert "a path mode G61 or G64" in said(squares("M3 S9000", path), "part 1")
    assert path in written(squares("M3 S9000", path), "part 2")


def test_what_changes_in_a_cut_changes_in_the_cut():
    """A speed, a wait or a coolant within a run of cutting stays where it is."""
    source = squares("M3 S9000").replace("Y10\n", "Y10 S8000\nG4 P0.5\nM7\n")
    lines = written(source, "part 1")
    assert lines[lines.index("G1 Z-3. F300") : -3] == [
        *(
            "G1 Z-3. F300",
            "G1 X10. F900",
            "S8000",
            "G1 Y10.",
            "G4 P0.5",
            "M9",
            "M7",
            "G1 X0.",
            "G1 Y0.",
            "G0 Z5.",
        )
    ]


def test_a_spindle_that_is_left_to_a_person_gets_a_stop():
    """A program that never starts the spindle, or stops it for a part, stops before it cuts that."""
    assert "M0" in written(squares(""), "part 1")
    assert "the program leaves the spindle to you" in recut_program(read(squares("")), ["part 1"]).replace(
        ")\n(", ""
    )
    stopped = squares("M3 S9000", "M5")
    assert "M0" not in written(stopped, "part 1")
    assert "M0" in written(stopped, "part 2")


@pytest.mark.parametrize("start", ["M3", "S0 M3"])
def test_a_spindle_without_a_speed_is_started_so(start: str):
    """No speed is invented for it, and a person is told to set it."""
    recut = recut_program(read(squares(start, "")), ["part 2"])
    said = lines_of(recut)
    assert [line for line in said if line[0] in "SM" and line not in ("M9", "M30")] == [
        "M5",
        *start.split(),
        "M5",
    ]
    assert "the program starts the spindle without a speed" in " ".join(re.sub("[()]", " ", recut).split())


def test_the_bit_that_is_in_to_begin_with_cuts_its_parts():
    """It is named, and changed where the next part is another one's."""
    job = squares("T1 (SIX)\nM3 S9000", "M5\nT2 M6 (THREE)\nM3 S9000")
    both = recut_program(read(job), ["part 1", "part 2"])
    assert "bit to have in: T1 SIX - then T2 THREE." in " ".join(re.sub("[()]", " ", both).split())
    assert [line for line in lines_of(both) if line.startswith("T")] == ["T1", "T2 M6"]
    unnamed = recut_program(read(squares("M3 S9000\nT2\nG0 X0", "M5\nM6\nM3 S9000")), ["part 1"])
    assert "the one that the program was cutting with" in " ".join(re.sub("[()]", " ", unnamed).split())
    assert not [line for line in lines_of(unnamed) if line.startswith("T")]


def test_traverses_below_the_top_are_fed():
    """A traverse down into a groove that is already there is fed in the recut."""
    passes = "G21 G90 G54\nM3 S9000\nG0 Z5\nX0 Y0\nG1 Z-2 F300\nX30\nG0 Z5\nZ-1.5\nG1 Z-4\nX0\nG0 Z5\nX9\nM2"
    lines = written(passes, "part 1")
    assert lines[lines.index("G1 Z-2. F300") : -4] == [
        *("G1 Z-2. F300", "G1 X30.", "G0 Z5.", "G1 Z-1.5", "G1 Z-4.", "G1 X0."),
    ]


def test_a_recut_goes_in_as_the_original_does():
    """Ramps and plunges at feed belong to the cut also where they are still above the top."""
    ramps = (
        "G21 G90 G54\nM3 S9000\nG0 Z5\nX5 Y5\nG1 Z1 F300\nX10 Z.5\nX5 Z-1\nX30\nG0 Z5\nX50\nG1 Z-1\nX60\nM2"
    )
    lines = written(ramps, "part 1")
    assert lines[lines.index("G0 X5. Y5.") + 1 :][:4] == [
        "G1 Z1. F300",
        "G1 X10. Z0.5",
        "G1 X5. Z-1.",
        "G1 X30.",
    ]


def test_holes_under_an_estimated_top_are_drilled():
    """Where the top is only estimated R may lie below it: the traverse down to it is fed, and no refusal."""
    passes = "G1 Z12 F300\nX40\nY40\nX0\nY0\nZ-.2\nX40\nY40\nX0\nY0\n"
    board = (
        f"G21 G90 G54\nM3 S9000\nG0 Z30\nX1 Y0\nX0\n{passes}G0 Z30\nX90\nG98 G81 X90 Z-.2 R20\nX95\nG80\nM2"
    )
    assert read(board).top > 20
    lines = written(board, "part 2")
    assert lines[lines.index("G0 X90. Y0.") :][:4] == ["G0 X90. Y0.", "G1 Z20. F300", "G1 Z-0.2", "G0 Z30."]


def test_calls_are_written_out():
    """A part that is cut by a subprogram with relative moves is written in absolute ones."""
    source = "G21 G90 G54\nM3 S9000\nG0 Z5\nX10 Y0\nM98 P7\nG0 X50\nM98 P7\nM30\n"
    source += "O7\nG91 G1 Z-8 F200\nX9\nG0 Z8\nG90\nM99\n"
    lines = written(source, "part 2")
    assert lines[lines.index("G4 P5") + 1 :] == [
        *("G0 X50. Y0.", "G1 Z-3. F200", "G1 X59.", "G0 Z5.", "M5", "M9", "M30"),
    ]


OFFSET = "G21 G90 G54\nM3 S9000\nG0 X10 Y10 Z5\nG92 X0 Y0\n" + SQUARE.format(x=0, far=10) + "M30"


def test_an_offset_is_taken_into_the_coordinates():
    """A part cut under G92 is written where it lies without it, and the control's own is cleared."""
    assert written(OFFSET, "part 1")[3:4] == ["G92.1"]
    assert "G0 X10. Y10." in written(OFFSET, "part 1")
    assert "what the control holds of it is cleared" in said(OFFSET, "part 1")


LINKED = "G21 G90 G54\nM3 S9000\nG0 Z5\nX5 Y5\nG1 Z-3 F300\nX20\nG0 X40\nG1 X50\nG0 Z5\nX5\nM30\n"


def test_what_was_linked_below_the_top_is_entered_at_feed():
    """Where the original traverses from cut to cut below the top, the recut comes down from above, fed."""
    lines = written(LINKED, "part 1", "part 2")
    assert lines[lines.index("G1 X20.") :] == [
        *("G1 X20.", "G0 Z5.", "G0 X40. Y5.", "G1 Z-3.", "G1 X50.", "G0 Z5.", "M5", "M9", "M30"),
    ]


@pytest.mark.parametrize(
    ("source", "names", "reason"),
    [
        (HOLES, ["part 3"], "there is no part 3 in program: its parts are part 1 to part 2"),
        (HOLES, [], "no part of program is left to cut"),
        (
            squares("M3 S9000").replace("G21 ", ""),
            ["part 1"],
            "does not say before line .* millimetres or inches",
        ),
        (squares("M3 S9000", "G55\nG0 Z5"), ["part 1", "part 2"], "several coordinate systems"),
        (squares("M3 S9000", "G10 L20 P1 X0"), ["part 1"], "G10 on line 11 moves the origin after it"),
        (squares("M3 S9000", "G38.2 Z-9 F50\nG92 Z2\nG0 Z5"), ["part 2"], "sets the zero"),
        (
            squares("M3 S9000", "M123\nG0 Z5").replace("G0 X20 Y0", "X20"),
            ["part 2"],
            "M123 on file line 11 is not known",
        ),
        (squares("M3 S9000", "G84 X20 Y0 Z-3 R1 F99\nG80\nG0 Z5"), ["part 2"], "tapping"),
        (squares("M3 S9000").replace("Y10", "Y10 M5"), ["part 1"], "switched while the bit is in the cut"),
        (LINKED, ["part 2"], "begins below the top, where part 1 has made room"),
    ],
)
def test_what_cannot_be_cut_alone_is_refused(source: str, names: list[str], reason: str):
    """A recut that rests on a guess, or on what is left out, is refused with the reason."""
    with pytest.raises(ProgramError, match=reason):
        recut_program(read(source), names)


def test_a_part_of_another_coordinate_system_is_cut_there():
    """Of a batch at two zeros the second one alone is cut in G55."""
    square = SQUARE.format(x=5, far=15)
    source = f"G21 G90 G54\nM3 S9000\nG0 Z5\n{square}G55\nG0 Z5\n{square}M30\n"
    lines = written(source, "part 2")
    assert lines[:3] == ["G94 G17 G90 G40 G80", "G21", "G55"]
    assert written(source, "part 1")[2] == "G54"


def test_all_parts_but_some():
    """What is skipped must be there as well; what is left keeps its order."""
    assert all_parts_but(read(HOLES), ["part 1"]) == ("part 2",)
    assert all_parts_but(read(HOLES), []) == ("part 1", "part 2")
    with pytest.raises(ProgramError, match="there is no part 3, part 0 in program"):
        all_parts_but(read(HOLES), ["part 3", "part 0"])


def test_a_unit_that_somebody_says_is_enough():
    """A program without a unit is cut once the unit is said, and then it is stated."""
    bare = squares("M3 S9000").replace("G21 ", "")
    assert "G20" in written(bare, "part 1", units="inch")
    assert "does not say its unit: mm, as you said" in said(bare, "part 1", units="mm")


def test_parts_cut_in_one_go_are_cut_together():
    """Where the bit goes around two parts without coming out, one of them can't be cut alone."""
    pocket = "G0 X32 Y5\nG1 Z-2 F300\nX38\nG0 Z5\n"
    source = "G21 G90 G54\nM3 S9000\nG0 Z5\n" + pocket + SQUARE.format(x=0, far=10).replace("G0 Z5\n", "")
    source += "X30\nX40\nY10\nX30\nY0\nG0 Z5\nM30\n"
    names = [part.name for part in find_parts(read(source))]
    assert len(names) == 2
    with pytest.raises(ProgramError, match="in one go with the outline of part"):
        recut_program(read(source), names[:1])
    assert written(source, *names)


PASSES = "G1 Z12 F500\nX100 F2000\nY100\nX5\nY5\n"
DOWN = PASSES + PASSES.replace("Z12", "Z6") + PASSES.replace("Z12", "Z-0.2")
BESIDE = "G0 Z30\nX150\nG1 Z12\nX160\nG0 Z30\nM5\n"
SPOILBOARD = f"G21 G90 G54\n{{}}\nS18000 M3\nG0 X5 Y5\nZ30\nZ20\n{DOWN}{BESIDE}{{}}\nM30"


@pytest.mark.parametrize("first", ["", "G28 G91 Z0\nG90", "G53 G0 Z-1"])
@pytest.mark.parametrize("last", ["", "G59\nG0 Z0\nG0 X0 Y0"])
def test_a_sheet_with_its_zero_on_the_spoilboard_is_cut_pass_by_pass(first: str, last: str):
    """The way home before it, and a place to park at after it, leave out none of its passes."""
    program = read(SPOILBOARD.format(first, last))
    assert program.top == 18
    depths = [line for line in written("\n".join(program.lines), "part 1") if line.startswith("G1 Z")]
    assert depths == ["G1 Z20. F500", "G1 Z12.", "G1 Z6. F500", "G1 Z-0.2 F500"]


BELOW_AND_ABOVE = f"""G21 G90
G54
S18000 M3
G0 Z30
X0 Y0
{DOWN}G0 Z30
G55
G0 Z10
X0 Y0
G1 Z-6 F500
X50
Y50
X0
Y0
G0 Z10
M30
"""


def test_each_part_is_cut_from_the_top_in_its_own_coordinate_system():
    """One zero on the spoilboard and one on the work: no traverse goes below either top."""
    program = read(BELOW_AND_ABOVE)
    assert [part.name for part in find_parts(program)] == ["part 1", "part 2"]
    for name, top, said in (("part 1", 18, "spoilboard, below the top"), ("part 2", 0, "seems the top of")):
        text = recut_program(program, [name])
        assert said in " ".join(" ".join(cautions_of(text)).split())
        assert min(low(event) for event in run(text) if event.what == "rapid" and across(event)) >= top
        assert "cut through" in " ".join(cautions_of(text))


def test_where_no_height_is_known_one_is_asked_for():
    """The refusal does not speak of a height that nobody gave, and names its unit."""
    text = "G20 G90\nM3 S9\nG53 G0 Z-1\nG0 X1 Y1\nZ.5\nG1 Z-.1 F9\nX2\nG53 G0 Z-1\nM2"
    with pytest.raises(
        ProgramError, match=r"not tell at which height .* say one with --safe-z, 0.5 inch or more$"
    ):
        recut_program(read(text), ["part 1"])
    with pytest.raises(
        ProgramError, match=r"a safe-z of 0.1 inch is no height to cross at; give 0.5 inch or more$"
    ):
        recut_program(read(text), ["part 1"], safe_z=2.54)
    for height, line in ((12.7, "G0 Z0.5"), (50.8, "G0 Z2.")):
        assert line in recut_program(read(text), ["part 1"], safe_z=height)


def test_the_least_height_to_cross_at_is_one_that_is_taken():
    """A height named after a length offset is none that the program crosses at, but may be chosen."""
    cut = "G1 Z-3 F300\nX{}\nG53 G0 Z0\n"
    text = f"G21 G90 G54\nT1 M6\nS9000 M3\nG0 X0 Y0\nG43 H1 Z25\n{cut}X100\nZ25\n{cut}M30".format(50, 150)
    with pytest.raises(ProgramError, match=r"G53\?\); say one with --safe-z, 25 mm or more$"):
        recut_program(read(text), ["part 1"])
    with pytest.raises(ProgramError, match=r"give 25 mm or more$"):
        recut_program(read(text), ["part 1"], safe_z=24.9)
    assert "G0 Z25." in recut_program(read(text), ["part 1"], safe_z=25)
    at_top = text.replace("Z25", "Z0").replace("G43 H1 Z0", "G43 H1\nG0 Z0")
    for asked in (None, 0.0):
        with pytest.raises(ProgramError, match=r"more than 0 mm$"):
            recut_program(read(at_top), ["part 1"], safe_z=asked)


SLASHED = """G21 G90 G54
T1 M6
M3 S18000
G0 Z10
{first}X0 Y0
G1 Z-3 F300
X50 F2000
Y30
X0
Y0
{again}G0 Z10
G0 X100 Y0
G1 Z-3 F300
X150 F2000
Y30
X100
Y0
G0 Z10
M30
"""
DEEPER = "/G1 Z-6 F300\n/X50 F2000\n/Y30\n/X0\n/Y0\n"


def test_a_part_whose_passes_a_switch_leaves_out_is_not_recut():
    """Many machines run lines with a slash: a recut without them would leave the part too thick."""
    text = SLASHED.format(first="", again=DEEPER)
    for skip in (True, False):
        program = read(text, skip_slashed=skip)
        with pytest.raises(ProgramError, match=r"no recut of part 1: .* switch, for line 11 begins with a s"):
            recut_program(program, ["part 1", "part 2"])
        told = " ".join(" ".join(cautions_of(recut_program(program, ["part 2"]))).split())
        assert f"11, 12, 13 and more, are taken as {'left out' if skip else 'run'}: these parts are" in told


@pytest.mark.parametrize(
    "line", ["/S9000", "/M4", "/G55", "/G43 H2 Z10", "/T2 M6 M3", "/G92 X5", "/G10 L2 P1 X9"]
)
def test_a_part_before_which_a_slash_changes_how_it_is_cut_is_not_recut(line: str):
    """Another speed, direction, zero, length or bit by the switch is refused as another way is."""
    with pytest.raises(ProgramError, match="depends on the block-delete switch, for line 5 begins"):
        recut_program(read(SLASHED.format(first=f"{line}\nG0 Z10\n", again="")), ["part 2"])


def test_slashes_that_change_no_part_are_told_of():
    """Coolant by a switch hinders no recut, nor does a subprogram that cuts several parts."""
    assert "file line 5, are taken as left out" in said(SLASHED.format(first="/M8\n", again=""), "part 1")
    assert "with a slash" not in said(SLASHED.format(first="", again=""), "part 1")
    calls = "G21 G90 G54\nM3 S9000\n/M8\nG0 Z5\nX0 Y0\nM98 P7\nX50 Y0\nM98 P7\nM30\n"
    called = "O7\nG91 G1 Z-8 F300\nX9\nY9\nX-9\nY-9\nG0 Z8\nG90\nM99\n"
    assert "file line 3, are taken as left out" in said(calls + called, "part 2")
    alone = (calls + called).replace("X50 Y0\nM98", "X50 Y0\n/M98")
    with pytest.raises(ProgramError, match="depends on the block-delete switch"):
        recut_program(read(alone, skip_slashed=False), ["part 2"])
