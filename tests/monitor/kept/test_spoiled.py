"""Parts are suspect also by what a person says afterwards, and by alarms of a run that nobody summed up."""

import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from contract import Ended

from analysis.cutting import Bit
from analysis.events import (
    Alarm,
    Checked,
    Event,
    PartVerdict,
    Place,
    ResumeLine,
    StateChange,
    Summary,
    to_dict,
)
from analysis.program import find_parts, read
from monitor.controls import PRESSED
from monitor.journal import Journal, Run, open_run
from monitor.kept.heard import BIT
from monitor.kept.job import bits_to_plain, keep_program, program_of
from monitor.kept.labels import fine, label, missed
from monitor.kept.places import PLACES, Passed, WasCut
from monitor.kept.spoiled import Spell, judged_since, unheard
from monitor.page.plan_svg import plan_view
from monitor.story import tell
from monitor.story.words import to_recut
from monitor.testing import FakeClock

# Four slots apart, six lines each from line 5 on, of which the last one is cut with another bit.
SLOT = "G0 X{0} Y0\nG0 Z5\nG1 Z-3 F300\nG1 Y50 F1200\nG1 Y0\nG0 Z5\n"
PROGRAM = (
    "G21 G90 G54\nT1 M6\nS18000 M3\nG0 Z5\n"
    + "".join(SLOT.format(100 * number) for number in range(3))
    + "M5\nT2 M6\nS18000 M3\nG0 Z5\n"
    + SLOT.format(300)
    + "M30\n"
)
FIRSTS = (5, 11, 17, 27)

# A slot begins every ten seconds; the alarm is about the second one.
PLACED = [
    (10.0 * number + second, FIRSTS[number] + second, 0, 0) for number in range(4) for second in range(6)
]
ALARM = Alarm(
    *(13.5, 13.0, "loose", 0.7, ("it swells",), 20.0, 18.0),
    line=Place(14, None, 13, 14, "sound"),
    resume=ResumeLine(11, None),
)
NOTHING: Mapping[str, Any] = {"kind": "nothing", "of": "alarm", "bit": 1}
TIGHTENED: Mapping[str, Any] = {"kind": "tightened", "bit": 1}
OVER = StateChange(16.0, "listen", "it is good again")

Happens = Event | tuple[float, Mapping[str, Any]]


@dataclass(frozen=True)
class Keeps:
    """Keeps runs of the program, in which parts were found good unless an alarm was about them."""

    home: Path
    clock: FakeClock

    def run(
        self,
        *happens: Happens,
        ended: bool = True,
        placed: bool = True,
        told: Sequence[PartVerdict] | None = None,
        until: float = 35.0,
    ) -> Run:
        """Keep a run of which ``told`` was thought at its end, and which was followed ``until`` then, s."""
        meta = {"bits": bits_to_plain({number: Bit("straight", 6.0, 2) for number in (0, 1, 2)})}
        begun = Journal.create(
            *(self.home, "slots", meta),
            rate=1000,
            columns=("level",),
            keep_sound=False,
            now=self.clock.now,
        )
        with begun as journal:
            keep_program(journal.folder, "slots.ngc", PROGRAM.encode())
            for bit, at in ((1, 0.0), (2, 30.0)):
                journal.event(BIT, at, {"event": BIT, "at": at, "bit": bit})
            if placed:
                at_and_line = [(at, line, line, line) for at, line, _, _ in PLACED if at <= until]
                journal.event(PLACES, 35.0, {"event": PLACES, "at": 35.0, "places": at_and_line})
            for event in happens:
                if isinstance(event, tuple):
                    at, said = event
                    journal.event(PRESSED, at, {"event": PRESSED, "at": at, "line": None, **said})
                else:
                    body = to_dict(event)
                    journal.event(str(body["event"]), event.at, body)
            run = open_run(self.home, journal.id)
            if ended:
                program_kept = program_of(run)
                assert program_kept is not None
                parts = tuple(
                    PartVerdict(part.name, part.first_line, part.last_line, "good")
                    for part in find_parts(program_kept)
                )
                summary = Summary(40.0, 1, 40.0, 30.0, 28, parts if told is None else tuple(told))
                journal.event("summary", 40.0, to_dict(summary))
                journal.close(to_dict(summary), {"baselines": [{"bit": 1}, {"bit": 2}]})
        return open_run(self.home, journal.id)


@pytest.fixture
def keeps(home: Path, clock: FakeClock) -> Keeps:
    """Give what keeps runs."""
    return Keeps(home, clock)


def verdicts(run: Run) -> list[str]:
    """What is thought of the four parts."""
    return [part.verdict for part in tell(run).verdicts]


def test_an_alarm_that_was_one_after_all_makes_suspect_what_the_bit_cut_since(keeps: Keeps):
    """From its resume line on, in the terminal's list as well; what another bit cut is as it was."""
    run = keeps.run(ALARM, (14.0, NOTHING))
    assert verdicts(run) == ["good"] * 4
    label(run, [event.name for event in run.events()].index("alarm"), "loose")
    assert verdicts(run) == ["good", "suspect", "suspect", "good"]


def test_it_is_told_everywhere(keeps: Keeps, chipsong: Callable[..., Ended], tmp_path: Path):
    """In the report, its table, the terminal's list: nothing calls a part good that another calls suspect."""
    run = keeps.run(ALARM, (14.0, NOTHING))
    chipsong("label", run.id, 1, "loose")
    listed = chipsong("runs", run.id).out
    assert (listed.count("SUSPECT"), listed.count(": good")) == (2, 2)
    assert chipsong("report", run.id, "-o", tmp_path / "r.html", "--csv").status == 0
    assert (tmp_path / "r-parts.csv").read_text().count(",suspect") == 2
    told = (tmp_path / "r.html").read_text()
    assert "the alarm about what began at 0:13 was nothing is taken back: it was loose" in told


def test_what_was_missed_is_told_in_the_report_and_spoils_what_the_bit_cut_since(
    keeps: Keeps, chipsong: Callable[..., Ended], tmp_path: Path
):
    """From then on, about; a time at which another bit cuts is that bit's."""
    run = keeps.run()
    chipsong("label", run.id, "--missed", "0:21")
    assert verdicts(run) == ["good", "good", "suspect", "good"]
    chipsong("report", run.id, "-o", tmp_path / "r.html")
    assert "It was loose from 0:21 on, and nobody alarmed" in (tmp_path / "r.html").read_text()
    chipsong("label", run.id, "--missed", "0:21", "--was", "nothing")
    assert verdicts(run) == ["good"] * 4


@pytest.mark.parametrize(
    ("later", "third"),
    [
        ([(16.0, TIGHTENED), Checked(17.0, "before", "tight", ("as before",))], "good"),
        ([(16.0, TIGHTENED), Checked(17.0, "before", "doubtful", ("it rocks",))], "suspect"),
        ([(16.0, {**TIGHTENED, "bit": 2}), Checked(17.0, "before", "tight", ("as before",))], "suspect"),
        ([Checked(17.0, "physics", "tight", ("nothing",))], "suspect"),
    ],
    ids=["tight", "in doubt", "another was tightened", "never tightened"],
)
def test_it_is_over_when_the_bit_was_tightened_and_found_tight(
    keeps: Keeps, later: list[Happens], third: str
):
    """As long as nobody tightened it, it was as it had been, whatever was found beside that."""
    run = keeps.run(*later)
    missed(run, 12.0)
    assert verdicts(run) == ["good", "suspect", third, "good"]


def test_where_places_were_not_kept_all_that_comes_after_is_suspect(keeps: Keeps):
    """Runs of old do not tell when a part was cut: from the resume line on, and all of it after a miss."""
    run = keeps.run(ALARM, (14.0, NOTHING), placed=False)
    label(run, [event.name for event in run.events()].index("alarm"), "loose")
    assert verdicts(run) == ["good", "suspect", "suspect", "good"]
    missed(run, 12.0)
    assert verdicts(run) == ["suspect", "suspect", "suspect", "good"]


def test_where_the_program_is_gone_no_part_stays_good(
    keeps: Keeps, chipsong: Callable[..., Ended], tmp_path: Path
):
    """Nobody knows then what was cut with the bit that was loose: everywhere that is said of all parts."""
    run = keeps.run()
    shutil.rmtree(run.folder / "program")
    assert verdicts(run) == ["good"] * 4
    chipsong("label", run.id, "--missed", "0:21")
    assert verdicts(run) == ["suspect"] * 4
    assert chipsong("runs", run.id).out.count("SUSPECT") == 4
    chipsong("report", run.id, "-o", tmp_path / "r.html", "--csv")
    assert (tmp_path / "r-parts.csv").read_text().count(",suspect") == 4


def test_an_alarm_of_a_run_that_was_broken_off_makes_its_parts_suspect(
    keeps: Keeps, chipsong: Callable[..., Ended]
):
    """As far as it lasted; of all others nobody knows. The lists tell that there was an alarm."""
    lasting = keeps.run(ALARM, ended=False, placed=False)
    assert verdicts(lasting) == ["unheard", "suspect", "unheard", "unheard"]
    assert verdicts(keeps.run(ALARM, ended=False)) == ["unheard", "suspect", "suspect", "unheard"]
    assert verdicts(keeps.run(ALARM, OVER, ended=False)) == ["unheard", "suspect", "unheard", "unheard"]
    assert verdicts(keeps.run(ALARM, (14.0, NOTHING), ended=False)) == ["unheard"] * 4
    assert f"{lasting.id}  slots: not brought to its end, one alarm" in chipsong("runs").out
    told = chipsong("runs", lasting.id).out
    assert "nobody summed up what became of the parts" in told
    assert (told.count("SUSPECT"), told.count("unheard - ")) == (1, 3)


def test_an_alarm_at_an_unknown_place_may_have_spoiled_whatever_nobody_heard(keeps: Keeps):
    """As it is said of parts at the end of a run."""
    lost = replace(ALARM, line=None, resume=None)
    assert verdicts(keeps.run(lost, ended=False, placed=False)) == ["suspect"] * 4


def test_what_is_spoiled_on_a_shared_line_spoils_the_parts_on_both_sides(keeps: Keeps):
    """Panels whose ways coincide there: what a bit cut, and was later said to be loose, is of both."""
    ring = "G0 X{0} Y0\nG1 Z-3 F300\nX{1} F900\nY40\nX{0}\nY0\nG0 Z5\n"
    rings = "".join(ring.format(x, x + 40) for x in (0, 40, 80))
    program = read(f"G21 G90 G54\nS18000 M3\nG0 Z5\n{rings}M30\n")
    was = WasCut(program, find_parts(program), (Passed(10.0, 7, 7, 7),))
    told = [replace(part, verdict="good") for part in unheard(was.parts)]
    at_first_edge = Spell(10.0, 11.0, 0, (7, 7), missed=False, what="loose")
    found = judged_since(keeps.run(), was, told, [at_first_edge]).parts
    assert [part.verdict for part in found] == ["suspect", "suspect", "good"]


def test_parts_that_were_counted_otherwise_have_the_worst_that_was_thought_of_their_lines(
    keeps: Keeps, chipsong: Callable[..., Ended], tmp_path: Path
):
    """By their lines and never by their names, alike in list, table, plan and recut, and that is said."""
    told = [PartVerdict("part 1", 5, 16, "suspect"), PartVerdict("part 2", 17, 22, "good")]
    run = keeps.run(told=told)
    today = ["suspect", "suspect", "good", "unheard"]
    story = tell(run)
    assert [part.verdict for part in story.verdicts] == today
    drawn = plan_view(story)
    assert drawn is not None
    assert [part.verdict for part in drawn.parts] == today
    assert to_recut(story) == ("part 1", "part 2", "part 4")
    listed = chipsong("runs", run.id).out
    assert chipsong("report", run.id, "-o", tmp_path / "r.html", "--csv").status == 0
    assert [line.split(",")[-1] for line in (tmp_path / "r-parts.csv").read_text().splitlines()[1:]] == today
    for text in (listed, (tmp_path / "r.html").read_text()):
        assert "Parts are counted otherwise now" in text
    missed(run, 21.0)
    assert verdicts(run) == ["suspect", "suspect", "suspect", "unheard"]
    same = keeps.run(told=[replace(part, verdict="good") for part in story.verdicts])
    assert tell(same).judged.remarks == ()


SUSPECT = [
    PartVerdict(f"part {number}", first, first + 5, "suspect") for number, first in enumerate(FIRSTS, 1)
]
LISTEN = StateChange(0.0, "listen", "it compares")


def test_where_a_person_says_that_nothing_was_wrong_what_was_heard_is_good(
    keeps: Keeps, chipsong: Callable[..., Ended], tmp_path: Path
):
    """Nothing is to be cut again then, and it is told by whom; where that holds no more it is as before."""
    run = keeps.run(LISTEN, ALARM, told=[*SUSPECT[:3], replace(SUSPECT[3], verdict="unheard")])
    chipsong("label", run.id, "--fine")
    assert verdicts(run) == ["good", "good", "good", "unheard"]
    chipsong("report", run.id, "-o", tmp_path / "r.html")
    report = (tmp_path / "r.html").read_text()
    assert "To measure, or to cut again: <strong>part 4</strong>" in report
    assert '<p class="lead">A person said that nothing was wrong in this run.</p>' in report
    said = "Without that these would be suspect: part 1, part 2, part 3."
    assert said in report
    assert said in chipsong("runs", run.id).out
    chipsong("label", run.id, "--not-fine")
    assert verdicts(run) == ["suspect", "suspect", "suspect", "unheard"]


@pytest.mark.parametrize(
    ("happens", "more", "heard"),
    [
        ([LISTEN], {"until": 22.0}, [True, True, False, False]),
        ([LISTEN, StateChange(9.0, "deaf", "it is muted")], {}, [True, False, False, False]),
        ([StateChange(15.0, "listen", "it compares")], {}, [False, False, True, True]),
        ([LISTEN], {"placed": False}, [False] * 4),
    ],
    ids=["ended in the third", "deaf from the second on", "settled in the second", "a run of old"],
)
def test_what_was_not_heard_all_the_way_is_not_made_good_by_a_word(
    keeps: Keeps, happens: list[Happens], more: dict[str, Any], heard: list[bool]
):
    """That it was suspect does not say that it was heard, nor that it was cut to its end."""
    run = keeps.run(*happens, told=SUSPECT, **more)
    fine(run)
    assert verdicts(run) == ["good" if was else "unheard" for was in heard]
