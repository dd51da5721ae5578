"""Line numbers from outside narrow the place; sound narrows what they leave open."""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from restarting import restart_program

from analysis.ahead import AHEAD
from analysis.cut import Context
from analysis.cutting import Bit
from analysis.events import Alarm, Deaf, Event, PartVerdict, Place, ResumeLine
from analysis.linesfed import FedLocator, Report
from analysis.locate import Nowhere, Plan
from analysis.presence import Phase
from analysis.program import Program, read, resume_at
from analysis.restarted import Restarted
from analysis.which_bit import Fit

TRAY = read(
    """N10 G21 G90 G17
N20 T1 M6
N30 S18000 M3
N40 G0 Z5
N50 G0 X10 Y10
N60 G1 Z-3 F300
N70 G1 X110 F1200
N80 G1 Y110
N90 G0 Z5
N100 G0 X150 Y10
N110 G1 Z-3 F300
N110 G1 X250 F1200
N120 G1 Y110
G1 X150
N130 G0 Z5
N140 M30
""",
    "tray",
)
ALARM = Alarm(10.0, 9.0, "loose", 0.7, ("why",), 1.0, 1.0)


class Sound(Nowhere):
    """A place by sound that the test sets, and a record of what it was told."""

    def __init__(self, place: Place | None = None) -> None:
        self.noted: list[object] = []
        self.lines_seen = 0
        self.context = Context(7)
        self.cutting = 0.75
        self.sure = True
        self._place = place

    def place(self, at: float) -> Place | None:
        """Return what the test set."""
        del at
        return self._place

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """Note it."""
        self.noted.append((at, phase, level, bits))

    def judged(self, state: str) -> None:
        """Note it."""
        self.noted.append(state)

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return one part named after the bits."""
        return (PartVerdict(str(sorted(learned)), 1, 2, "good"),)


def heard(file: int, first: int, last: int) -> Place:
    """A place by sound."""
    return Place(file, None, first, last, "sound")


def plan_of(program: Program) -> Plan:
    """A program as the ear needs it."""
    return Plan.of(program, {0: Bit("bit", 6.0, 2)})


TRAY_PLAN = plan_of(TRAY)
TWO_BITS = read(
    """G21 G90 G17
T1 M6
S18000 M3
G0 Z5
G0 X10 Y10
G1 Z-3 F300
G1 X110 F1200
G1 Y110
G0 Z5
M5
T2 M6
S18000 M3
G0 Z5
G0 X150 Y10
G1 Z-3 F300
G1 X250 F1200
G0 Z5
M5
M30
""",
    "two bits",
)
TWO_BITS_PLAN = Plan.of(TWO_BITS, {0: Bit("other", 6.0, 2), 1: Bit("one", 6.0, 2), 2: Bit("two", 6.0, 2)})


def fed(*reports: Report, base: Nowhere | None = None, plan: Plan | None = TRAY_PLAN, ahead: int = AHEAD):
    """A locator that was fed these reports."""
    locator = FedLocator(base or Nowhere(), plan, ahead)
    for report in reports:
        locator.report(report)
    return locator


# What a report names


@pytest.mark.parametrize(
    ("report", "line"),
    [
        (Report(1.0, 7, None), 7),
        (Report(1.0, 7, 90), 7),
        (Report(1.0, None, 80), 8),
        (Report(1.0, None, 30), 3),
        (Report(1.0, None, 110), None),
        (Report(1.0, None, 120, after=1), 14),
        (Report(1.0, None, 9999), None),
        (Report(1.0, None, -1), None),
        (Report(1.0, None, None), None),
        (Report(1.0, 17, None), None),
        (Report(1.0, 0, None), None),
    ],
    ids=[
        "line",
        "line before word",
        "word",
        "word of a line without a move",
        "word on two lines",
        "line after a word",
        "no such word",
        "no word is no word",
        "nothing",
        "beyond the end",
        "before the start",
    ],
)
def test_what_a_report_names(report: Report, line: int | None):
    """
    A file line names itself, an N-word its line; what stands nowhere or twice names none.

    N-words may repeat and be out of order, so they are no file lines (NISTIR 6556, 3.3.2).
    """
    place = fed(report).place(2.0)
    assert (place and place.file) == line


def test_a_number_that_is_written_with_blanks_is_one():
    """As whoever runs the program takes it: N10, and not N1."""
    plan = plan_of(read("G21 G90\nM3 S18000\nG0 Z5\nN1 0 G1 Z-1 F300\nN20 X9\nM30\n", "job"))
    assert fed(Report(1.0, None, 10), plan=plan).place(1.0).word == 10
    assert not fed(plan=plan).names(Report(1.0, None, 1))


def test_without_a_program_words_name_nothing():
    """An N-word without the program tells no line; a file line tells itself."""
    assert fed(Report(1.0, None, 80), plan=None).place(2.0) is None
    assert fed(Report(1.0, 300, None), plan=None).place(2.0) == Place(300, None, 280, 300, "lines")


# The place


def test_a_report_may_be_ahead_of_the_cutting():
    """Without sound the place is the line named or one of those before it that a controller may have read."""
    assert fed(Report(1.0, 13, None), ahead=5).place(1.5) == Place(13, 120, 8, 13, "lines")
    assert fed(Report(1.0, 3, None)).place(1.5) == Place(3, 30, 1, 3, "lines")


def test_the_last_report_counts():
    """A report counts from its time on until the next one; before the first the sound alone knows."""
    locator = fed(Report(1.0, 5, None), Report(2.0, 8, None), base=Sound(heard(4, 2, 20)))
    assert locator.place(0.99).source == "sound"
    assert locator.place(1.0).last == 5
    assert locator.place(1.99).last == 5
    assert locator.place(2.0).last == 8


def test_sound_narrows_what_the_report_leaves_open():
    """Where the report's lines and the sound's overlap, the place is in both, and a line beside."""
    locator = fed(Report(1.0, 12, None), base=Sound(heard(8, 6, 14)), ahead=8)
    assert locator.place(2.0) == Place(8, 80, 5, 12, "lines")


SPARSE = read(
    "G21 G90\nT1 M6\nS18000 M3\nN10 G0 Z5\nX10 Y10\nG1 Z-3 F300\nX110 F1200\nN20 G0 Z5\nN30 M98 P7\n"
    "N40 G0 Z9\nM30\nO7\nG1 Z-3 F300\nX10 F1200\nG0 Z5\nM99\n",
    "sparse",
)


@pytest.mark.parametrize(
    ("report", "lines"),
    [
        (Report(1.0, None, 10), (4, 7)),
        (Report(1.0, None, 20), (8, 15)),  # N30 moves nothing itself
        (Report(1.0, None, 30), (8, 15)),
        (Report(1.0, None, 40), (10, 10)),
        (Report(1.0, None, 10, after=1), (5, 5)),
        (Report(1.0, 4, None), (4, 4)),
    ],
)
def test_an_n_word_stands_for_all_lines_before_the_next(report: Report, lines: tuple[int, int]):
    """In the order in which they run, also in a subprogram; a count, or a line of the file, names one."""
    place = fed(report, plan=plan_of(SPARSE), ahead=0).place(1.0)
    assert (place.first, place.last) == lines


def test_what_was_cut_between_two_n_words_lies_up_to_the_second():
    """Once the next one was named, the lines after that were not yet cut before."""
    locator = fed(Report(1.0, None, 10), Report(9.0, None, 20), plan=plan_of(SPARSE), ahead=0)
    locator.row(10.0, Phase.CUT)
    place = locator.place(2.0)
    assert (place.first, place.last) == (4, 8)


def test_a_sound_that_hardly_fits_narrows_nothing():
    """Where what is heard is foreseen badly, the place by sound only tells the likeliest line."""
    base = Sound(heard(8, 6, 14))
    base.sure = False
    assert fed(Report(1.0, 12, None), base=base, ahead=8).place(2.0) == Place(8, 80, 4, 12, "lines")


def test_where_sound_and_report_agree_on_nothing_the_report_counts():
    """A sound's place with no line in common with the report's is not used."""
    locator = fed(Report(1.0, 12, None), base=Sound(heard(2, 1, 3)), ahead=4)
    assert locator.place(2.0) == Place(12, 110, 8, 12, "lines")


@given(
    named=st.integers(4, 15),
    ahead=st.integers(0, 20),
    lines=st.tuples(*[st.integers(1, 16)] * 3).map(sorted),
)
def test_the_interval_holds(named: int, ahead: int, lines: list[int]):
    """The place lies in its interval, the interval in the report's, and near the sound's if they overlap."""
    first, file, last = lines
    ahead = min(ahead, named - 4)  # before line 4 not every line moves something
    place = fed(Report(1.0, named, None), base=Sound(heard(file, first, last)), ahead=ahead).place(1.0)
    assert max(1, named - ahead) <= place.first <= place.file <= place.last <= named
    if first <= named and last >= named - ahead:
        assert first - 1 <= place.first
        assert place.last <= last + 1


# Carrying on


def carried_on(*after: Report, advance: bool) -> Place | None:
    """The place at 12 s when it went on from line 10 at 11 s; reports came in advance, or after that."""
    early = Report(1.0, 13, None)
    locator = fed(early, *(after if advance else ()), base=Sound(), ahead=0)
    locator.row(11.0, Phase.OFF)
    locator.carries_on(10)
    for report in () if advance else after:
        locator.report(report)
    return locator.place(12.0)


@pytest.mark.parametrize("advance", [False, True])
def test_a_restart_programs_lines_are_told_as_the_originals(*, advance: bool):
    """Its first lines are none at which the original goes on, so those after them are its own, too."""
    restarted = Restarted.of(TRAY, 10)
    assert restarted is not None
    head, own = Report(11.2, 1, None), Report(11.8, restarted.head + 3, None)
    assert carried_on(head, own, advance=advance).file == 12
    assert carried_on(head, advance=advance).file == 10


@pytest.mark.parametrize("advance", [False, True])
def test_who_carries_on_with_the_original_tells_its_lines(*, advance: bool):
    """No line before the one at which it goes on is named; an N-word is the same one in both."""
    assert carried_on(Report(11.2, 10, None), Report(11.8, 12, None), advance=advance).file == 12
    assert carried_on(Report(11.8, None, 110, after=1), Report(11.9, None, 130), advance=advance).file == 15


SHORT = read(
    "G21 G90 G54\nT1 M6\nS18000 M3\nG4 P3\nG0 Z10\nG0 X0 Y0\nG1 Z-6 F500\nX200 F2000\nY200\nX0\nY0\nG0 Z10\n"
    "X300 Y0\nG1 Z-6 F500\nX500 F2000\nY200\nX300\nY0\nG0 Z10\nX0 Y300\nG1 Z-6 F500\nX200\nY500\nX0\nY300\n"
    + "G0 Z10\nG0 Z11\n" * 20
    + "M5\nM30\n",
    "short",
)
SHORT_PLAN = plan_of(SHORT)
RESUME = 14


def runs(*, restart: bool, ahead: int, every: bool) -> list[tuple[int, int]]:
    """The lines that a controller names, one a second, and those of SHORT that it executes then."""
    restarted = Restarted.of(SHORT, RESUME)
    lines = restart_program(SHORT, RESUME).splitlines() if restart else SHORT.lines
    numbers = [
        number
        for number in range(1 if restart else RESUME, len(lines) + 1)
        if every or not lines[number - 1].startswith("(")
    ]
    executed = [restarted.original(number) if restart else number for number in numbers]
    return list(zip([*numbers[ahead:], *numbers[-1:] * ahead], executed, strict=True))


@pytest.mark.parametrize("every", [True, False], ids=["every line", "those that it executes"])
@pytest.mark.parametrize("ahead", [0, 1, 20])
@pytest.mark.parametrize("restart", [True, False], ids=["restart", "original"])
def test_near_its_begin_both_programs_that_may_run_are_thought_of(*, restart: bool, ahead: int, every: bool):
    """The head is longer than what comes before the resume line: its numbers are the original's as well."""
    locator = fed(base=Sound(), plan=SHORT_PLAN, ahead=ahead)
    locator.row(1.0, Phase.OFF)
    locator.carries_on(RESUME)
    for second, (named, executed) in enumerate(runs(restart=restart, ahead=ahead, every=every), 2):
        locator.report(Report(float(second), named, None))
        locator.row(second + 0.5, Phase.CUT)
        place = locator.place(second + 0.5)
        assert place is not None
        assert place.first <= executed <= place.last


class Following(Sound):
    """A sound that knows where it is."""

    def at_line(self, line: int) -> None:
        """Be at a line."""
        self._place = heard(line, line, line)

    def mark(self, line: int) -> None:
        """Be there already."""


@pytest.mark.parametrize("restart", [True, False], ids=["restart", "original"])
def test_sound_tells_at_length_which_of_two_programs_is_run(*, restart: bool):
    """Put right by the first cut, it meets the lines of the one that is run and not those of the other."""
    sound = Following()
    sound.sure = True
    locator = fed(base=sound, plan=SHORT_PLAN)
    locator.row(1.0, Phase.OFF)
    locator.carries_on(RESUME)
    widths = []
    for second, (named, executed) in enumerate(runs(restart=restart, ahead=0, every=False), 2):
        locator.report(Report(float(second), named, None))
        sound.at_line(executed)
        for part in range(4):
            locator.row(second + part / 4, Phase.CUT)
        if executed == RESUME + 1:
            locator.mark(RESUME)
        sound.at_line(500)
        place = locator.place(second + 0.9)
        if place is not None and place.source == "lines":
            assert place.first <= executed <= place.last
            widths.append(place.last - place.first)
    assert np.median(widths[-20:]) <= AHEAD < max(widths)


LONG = read("\n".join([*SHORT.lines[:-2], *["G0 Z10", "G0 Z11"] * 200, "M5", "M30", ""]), "long")
LONG_PLAN = plan_of(LONG)
LATE, HELD = 120, 150


@pytest.mark.parametrize("restart", [True, False], ids=["restart", "original"])
@pytest.mark.parametrize(
    "before", [[HELD, HELD, HELD], [1, 1], [HELD, 1]], ids=["held", "wound back", "both"]
)
def test_what_a_control_shows_until_it_goes_on_decides_nothing(before: list[int], *, restart: bool):
    """It may show for long the line at which it was held, or the first one once it was wound back."""
    restarted = Restarted.of(LONG, LATE)
    locator = fed(Report(0.5, HELD, None), base=Sound(), plan=LONG_PLAN, ahead=0)
    locator.row(1.0, Phase.OFF)
    locator.carries_on(LATE)
    numbers = range(1, 100) if restart else range(LATE, 200)
    for second, named in enumerate([*before, *numbers], 2):
        locator.report(Report(float(second), named, None))
        locator.row(second + 0.5, Phase.CUT)
        place = locator.place(second + 0.5)
        if second > len(before) + 3:
            executed = restarted.original(named) if restart else named
            assert (place.first, place.last) == (executed, executed)


def test_sound_that_is_sure_overrules_what_the_lines_told():
    """A control that looks for the line to go on from names those before it too: then the original is run."""
    sound = Following()
    sound.sure = True
    locator = fed(base=sound, plan=LONG_PLAN, ahead=0)
    locator.row(1.0, Phase.OFF)
    locator.carries_on(LATE)
    for line in range(1, LATE):
        locator.report(Report(1.0 + line / LATE, line, None))
    sound.at_line(LATE)
    locator.row(2.0, Phase.CUT)
    assert locator.place(2.0).file == Restarted.of(LONG, LATE).original(LATE - 1)
    locator.mark(LATE)
    for second, line in enumerate(range(LATE, LATE + 20), 3):
        locator.report(Report(float(second), line, None))
        sound.at_line(line)
        for part in range(4):
            locator.row(second + part / 4, Phase.CUT)
    place = locator.place(second + 0.9)
    assert (place.first, place.last) == (line, line)


def test_n_words_tell_which_of_two_programs_is_run():
    """The line named has its N-word in one of them alone."""
    text = "\n".join(f"N{10 * number} {line}" for number, line in enumerate(SHORT.lines, 1)) + "\n"
    program = read(text, "numbered")
    restarted = Restarted.of(program, RESUME)
    for line, word, meant in ((restarted.head + 3, 160, 16), (49, 490, 49)):
        locator = fed(base=Sound(), plan=plan_of(program), ahead=0)
        locator.row(1.0, Phase.OFF)
        locator.carries_on(RESUME)
        locator.report(Report(2.0, line, word))
        locator.row(2.5, Phase.CUT)
        place = locator.place(2.5)
        assert (place.first, place.last) == (meant, meant)


# Alarms


def test_an_alarm_is_told_its_place_and_where_to_start_again():
    """The place is the onset's; the resume line is where the bit last stood above the work before it."""
    long_since = Report(ALARM.last_good - 0.1, 12, None)
    locator = fed(long_since, Report(8.5, 12, None), Report(9.5, 14, None), ahead=2)
    alarm = locator.complete(ALARM)
    assert alarm.line == Place(12, 110, 10, 12, "lines")
    expected = resume_at(TRAY, 10)
    assert alarm.resume == ResumeLine(expected.file_line, expected.word) == ResumeLine(10, 100)


@given(named=st.integers(1, 16), ahead=st.integers(0, 20))
def test_the_resume_line_is_not_after_the_earliest_line(named: int, ahead: int):
    """Wherever the alarm is, all that may have been spoiled is cut again."""
    alarm = fed(Report(1.0, named, None), ahead=ahead).complete(ALARM)
    assert alarm.resume is not None
    assert alarm.resume.file <= alarm.line.first


def test_what_was_cut_shortly_before_the_onset_is_cut_again():
    """A weak change is noticed late: the restart is found before the line of some seconds earlier."""
    early, late = Report(ALARM.last_good - 0.1, 8, None), Report(8.9, 13, None)
    alarm = fed(early, late, ahead=0).complete(ALARM)
    assert alarm.line == Place(13, 120, 13, 13, "lines")
    expected = resume_at(TRAY, 8)
    assert alarm.resume == ResumeLine(expected.file_line, expected.word)
    assert alarm.resume.file < resume_at(TRAY, 13).file_line


def test_where_no_line_had_come_shortly_before_the_onset_the_programs_clock_goes_back_as_far():
    """A source that was only begun, or was away, does not bring the restart nearer; at any override."""
    lines = TRAY.moves.file_line.tolist()
    begin = TRAY_PLAN.times.begin[lines.index(13)] - 1.5 * (ALARM.onset - ALARM.last_good)
    early = lines[int(np.searchsorted(TRAY_PLAN.times.end, begin, side="right"))]
    alarm = fed(Report(8.9, 13, None), ahead=0).complete(ALARM)
    assert alarm.line == Place(13, 120, 13, 13, "lines")
    assert alarm.resume is not None
    assert alarm.resume.file <= resume_at(TRAY, early).file_line < resume_at(TRAY, 13).file_line


class Unsure(Sound):
    """Sound that is too unsure to tell the place, but tells an alarm's roughly."""

    line, resume = Place(12, None, 5, 14, "sound"), ResumeLine(4, None)

    def complete(self, event: Event) -> Event:
        """Tell it."""
        return replace(event, line=self.line, resume=self.resume) if isinstance(event, Alarm) else event


def test_where_no_line_has_come_an_alarm_is_told_as_by_sound():
    """A source that is silent takes nothing away."""
    for reports in ((), (Report(ALARM.onset + 0.5, 13, None),)):
        alarm = fed(*reports, base=Unsure()).complete(ALARM)
        assert (alarm.line, alarm.resume) == (Unsure.line, Unsure.resume)


def test_what_another_bit_cut_before_is_not_cut_again():
    """A bit that came loose just after its first line is to blame for nothing that the bit before it cut."""
    early, late = Report(ALARM.last_good - 0.1, 6, None), Report(8.9, 15, None)
    alarm = fed(early, late, plan=TWO_BITS_PLAN, ahead=0).complete(ALARM)
    assert alarm.resume is not None
    assert resume_at(TWO_BITS, 6).file_line < 10 <= alarm.resume.file <= 15


def test_where_the_bit_is_in_doubt_the_one_before_is_cut_again_as_well():
    """The onset may lie as many lines back as the controller reads ahead: those are not skipped."""
    alarm = fed(Report(8.9, 15, None), plan=TWO_BITS_PLAN, ahead=7).complete(ALARM)
    assert alarm.resume is not None
    assert alarm.resume.file <= alarm.line.first < 10


NEST = plan_of(
    read(
        "G21 G90\nT1 M6\nS18000 M3\nG0 Z5\nG0 X0 Y0\nM98 P7\nG0 X99\nM98 P7\nG0 X199\nM98 P7\nM30\n"
        "O7\nG91\nG1 Z-8 F300\nX50 F1200\nY50\nX-50\nY-50\nG0 Z8\nG90\nM99\n",
        "nest",
    )
)


class Second(Sound):
    """Sound that tells the second call of NEST."""

    def complete(self, event: Event) -> Event:
        """Carry on with that call."""
        return replace(event, resume=ResumeLine(8, None)) if isinstance(event, Alarm) else event


@pytest.mark.parametrize(("sure", "resume"), [(True, 8), (False, 6)])
def test_which_run_of_a_line_it_was_only_sound_tells(*, sure: bool, resume: int):
    """Where it is foreseen well it carries on with that call; else with the first, for it may be any."""
    sound = Second(heard(17, 16, 17))
    sound.sure = sure
    alarm = fed(Report(8.5, 17, None), base=sound, plan=NEST, ahead=1).complete(ALARM)
    assert alarm.resume.file == resume


def test_where_sound_has_no_line_to_carry_on_from_the_lines_have():
    """Sure of the place, but not of a safe way back: it is the first call again, for it may be any."""
    alarm = fed(Report(8.5, 17, None), base=Sound(heard(17, 16, 17)), plan=NEST, ahead=1).complete(ALARM)
    assert alarm.resume.file == 6


class Spoilt(Sound):
    """Sound that keeps which moves a controller says were spoiled."""

    def spoil(self, moves: NDArray[np.bool_]) -> None:
        """Keep them."""
        self.moves = moves


@pytest.mark.parametrize(
    ("plan", "line", "expected"),
    [
        (TRAY_PLAN, 13, ["part 2"]),
        (TRAY_PLAN, 7, ["part 1"]),
        (NEST, 17, ["part 1", "part 2", "part 3"]),
        (NEST, 7, []),
    ],
    ids=["second part", "first part", "any of three", "between"],
)
def test_what_is_cut_on_the_lines_that_an_alarm_names_is_spoiled(plan: Plan, line: int, expected: list[str]):
    """Whatever the sound thinks of the place."""
    sound = Spoilt()
    alarm = replace(ALARM, cause="stalled")
    long_since = Report(alarm.last_good - 0.1, line, None)
    fed(long_since, Report(7.5, line, None), base=sound, plan=plan, ahead=0).complete(alarm)
    assert [part.name for part in plan.parts if sound.moves[part.moves].any()] == expected


def test_what_is_cut_between_where_it_carries_on_and_the_alarm_is_spoiled():
    """A loose bit may have crept for some seconds; and until the alarm it went on."""
    sound = Spoilt()
    fed(Report(4.5, 7, None), Report(9.9, 13, None), base=sound, ahead=0).complete(ALARM)
    lines = TRAY.moves.file_line
    assert sound.moves[(lines >= 6) & (lines <= 13)].all()
    assert not sound.moves[lines > 13].any()


def test_an_alarm_without_a_program_has_a_line_and_no_resume():
    """Where to start again needs the program."""
    alarm = fed(Report(1.0, 30, None), plan=None).complete(ALARM)
    assert alarm.line == Place(30, None, 10, 30, "lines")
    assert alarm.resume is None


def test_an_alarm_with_no_way_to_restart_is_an_alarm():
    """A program that never stands above the work outside a drilling cycle has no resume line; it is said."""
    drilling = read("G21 G90\nS18000 M3\nG81 X1 Y1 Z-5 R2 F100\nX2\nX3\nX4\nM2\n", "drilling")
    alarm = fed(Report(1.0, 6, None), plan=plan_of(drilling), ahead=0).complete(ALARM)
    assert alarm.line == Place(6, None, 6, 6, "lines")
    assert alarm.resume is None


def test_other_events_pass():
    """What is no alarm has no place."""
    deaf = Deaf(1.0, "zeros")
    assert fed(Report(0.5, 3, None)).complete(deaf) is deaf


# The base


def test_the_base_follows_everything():
    """The sound's own locator is told all rows and states, and asked for context, cutting and verdicts."""
    base = Sound()
    locator = fed(Report(1.0, 5, None), base=base)
    fits = {1: Fit(stands=2.0, bites=4.0)}
    locator.row(0.5, Phase.AIR, -31.5, fits)
    locator.judged("listen")
    assert base.noted == [(0.5, Phase.AIR, -31.5, fits), "listen"]
    assert locator.context == Context(7)
    assert locator.cutting == base.cutting == 0.75
    assert fed(Report(1.0, 5, None)).cutting is None
    assert locator.verdicts(frozenset({1})) == (PartVerdict("[1]", 1, 2, "good"),)


def test_the_base_is_told_where_it_may_be():
    """The moves that a fresh report leaves open; none before the first report, or long after."""
    base = Sound()
    told: list[tuple[int, int] | None] = []
    base.told = told.append
    locator = fed(Report(1.0, 9, None), base=base, ahead=2)
    lines = TRAY.moves.file_line
    for at in (0.5, 1.0, 500.0):
        locator.row(at, Phase.CUT)
    assert [moves and (lines[moves[0]], lines[moves[1]]) for moves in told] == [None, (7, 9), None]


def test_lines_seen_are_those_named_where_sound_knows_none():
    """Without a place by sound, the different lines named up to now are counted."""
    base = Sound()
    locator = fed(Report(1.0, 5, None), Report(2.0, 5, None), Report(3.0, 6, None), base=base)
    seen = []
    for at in (0.5, 1.0, 2.0, 3.5):
        locator.row(at, Phase.CUT)
        seen.append(locator.lines_seen)
    assert seen == [0, 1, 1, 2]
    base.lines_seen = 40
    assert locator.lines_seen == 40


def test_a_day_of_line_numbers_takes_no_more_room_than_an_hour():
    """What was named long ago is forgotten, but for how many lines there were."""
    locator = fed(base=Sound())
    for at in range(40_000):
        locator.report(Report(float(at), 5 + at // 20_000, None))
        locator.row(float(at), Phase.CUT)
    assert len(locator._named) < 5000  # noqa: SLF001 - nothing else shows it
    assert locator.lines_seen == 2
    assert locator.place(39_000.0) is not None


# Reports as they come


WORK = plan_of(
    read(
        "\n".join(
            ["G21 G90", "S18000 M3", "G0 X1 Y1 Z5", "G1 Z-1 F600"]
            + [f"G1 X{1 + line % 2 * 30} F1200" for line in range(60)]
            + ["G0 Z5", "M30"]
        ),
        "back and forth",
    )
)
LAST = len(WORK.program.lines)


@given(
    jumps=st.lists(st.tuples(st.floats(0.0, 3.0), st.integers(-3, 12)), min_size=1, max_size=30),
    ahead=st.integers(0, 25),
    data=st.data(),
)
def test_told_as_they_come_or_in_advance_is_the_same(jumps: list[tuple[float, int]], ahead: int, data):
    """A place does not depend on reports that are still to come: live and replay tell the same."""
    reports, at, line = [], 0.0, 5
    for later, further in jumps:
        at, line = at + later, line + further
        reports.append(Report(at, line, None))
    known, live = fed(*reports, plan=WORK, ahead=ahead), fed(plan=WORK, ahead=ahead)
    waiting = list(reports)
    for step in range(int(2 * at) + 3):
        now = step / 2
        while waiting and waiting[0].at <= now:
            live.report(waiting.pop(0))
        for locator in (known, live):
            locator.row(now, Phase.CUT)
        asked = data.draw(st.floats(0.0, now))
        assert live.place(asked) == known.place(asked)
        assert live.lines_seen == known.lines_seen


_SPOILT = st.sampled_from(["as it is", "missing", "repeated", "another number", "swapped", "no line"])


@given(
    ahead=st.integers(0, 25),
    read_ahead=st.integers(0, 25),
    spoilt=st.lists(_SPOILT, min_size=80, max_size=80),
    restarted=st.integers(5, 60),
)
def test_whatever_happens_to_reports_the_true_line_is_in_the_interval(
    ahead: int, read_ahead: int, spoilt: list[str], restarted: int
):
    """
    Garbled, repeated, swapped, missing reports and a log that starts anew bring nothing down.

    While the line being cut is one of those that may be when the newest report came, the interval holds it,
    and where the lines are told by moment it holds with what was reported since.
    """
    locator = fed(plan=WORK, ahead=ahead)
    lines = [*range(4, restarted), *range(4, LAST + 1)]
    told: list[int] = []
    for index, (line, how) in enumerate(zip(lines, spoilt, strict=False)):
        at = float(index)
        sent = min(line + read_ahead, LAST)
        numbers = {"missing": [], "repeated": [sent, sent], "another number": [(sent * 37) % 99]}.get(
            how, [sent]
        )
        if how == "swapped":
            numbers = [sent, sent - 1]
        for number in numbers:
            locator.report(Report(at, number, None))
            told += [number] if 1 <= number <= LAST else []
        if how == "no line":
            locator.report(Report(at, None, 12345))
        locator.row(at, Phase.CUT)
        place = locator.place(at)
        if told and told[-1] - ahead <= line <= told[-1]:
            assert place is not None
            assert place.first <= line <= place.last


def test_a_report_that_is_swapped_with_the_next_does_not_cut_the_interval_short():
    """Of two reports within a second the higher line may be the one being cut."""
    place = fed(Report(5.0, 12, None), Report(5.1, 11, None), ahead=2).place(5.2)
    assert (place.first, place.last) == (9, 12)


def test_between_two_reports_the_cut_has_gone_on():
    """What is asked of a moment before the newest report may be any line up to that one."""
    locator = fed(Report(1.0, 7, None), Report(3.0, 9, None), ahead=0)
    locator.row(2.9, Phase.CUT)
    assert (locator.place(2.5).first, locator.place(2.5).last) == (7, 7)
    locator.row(3.0, Phase.CUT)
    assert (locator.place(2.5).first, locator.place(2.5).last) == (7, 9)


def executed(plan: Plan) -> list[tuple[float, int]]:
    """When each line begins by the program's clock, and which it is."""
    lines = plan.program.moves.file_line
    begins = np.flatnonzero(np.diff(lines, prepend=-1))
    return [(float(plan.times.begin[move]), int(lines[move])) for move in begins]


@pytest.mark.parametrize("ahead", [1, AHEAD])
@pytest.mark.parametrize("every", [5.0, 12.0])
@pytest.mark.parametrize("how", ["all", "the last"])
def test_where_line_numbers_come_in_bunches_the_interval_goes_on_with_the_cut(
    ahead: int, every: float, how: str
):
    """Held back by whoever sends them, all of them or the last alone: others are cut before they come."""
    cut = executed(WORK)
    held = [(math.ceil(at / every) * every, line) for at, line in cut]
    came = held if how == "all" else list(dict(held).items())
    locator = fed(*(Report(at, line, None) for at, line in came), plan=WORK, ahead=ahead)
    asked = 0
    # What comes first may have been read ahead.
    for now in np.arange(0.0, cut[-1][0], 0.5).tolist():
        locator.row(now, Phase.CUT)
        for at in (now, now - 1.0) if now > 2 * every + 1.0 else ():
            place, line = locator.place(at), [line for begin, line in cut if begin <= at][-1]
            assert place.first <= line <= place.last
            asked += 1
    assert locator.lags
    assert asked > 100


def test_the_base_is_told_how_far_the_cut_may_have_gone_since_a_bunch():
    """Sound is not held back with the line numbers."""
    base, told = Sound(), list[tuple[int, int] | None]()
    base.told = told.append
    locator = fed(*(Report(5.0, line, None) for line in range(10, 14)), base=base, plan=WORK, ahead=2)
    for at in (5.0, 7.0):
        locator.row(at, Phase.CUT)
    lines = WORK.program.moves.file_line
    (first, last), (first_later, last_later) = [tuple(lines[list(moves)]) for moves in told if moves]
    assert (first, last, first_later) == (11, 13, 11)
    begins = {line: at for at, line in executed(WORK)}
    assert begins[last_later] <= begins[14] + 3.0 < begins[last_later + 1]


def test_a_feed_that_stays_out_is_not_believed_for_ever():
    """Long after the last report the interval reaches as far as the cut may have gone; sound tells."""
    late, early = heard(50, 48, 52), heard(11, 10, 12)
    assert fed(Report(1.0, 12, None), base=Sound(late), plan=WORK, ahead=2).place(3.0).last == 12
    silent = fed(Report(1.0, 12, None), plan=WORK, ahead=2)
    assert silent.place(20.0).first == 10
    assert 20 < silent.place(20.0).last < silent.place(60.0).last <= LAST
    assert fed(Report(1.0, 12, None), base=Sound(late), plan=WORK, ahead=2).place(90.0).file == 50
    assert fed(Report(1.0, 12, None), base=Sound(early), plan=WORK, ahead=2).place(90.0).first == 10


def test_without_a_program_a_feed_that_stays_out_leaves_the_place_unknown():
    """Nobody knows how far the cut has gone by then."""
    locator = fed(Report(1.0, 300, None), plan=None)
    assert locator.place(60.0) is not None
    assert locator.place(62.0) is None


def test_lines_ahead_are_counted_in_the_order_of_execution():
    """A controller that reads a subprogram ahead may still be cutting the lines before the call, or after."""
    text = "G21 G90\nS9 M3\nG0 X0 Z5\nG1 Z-1 F100\nM98 P1\nG1 X8\nG0 Z5\nM30\nO1\nG1 X1\nX2\nM99\n"
    plan = plan_of(read(text, "called"))
    place = fed(Report(1.0, 10, None), plan=plan, ahead=1).place(1.0)
    assert (place.first, place.last) == (4, 10)
    place = fed(Report(1.0, 6, None), plan=plan, ahead=2).place(1.0)
    assert (place.first, place.last) == (4, 11)
