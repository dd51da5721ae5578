"""What has to be known of a program to tell the place in it; and the place where there is no program."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trays import LONG, TRAYS, plan_of, square

from analysis.cut import Context
from analysis.events import Alarm
from analysis.locate import Nowhere, resume_before, resume_line_before
from analysis.presence import Phase
from analysis.program import Kind, read

ALARM = Alarm(0.0, 0.0, "loose", 0.7, ("why",), 1.0, 1.0)


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


def test_drilling_is_told_from_cutting_across():
    """In a long hole the family is down, in a long cut across; from a plunge to the cut it is not told."""
    head = "G21 G90\nT1 M6\nS18000 M3\nG4 P3\nG0 Z5\nG0 X0 Y0\n"
    drilled = plan_of(f"{head}G1 Z-60 F150\nG0 Z5\nM5\nM30")
    hole = int(np.flatnonzero(drilled.cuts)[0])
    assert drilled.family(hole, hole) == ("down", True)
    assert LONG.family(400, 600) == ("across", True)
    mixed = plan_of(f"{head}G1 Z-3 F300\nX20 F1200\nG0 Z5\nM5\nM30")
    first, last = np.flatnonzero(mixed.cuts).tolist()
    assert not mixed.family(first, last)[1]


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


def test_there_may_be_no_way_to_restart():
    """A program that never stands above the work outside a drilling cycle has no line to start again from."""
    plan = plan_of(
        "G21 G90\nT1 M6\nS18000 M3\nG4 P3\nG0 X0 Y0\nG81 X1 Y1 Z-5 R2 F100\nX20\nX40\nX60\nX80\nX100\nM2\n"
    )
    assert resume_line_before(plan.program, int(np.flatnonzero(plan.cuts)[-1])) is None


def test_without_a_program_nothing_is_known():
    """The place where there is no program is unknown, and events pass."""
    nowhere = Nowhere()
    nowhere.row(1.0, Phase.CUT)
    nowhere.judged("alarm")
    assert nowhere.place(1.0) is None
    assert nowhere.complete(ALARM) is ALARM
    assert nowhere.verdicts(frozenset({1})) == ()
    assert (nowhere.context, nowhere.cutting, nowhere.lines_seen) == (Context(), None, 0)
