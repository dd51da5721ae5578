"""The place by a plain clock, which the place by sound is measured against: it holds the truth."""

import dataclasses
from collections.abc import Iterator

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from placing.clock import ClockLocator
from trays import LONG, TRAYS, line_of, plan_of

from analysis.events import Place
from analysis.locate import Plan
from analysis.presence import Phase
from analysis.program import Kind

ROW = 0.05


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

    def follow(self, locator: ClockLocator) -> Iterator[tuple[float, int]]:
        """Let a locator follow all; give the time and the move of each row in which the spindle turns."""
        for at, phase, move in self.rows():
            locator.row(at, phase)
            if move >= 0:
                yield at, move


def test_before_the_spindle_starts_the_place_is_unknown():
    """Silence tells no line."""
    locator = ClockLocator(TRAYS)
    locator.row(1.0, Phase.OFF)
    assert locator.place(1.0) is None


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


def test_a_program_that_cuts_nothing_has_no_place():
    """Without a turning spindle there is no stint: the place stays unknown, whatever is heard."""
    locator = ClockLocator(plan_of("G21 G90\nG0 X10\nG0 X0\nM2\n"))
    for at in np.arange(0.0, 20.0, ROW):
        locator.row(float(at), Phase.CUT if 5 < at < 10 else Phase.OFF)
    assert locator.place(7.0) is None


def test_a_place_is_one_of_the_program():
    """Every place is a line of the file, with its own N-word."""
    locator = ClockLocator(TRAYS)
    words = dict(zip(TRAYS.program.moves.file_line.tolist(), TRAYS.program.moves.word.tolist(), strict=True))
    for at, _ in Cutting(TRAYS).follow(locator):
        place = locator.place(at)
        assert isinstance(place, Place)
        assert words[place.file] == place.word
