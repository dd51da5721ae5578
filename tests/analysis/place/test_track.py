"""The program as a row of cells: what is where, how long it takes, and what is to be heard there."""

import numpy as np
from place.sounding import SLOTS, plan_of, slots

from analysis.place.track import END, LEVELS, TIMED, WAIT, WAITS, Track, feed_shares
from analysis.program import Kind

STEP = 0.1
TRACK = Track.of(SLOTS, STEP)


def test_every_stint_takes_as_long_as_planned():
    """A stint has a cell for each step of its time, and those in which the spindle stops."""
    for first, last in SLOTS.stints:
        inside = (TRACK.first >= first) & (TRACK.last <= last) & (TRACK.turns != 0.0)
        stops = inside & (TRACK.sort == TIMED) & np.isnan(TRACK.turns) & (TRACK.first == last)
        takes = float(SLOTS.times.end[last] - SLOTS.times.begin[first])
        assert abs(float((inside & ~stops).sum()) * STEP - takes) <= STEP


def test_a_wait_lies_between_stints_and_at_both_ends():
    """Nothing passes from one stint to the next but through a wait, and nothing follows the last."""
    waits = np.flatnonzero(TRACK.sort >= WAIT)
    assert len(waits) == WAITS * (len(SLOTS.stints) + 1)
    assert waits[0] == 0
    assert waits[-1] == len(TRACK) - 1
    assert (TRACK.sort[-WAITS:] == END).all()
    between = waits[WAITS]
    assert TRACK.first[between] == SLOTS.stints[0][1]
    assert TRACK.last[between] == SLOTS.stints[1][0]


def test_cells_go_forward():
    """The moves of the cells never go back."""
    assert (np.diff(TRACK.first) >= 0).all()
    assert (np.diff(TRACK.last) >= 0).all()
    assert (TRACK.first <= TRACK.last).all()


def test_a_cut_is_expected_where_the_plan_cuts():
    """A cell is one of a cut when its move takes material away, and not before the bit meets the top."""
    expected = ~np.isnan(TRACK.extra)
    assert (SLOTS.cuts[TRACK.first[expected]]).all()
    kinds = SLOTS.program.moves.kind[TRACK.first]
    plunges = (kinds == Kind.PLUNGE) & (TRACK.turns == 1.0)
    assert expected[plunges].any()
    assert not expected[plunges].all()


def test_a_spindle_that_cannot_be_told_counts_for_nothing():
    """While it starts or stops, neither hearing it nor not hearing it is wrong."""
    unsure = np.isnan(TRACK.turns)
    assert unsure.any()
    assert not (TRACK.turning | TRACK.standing)[unsure].any()


def test_a_dwell_whose_unit_nobody_knows_lasts_as_long_as_it_lasts():
    """It is a wait in which the bit turns, be it ever so short; with the bit in the work it is no wait."""
    lines = [
        "G21 G90",
        "T1 M6",
        "S18000 M3",
        "G4 P3000",
        "G0 X1 Y1 Z6",
        "G1 Z-3 F600",
        "G4 P400",
        "X90",
        "G0 Z6",
    ]
    plan = plan_of([*lines, "G4 P100", "G1 Z-3", "X20", "G0 Z6", "M5", "M30"])
    track = Track.of(plan, STEP)
    lines_of = plan.program.moves.file_line[track.first]
    waits = (track.sort >= WAIT) & (track.sort < END) & (track.bit == 1)
    assert np.unique(lines_of[waits]).tolist() == [4, 10]
    assert (track.sort[waits] - WAIT).tolist() == 2 * list(range(WAITS))
    assert np.isnan(track.extra[waits]).all()
    assert set(lines_of[track.bit == 1]) == {4, 5, 6, 7, 8, 9, 10, 11, 12, 13}
    assert (track.sort[lines_of == 7] == TIMED).all()
    assert (lines_of == 7).sum() * STEP == 0.4
    assert (np.diff(track.first) >= 0).all()
    # While the spindle starts, and then no longer, it can't be told whether it turns.
    assert np.isnan(track.turns[waits & (lines_of == 4)]).all()
    assert (track.turns[(lines_of > 4) & (lines_of < 13)] == 1.0).all()


def test_a_spindle_that_is_switched_by_hand():
    """Between its first and its last cut a stint turns; before, after and in waits it does what is heard."""
    plan = plan_of(["G21 G90", "T1 M6", "G0 Z6", *slots(3, 10.0), "T2 M6", "G0 Z6", *slots(2, 60.0), "M30"])
    track = Track.of(plan, STEP)
    assert (track.turning | track.either).all()
    assert track.either[track.sort >= WAIT].all()
    for first, last in plan.stints:
        inside = np.flatnonzero((track.first >= first) & (track.last <= last) & (track.sort < WAIT))
        cut = inside[track.wood[inside]]
        assert track.turning[cut[0] : cut[-1] + 1].all()
        assert track.either[inside[inside < cut[0]]].all()
        assert track.either[inside[inside > cut[-1]]].all()
    assert track.lead == np.argmax(track.wood)


def test_what_the_feed_limits():
    """A long feed takes 1.1 times as long at 1 / 1.1 of its feed; a rapid and a dwell take what they take."""
    plan = plan_of(["G21 G90", "T1 M6", "S18000 M3", "G4 P3", "G1 X900 F600", "G0 X0", "M5", "M30"])
    shares = feed_shares(plan)
    kinds = plan.program.moves.kind
    assert shares[kinds == Kind.DWELL].max() == 0.0
    assert shares[kinds == Kind.RAPID].max() == 0.0
    feeds = np.isfinite(plan.program.moves.feed) & (plan.program.moves.length > 0)
    assert shares[feeds].min() > 0.95
    track = Track.of(plan, STEP)
    assert {LEVELS - 1, 0, TIMED} <= set(track.sort.tolist())
