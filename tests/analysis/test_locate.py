"""The place in the program by clock and sound: it holds the truth, and says how sure it is."""

import dataclasses
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.cut import Context
from analysis.cutting import Bit
from analysis.events import Alarm, Deaf, Place
from analysis.locate import Nowhere, Plan, resume_before
from analysis.place import ClockLocator
from analysis.presence import Phase
from analysis.program import Kind, read

BITS = {0: Bit("any", 6.0, 2, 18_000.0)}
ALARM = Alarm(0.0, 0.0, "loose", 0.7, ("why",), 1.0, 1.0)
ROW = 0.05


def square(x: float, y: float, side: float, word: int) -> str:
    """A square outline, 3 mm deep, with N-words by tens."""
    ways = [
        f"G0 X{x} Y{y}",
        "G1 Z-3 F600",
        f"G1 X{x + side} F1200",
        f"G1 Y{y + side}",
        f"G1 X{x}",
        f"G1 Y{y}",
        "G0 Z5",
    ]
    return "\n".join(f"N{word + 10 * i} {way}" for i, way in enumerate(ways))


def plan_of(text: str) -> Plan:
    """The plan of a program."""
    return Plan.of(read(text, "test"), BITS)


TRAYS = plan_of(
    "\n".join(
        [
            "N10 G21 G90 G17",
            "N20 T1 M6",
            "N30 S18000 M3",
            "N40 G4 P3",
            "N50 G0 Z5",
            square(10, 10, 100, 100),
            square(150, 10, 100, 200),
            "N300 M5",
            "N310 T2 M6",
            "N320 S12000 M3",
            "N330 G4 P3",
            "N340 G0 Z5",
            square(300, 30, 60, 400),
            "N900 M5",
            "N910 M30",
        ]
    )
)
# One long cut of very many short lines, and no other sign on the way.
LONG = plan_of(
    "\n".join(
        ["G21 G90", "T1 M6", "S18000 M3", "G4 P3", "G0 Z5", "G0 X0 Y0", "G1 Z-3 F600"]
        + [f"G1 X{2 * i} F1200" for i in range(1, 1000)]
        + ["G0 Z5", "M5", "M30"]
    )
)


@dataclasses.dataclass
class Cutting:
    """
    A machine that does what the plan says, and its sound.

    Attributes
    ----------
    late
        Seconds after which the spindle is heard.
    pace
        How much slower than planned the machine is.
    pauses
        Seconds between the stints.
    """

    plan: Plan
    late: float = 2.0
    pace: float = 1.0
    pauses: float = 20.0

    def rows(self) -> Iterator[tuple[float, Phase, int]]:
        """Give the time, the phase and the move of each row."""
        at, clocks = 0.0, self.plan.times
        for first, last in self.plan.stints:
            for _ in range(round((self.late if first == self.plan.stints[0][0] else self.pauses) / ROW)):
                at += ROW
                yield at, Phase.OFF, -1
            begins, ends = self.plan.spells[self.plan.stints.index((first, last))]
            clock, end = float(clocks.begin[first]), float(clocks.end[last])
            while clock < end:
                cuts = bool(((begins <= clock) & (clock < ends)).any())
                move = int(np.searchsorted(clocks.begin[first : last + 1], clock, side="right")) - 1 + first
                at += ROW
                yield at, Phase.CUT if cuts else Phase.AIR, move
                clock += ROW / self.pace
        for _ in range(60):
            at += ROW
            yield at, Phase.OFF, -1

    def follow(self, locator: ClockLocator, state: str = "listen") -> Iterator[tuple[float, int]]:
        """Let a locator follow all; give the time and the move of each row in which the spindle turns."""
        for at, phase, move in self.rows():
            locator.row(at, phase)
            locator.judged(state)
            if move >= 0:
                yield at, move


def line_of(plan: Plan, move: int) -> int:
    """File line of a move."""
    return int(plan.program.moves.file_line[move])


# The plan


def test_what_a_program_asks_of_a_bit():
    """The lowest and the highest speed of a bit between two moves, or anywhere: others' do not count."""
    plan = plan_of(
        "G21 G90\nT1 M6\nS16000 M3\nG0 Z5\nG0 X0 Y0\nG1 Z-1 F600\nX10\nG0 Z5\nS8000 M3\nG4 P3\nG1 Z-1\nX0\n"
        "G0 Z5\nM5\nT2 M6\nS20000 M3\nG1 Z-1\nX10\nG0 Z5\nM5\nM30"
    )
    fast, slow, last = (plan.moves_on(line)[0] for line in (7, 12, 18))
    assert plan.asked(1) == plan.asked(1, fast, last) == (8000.0, 16_000.0)
    assert plan.asked(1, fast, fast) == (16_000.0, 16_000.0)
    assert plan.asked(1, slow, last) == (8000.0, 8000.0)
    assert plan.asked(1, last, last) == (8000.0, 16_000.0)
    assert plan.asked(2) == (20_000.0, 20_000.0)
    assert plan.asked(3) is None


def test_stints_are_where_the_spindle_turns():
    """A stint goes from the spindle's start to its stop; a bit change stands between two."""
    moves = TRAYS.program.moves
    assert len(TRAYS.stints) == 2
    for first, last in TRAYS.stints:
        inside = slice(first, last + 1)
        assert np.all(moves.speed[inside] > 0)
        assert not np.isin(moves.kind[inside], (Kind.BIT_CHANGE, Kind.PAUSE)).any()
    assert [int(moves.bit[first]) for first, _ in TRAYS.stints] == [1, 2]


def test_a_stint_needs_no_stated_speed():
    """M3 alone starts the spindle at the same line as M3 with S."""
    text = "\n".join(TRAYS.program.lines)
    unsaid = plan_of(text.replace("S18000 ", "").replace("S12000 ", ""))
    assert unsaid.stints == TRAYS.stints
    assert unsaid.asked(1) is None


def test_stints_of_a_spindle_that_is_switched_by_hand():
    """Where the program never starts it, that is all between two stops in which something is cut."""
    cut = "G0 X{0} Y0\nG1 Z-3 F600\nX{1}\nG0 Z5\n"
    stops = "G21 G90\nG0 Z5\nT1 M6\n" + cut.format(0, 50) + "M0\nG0 X90\nM0\n" + cut.format(100, 150)
    plan = plan_of(stops + "M5\nT2 M6\n" + cut.format(200, 250) + "M30")
    lines = plan.program.moves.file_line
    assert [(int(lines[first]), int(lines[last])) for first, last in plan.stints] == [
        (5, 7),
        (11, 14),
        (17, 20),
    ]


def test_what_is_cut_again_is_the_first_cut_that_may_have_gone_wrong():
    """The first from the early move on that is fed into the work, and not with a bit taken out before."""
    bits = TRAYS.program.moves.bit
    for onset in range(len(bits)):
        for early in range(onset + 1):
            to_blame = (
                move
                for move in range(early, len(bits))
                if TRAYS.cuts[move] and np.all(bits[move : onset + 1] == bits[onset])
            )
            expected = next(to_blame, None)
            if expected is not None:
                assert TRAYS.cut_again(early, onset) == expected


def test_a_pass_that_takes_nothing_away_is_cut_again_too():
    """Whether or not the bit still finds something to cut there, it may have slipped down in that pass."""
    once, next_one = square(10, 10, 100, 100).splitlines(), square(150, 10, 100, 200)
    lines = ["G21 G90", "S18000 M3", "G0 Z5", *once[:6], *once[2:6], "G0 Z5", next_one, "M30"]
    plan = plan_of("\n".join(lines))
    second = int(np.flatnonzero(plan.program.moves.file_line == 11)[0])
    assert not plan.cuts[second]
    assert plan.cut_again(second, second) == second


def test_a_spell_of_cutting_begins_where_the_bit_meets_the_top():
    """A plunge from 5 mm above to 3 below cuts from 5 / 8 of its time on; a spell ends with the last side."""
    begins, ends = TRAYS.spells[0]
    moves, times = TRAYS.program.moves, TRAYS.times
    plunges = np.flatnonzero((moves.kind == Kind.PLUNGE) & (moves.bit == 1))
    expected = times.begin[plunges] + 5 / 8 * (times.end - times.begin)[plunges]
    np.testing.assert_allclose(begins, expected, atol=0.02)
    np.testing.assert_allclose(ends, times.end[plunges + 4], atol=1e-9)


def test_shares_of_time():
    """The share of cutting among moves is their time in the cut by all their time, that down by cutting."""
    first, last = TRAYS.stints[0]
    lasting = TRAYS.times.end - TRAYS.times.begin
    cuts, plunges = TRAYS.cuts.copy(), TRAYS.cuts & (TRAYS.program.moves.kind == Kind.PLUNGE)
    for moves in (cuts, plunges):
        moves[:first] = moves[last + 1 :] = False
    cut, down = (float(lasting[moves].sum()) for moves in (cuts, plunges))
    whole = float(lasting[first : last + 1].sum())
    assert TRAYS.cutting_between(first, last) == pytest.approx((cut / whole, down / cut))
    side, plunge = (int(np.flatnonzero(moves)[0]) for moves in (cuts & ~plunges, plunges))
    assert TRAYS.cutting_between(side, side) == pytest.approx((1.0, 0.0))
    assert TRAYS.cutting_between(plunge, plunge) == pytest.approx((1.0, 1.0))
    assert TRAYS.cutting_between(first, first) == (0.0, 0.0)


@settings(max_examples=30)
@given(st.data())
def test_cutting_is_shared_out_among_moves(data: st.DataObject):
    """The time of cutting in a stretch is the sum of its moves' times of cutting, wherever it is divided."""
    moves = len(TRAYS.program.moves)
    first, middle, last = sorted(data.draw(st.tuples(*[st.integers(0, moves - 1)] * 3)))

    def seconds(begin: int, end: int) -> float:
        whole = float((TRAYS.times.end - TRAYS.times.begin)[begin : end + 1].sum())
        return TRAYS.cutting_between(begin, end)[0] * whole

    parts = seconds(first, middle) + (seconds(middle + 1, last) if middle < last else 0.0)
    assert seconds(first, last) == pytest.approx(parts, abs=1e-9)


# The place


def test_before_the_spindle_starts_the_place_is_unknown():
    """Silence tells no line; the bit is the first one that will turn."""
    locator = ClockLocator(TRAYS)
    locator.row(1.0, Phase.OFF)
    assert locator.place(1.0) is None
    assert locator.context.bit == 1
    assert locator.lines_seen == 0


def test_by_the_clock_alone_the_line_is_known():
    """From the spindle's start on the place is the plan's: by the clock until the first cut of each stint."""
    locator, by_clock = ClockLocator(TRAYS), []
    for at, move in Cutting(TRAYS).follow(locator):
        place = locator.place(at)
        assert place is not None
        assert place.first <= line_of(TRAYS, move) <= place.last
        if place.source == "clock":
            by_clock.append(move)
    sides = np.flatnonzero(TRAYS.cuts & (TRAYS.program.moves.kind == Kind.CUT))
    assert not set(by_clock) & set(sides.tolist())
    assert {first for first, _ in TRAYS.stints} <= set(by_clock)


def test_a_machine_as_planned_is_followed_exactly():
    """When the machine runs as planned, the likeliest line in the middle of each move is its own."""
    locator, first = ClockLocator(TRAYS), {}
    rows = list(Cutting(TRAYS).follow(locator))
    for at, move in rows:
        first.setdefault(move, []).append(at)
    locator = ClockLocator(TRAYS)
    for at, move in Cutting(TRAYS).follow(locator):
        middle = first[move][len(first[move]) // 2]
        if at == middle and len(first[move]) > 8:
            place = locator.place(at)
            assert place is not None
            assert place.file == line_of(TRAYS, move)
            assert place.word == int(TRAYS.program.moves.word[move])


@settings(max_examples=5, deadline=None)
@given(pace=st.floats(0.97, 1.03), late=st.floats(0.5, 30.0), pauses=st.floats(3.0, 400.0))
def test_the_interval_holds_the_truth(pace: float, late: float, pauses: float):
    """A machine up to 3 % off, after pauses of any length, is always within the interval that is told."""
    locator = ClockLocator(TRAYS)
    for at, move in Cutting(TRAYS, late, pace, pauses).follow(locator):
        place = locator.place(at)
        assert place is not None
        assert place.first <= place.file <= place.last
        assert place.first <= line_of(TRAYS, move) <= place.last
        assert locator.context.bit == int(TRAYS.program.moves.bit[move])


def test_a_late_cut_puts_the_clock_right():
    """A spindle that took a second longer than planned is known from where the cut is heard to begin."""
    locator = ClockLocator(TRAYS)
    begins, _ = TRAYS.spells[0]
    start, cut = 2.0, 2.0 + 1.0 + float(begins[0])
    locator.row(1.0, Phase.OFF)
    for at in np.arange(start, cut, ROW):
        locator.row(float(at), Phase.AIR)
    for at in np.arange(cut, cut + 6.0, ROW):
        locator.row(float(at), Phase.CUT)
    clock = float(at) - cut + float(begins[0])
    move = int(np.searchsorted(TRAYS.times.begin, clock, side="right")) - 1
    place = locator.place(float(at))
    assert place is not None
    assert (place.file, place.source) == (line_of(TRAYS, move), "sound")


def test_a_recording_may_begin_with_the_spindle_running():
    """Where the start was not heard, the first cut that is heard to begin is the program's first."""
    locator = ClockLocator(TRAYS)
    begins, _ = TRAYS.spells[0]
    for at in np.arange(ROW, 3.0, ROW):
        locator.row(float(at), Phase.AIR)
    assert locator.place(2.9) is None
    for at in np.arange(3.0, 6.0, ROW):
        locator.row(float(at), Phase.CUT)
    move = int(np.searchsorted(TRAYS.times.begin, 2.0 + float(begins[0]), side="right")) - 1
    place = locator.place(5.0)
    assert place is not None
    assert place.file == line_of(TRAYS, move)


def test_uncertainty_grows_until_something_is_heard():
    """In a long cut without a sign on the way, the interval only ever widens, line by line."""
    locator = ClockLocator(LONG)
    widths, lines = [], []
    for at, move in Cutting(LONG).follow(locator):
        place = locator.place(at)
        assert place is not None
        if 20 < line_of(LONG, move) < 950:
            widths.append(place.last - place.first)
            lines.append(abs(place.file - line_of(LONG, move)))
    assert max(lines) <= 1
    assert np.all(np.diff(widths) >= -1)
    assert widths[-1] > 2 * widths[0] > 0


def test_a_dropout_of_the_spindle_is_no_bit_change():
    """When the spindle is not heard for some seconds in the middle of a cut, the stint goes on."""
    locator = ClockLocator(TRAYS)
    for at, phase, move in Cutting(TRAYS).rows():
        hidden = 15.0 < at < 20.0
        locator.row(at, Phase.OFF if hidden else phase)
        if move >= 0 and not hidden:
            place = locator.place(at)
            assert place is not None
            assert place.first <= line_of(TRAYS, move) <= place.last


def test_after_the_last_stint_there_is_no_place():
    """A spindle that starts again when all is cut belongs to another program."""
    locator = ClockLocator(TRAYS)
    list(Cutting(TRAYS).follow(locator))
    at = 200.0
    for at in np.arange(200.0, 230.0, ROW):
        locator.row(float(at), Phase.CUT)
    assert locator.place(float(at)) is None


def contexts(plan: Plan) -> dict[int, Context]:
    """What the locator first said of each move."""
    locator, told = ClockLocator(plan), {}
    for _, move in Cutting(plan).follow(locator):
        told.setdefault(move, locator.context)
    return told


def test_context_tells_what_is_being_cut():
    """In the middle of a long cut its family is told and cutting possible; where the bit only waits not."""
    told = contexts(LONG)
    assert told[500] == Context(1, "across", cuts=True, told=True)
    assert not told[LONG.stints[0][0]].cuts


def test_drilling_is_told_from_cutting_across():
    """In a long hole the family is down; where the place may be in the plunge or after it, it is not told."""
    head = "G21 G90\nT1 M6\nS18000 M3\nG4 P3\nG0 Z5\nG0 X0 Y0\n"
    drilled = plan_of(f"{head}G1 Z-60 F150\nG0 Z5\nM5\nM30")
    hole = int(np.flatnonzero(drilled.cuts)[0])
    assert contexts(drilled)[hole].kind == "down"
    assert contexts(drilled)[hole].told
    mixed = plan_of(f"{head}G1 Z-3 F300\nX20 F1200\nG0 Z5\nM5\nM30")
    assert not contexts(mixed)[int(np.flatnonzero(mixed.cuts)[0])].told


def test_the_clock_does_not_say_how_likely_a_cut_is():
    """By the clock, as without a program, only the sound tells whether the bit is in the wood."""
    locator = ClockLocator(TRAYS)
    said = {locator.cutting for _ in Cutting(TRAYS).follow(locator)}
    assert said == {None}
    assert Nowhere().cutting is None


# Alarms


@settings(max_examples=6, deadline=None)
@given(share=st.floats(0.0, 1.0), pace=st.floats(0.97, 1.03))
def test_where_to_start_again(share: float, pace: float):
    """An alarm is told its place; the resume line is not after the earliest line that may be spoiled."""
    locator = ClockLocator(TRAYS)
    rows = list(Cutting(TRAYS, pace=pace).rows())
    turning = [i for i, (_, _, move) in enumerate(rows) if move >= 0]
    until = turning[round(share * (len(turning) - 1))]
    for at, phase, _ in rows[: until + 1]:
        locator.row(at, phase)
        locator.judged("listen")
    onset, _, move = rows[until]
    alarm = locator.complete(dataclasses.replace(ALARM, at=onset + 0.1, onset=onset))
    assert isinstance(alarm, Alarm)
    assert alarm.line is not None
    assert alarm.resume is not None
    assert alarm.line.first <= line_of(TRAYS, move) <= alarm.line.last
    assert alarm.resume.file <= alarm.line.first


def test_other_events_pass():
    """What is no alarm has no place; an alarm without a known place keeps none."""
    locator = ClockLocator(TRAYS)
    deaf = Deaf(1.0, "zeros")
    assert locator.complete(deaf) is deaf
    assert locator.complete(ALARM) == ALARM


def test_an_alarm_with_no_way_to_restart_is_an_alarm():
    """A program that never stands above the work outside a drilling cycle has a place, and no resume line."""
    plan = plan_of(
        "G21 G90\nT1 M6\nS18000 M3\nG4 P3\nG0 X0 Y0\nG81 X1 Y1 Z-5 R2 F100\nX20\nX40\nX60\nX80\nX100\nM2\n"
    )
    locator, at = ClockLocator(plan), 0.0
    for at, _ in Cutting(plan).follow(locator):
        if at > 20.0:
            break
    alarm = locator.complete(dataclasses.replace(ALARM, at=at, onset=at))
    assert isinstance(alarm, Alarm)
    assert alarm.line is not None
    assert alarm.resume is None


# Verdicts


def verdicts(states: dict[int, str], learned: frozenset[int] = frozenset({1, 2})) -> list[str]:
    """Verdicts of the three squares when the watcher's state depends on the file line that is cut."""
    locator = ClockLocator(TRAYS)
    for at, phase, move in Cutting(TRAYS).rows():
        locator.row(at, phase)
        line = line_of(TRAYS, move) if move >= 0 else 0
        due = [state for first, state in sorted(states.items()) if line >= first]
        locator.judged(due[-1] if due and move >= 0 else "settle")
    return [part.verdict for part in locator.verdicts(learned)]


FIRST, SECOND, THIRD = (part.first_line for part in TRAYS.parts)


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        ({0: "listen"}, ["good", "good", "good"]),
        ({0: "listen", SECOND + 1: "alarm", THIRD: "listen"}, ["good", "suspect", "good"]),
        ({0: "listen", SECOND + 1: "deaf", THIRD: "listen"}, ["good", "unheard", "good"]),
        ({0: "listen", THIRD + 2: "alarm"}, ["good", "good", "suspect"]),
        ({0: "deaf"}, ["unheard", "unheard", "unheard"]),
        ({}, ["unheard", "unheard", "unheard"]),
    ],
    ids=["all is well", "alarm", "deaf", "alarm in the third", "deaf all along", "nothing heard"],
)
def test_verdicts(states: dict[int, str], expected: list[str]):
    """A part is good when all of its cut was heard, suspect when an alarm touched it, else unheard."""
    assert verdicts(states) == expected


def test_a_bit_without_a_baseline_was_not_heard():
    """What was cut by a bit whose normal is unknown is unheard, not good."""
    assert verdicts({0: "listen"}, frozenset({1})) == ["good", "good", "unheard"]
    assert verdicts({0: "listen"}, frozenset()) == ["unheard"] * 3


def test_what_was_not_reached_is_unheard():
    """A run that ends in the first square says nothing good of the others."""
    locator = ClockLocator(TRAYS)
    for at, phase, move in Cutting(TRAYS).rows():
        if move >= 0 and line_of(TRAYS, move) >= SECOND:
            break
        locator.row(at, phase)
        locator.judged("listen")
    said = locator.verdicts(frozenset({1, 2}))
    assert [part.verdict for part in said] == ["good", "unheard", "unheard"]
    assert [(part.first, part.last) for part in said] == [(p.first_line, p.last_line) for p in TRAYS.parts]


def test_an_alarm_spoils_back_to_its_onset():
    """What was cut between the onset and the alarm is suspect, though nothing was said yet."""
    locator = ClockLocator(TRAYS)
    onset = None
    for at, phase, move in Cutting(TRAYS).rows():
        locator.row(at, phase)
        locator.judged("listen")
        if move >= 0 and line_of(TRAYS, move) == FIRST + 2 and onset is None:
            onset = at
        if move >= 0 and line_of(TRAYS, move) == SECOND + 2:
            locator.complete(dataclasses.replace(ALARM, at=at, onset=onset))
            break
    assert [part.verdict for part in locator.verdicts(frozenset({1, 2}))] == ["suspect", "suspect", "unheard"]


def test_an_alarm_at_an_unknown_place_may_have_spoiled_whatever_was_not_heard():
    """Nobody knows which part it was: all that are not good are suspect, until it is said to be nothing."""
    locator = ClockLocator(TRAYS)
    locator.complete(ALARM)
    assert [part.verdict for part in locator.verdicts(frozenset({1, 2}))] == ["suspect"] * 3
    locator.acquit()
    assert [part.verdict for part in locator.verdicts(frozenset({1, 2}))] == ["unheard"] * 3


def test_a_part_that_takes_next_to_nothing_away_was_not_heard():
    """A square scratched 0.04 mm deep makes no sound that anybody could have listened to."""
    scratched = read(
        "G21 G90 G54\nT1 M6\nS18000 M3\nG0 Z5\nX0 Y0\nG1 Z-0.04 F300\nX20\nY20\nX0\nY0\nG0 Z5\nX60 Y0\n"
        "G1 Z-3\nX80\nY20\nX60\nY0\nG0 Z5\nM2",
        "two squares",
    )
    plan = Plan.of(scratched, {1: Bit("bit", 6.0, 2)})
    said = ClockLocator(plan).verdicts(frozenset({1}))
    assert {part.verdict for part in said} == {"unheard"}


def test_where_to_start_again_goes_by_the_order_of_execution():
    """A subprogram at the end of the file is run before what follows its call: it is cut again, too."""
    text = [
        *(
            "G21 G90 G54",
            "T1 M6",
            "S18000 M3",
            "G0 Z5",
            "X0 Y0",
            "M98 P100",
            "G0 Z5",
            "X100 Y0",
            "G1 Z-3 F300",
        ),
        *("X160", "G0 Z5", "M30", "O100", "G1 Z-3 F300", "X20", "Y20", "X0", "G0 Z5", "M99"),
    ]
    program = read("\n".join(text), "called")
    call, onset, in_the_call = (text.index(line) + 1 for line in ("M98 P100", "X160", "Y20"))
    for lines in ((in_the_call, onset), (onset, in_the_call)):
        resume = resume_before(program, *lines)
        assert resume is not None
        assert resume.file_line == call
    later = resume_before(program, onset)
    assert later is not None
    assert later.file_line > call


def test_lines_seen_are_the_lines_passed_over():
    """Every line with a move of a turning spindle is counted once it was passed, and none twice."""
    locator = ClockLocator(TRAYS)
    seen = [locator.lines_seen for _ in Cutting(TRAYS).follow(locator)]
    assert seen == sorted(seen)
    turning = {line_of(TRAYS, move) for first, last in TRAYS.stints for move in range(first, last + 1)}
    assert seen[-1] == pytest.approx(len(turning), abs=1)


# Programs that tell little


def test_a_program_that_cuts_nothing_has_no_place():
    """Without a turning spindle there is no stint: the place stays unknown, whatever is heard."""
    locator = ClockLocator(plan_of("G21 G90\nG0 X10\nG0 X0\nM2\n"))
    for at in np.arange(0.0, 20.0, ROW):
        locator.row(float(at), Phase.CUT if 5 < at < 10 else Phase.OFF)
        locator.judged("listen")
    assert locator.place(7.0) is None
    assert locator.context == Context()
    assert locator.verdicts(frozenset({0})) == ()


def test_without_a_program_nothing_is_known():
    """The place where there is no program is unknown, and events pass."""
    nowhere = Nowhere()
    nowhere.row(1.0, Phase.CUT)
    nowhere.judged("alarm")
    assert nowhere.place(1.0) is None
    assert nowhere.complete(ALARM) is ALARM
    assert nowhere.verdicts(frozenset({1})) == ()
    assert (nowhere.context, nowhere.lines_seen) == (Context(), 0)


def test_a_place_is_one_of_the_program():
    """Every place is a line of the file, with its own N-word."""
    locator = ClockLocator(TRAYS)
    words = dict(zip(TRAYS.program.moves.file_line.tolist(), TRAYS.program.moves.word.tolist(), strict=True))
    for at, _ in Cutting(TRAYS).follow(locator):
        place = locator.place(at)
        assert isinstance(place, Place)
        assert words[place.file] == place.word
