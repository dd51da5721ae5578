"""References from runs that a person accepted, and runs that are heard again."""

import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from datetime import timedelta
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from contract import SHIPPED, Ended, sound

from analysis.events import Alarm, Checked, Deaf, Event, Summary, Tightness, to_dict
from analysis.pace import Learned
from monitor.controls import Controls, Kind, Press
from monitor.journal import Run, open_run, runs
from monitor.journal.place import DATABASE, make_run_folder
from monitor.journal.room import note_begun
from monitor.journal.schema import connect, put_meta
from monitor.kept.keeping import Keep, open_journal
from monitor.kept.labels import labels
from monitor.kept.places import places_of
from monitor.rehear.again import Judged, hear_again
from monitor.setup import Wanted, make_listener, read_program
from monitor.shelf.references import Cutter, Heard, Step, accept_step, note_cutter, read_book
from monitor.sources import Block
from monitor.testing import FakeMicrophone
from monitor.watch import Ears, listen

Command = Callable[..., Ended]
RECORDING, MICROPHONE = Heard("plywood", None), Heard("plywood", "fake microphone")


def program_of(name: str) -> tuple[object, ...]:
    """Return the words that name a shipped program and its bit on the shelf."""
    return "--program", SHIPPED / f"{name}.ngc", "--bit", "comp"


@pytest.fixture
def keep(comp_heard_once: Path, home: Path) -> Callable[[str], str]:
    """Give what keeps one more run of a shipped recording, of a bit on the shelf, and returns its name."""
    shutil.copytree(comp_heard_once, home, ignore=shutil.ignore_patterns("runs", "order.txt"))
    heard = {run.title: run for run in runs(comp_heard_once)}
    minutes = count(1)

    def kept(name: str) -> str:
        run = heard[name]
        started = run.started + timedelta(minutes=next(minutes))
        folder = make_run_folder(home, name, started)
        shutil.copytree(run.folder, folder, dirs_exist_ok=True)
        with closing(connect(folder / DATABASE)) as db:
            put_meta(db, {"started": started.isoformat()})
        note_begun(home, folder.name)
        return folder.name

    return kept


def test_a_reference_is_made_of_accepted_runs_and_can_be_taken_back(
    chipsong: Command, keep: Callable[[str], str], home: Path
):
    """Each step makes a version; an earlier one can be had again, and what is compared says so."""
    first, second = keep("tight_outline"), keep("tight_outline")
    assert "from 1 run" in chipsong("accept", first).out
    assert "version 2\n  plywood, heard by a recording: from 2 runs" in chipsong("accept", second).out
    heard = chipsong("replay", SHIPPED / "tight_outline.flac", *program_of("tight_outline"), "--json")
    (check,) = (event for event in map(json.loads, heard.out.splitlines()) if event["event"] == "checked")
    assert (check["against"], check["verdict"]) == ("reference", "tight")
    assert f"Taken back: run {second}" in chipsong("accept", "--undo").out
    book = read_book(home, "COMP")
    assert [step.run for step in book.accepted()] == [first]
    assert [step.run for step in replace(book, steps=book.steps[:2]).accepted()] == [first, second]
    chipsong("accept", "--undo")
    assert read_book(home, "comp").reference(RECORDING) == (None, "")
    assert chipsong("accept", "--undo").err == "chipsong: no run is accepted\n"


def test_what_was_accepted_last_is_taken_back_whatever_clocks_and_zones_said(
    chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch
):
    """Of two bits the later moment, of one what was said later; what was noted since makes nothing newer."""
    # Nothing was learned in these runs, so their books tell nothing.
    monkeypatch.setattr("monitor.shelf.accepting.book_text", lambda book: book.bit)

    def accepted(bit: str, run: str, at: str) -> None:
        accept_step(home, bit, Step(at, run, RECORDING, {}))

    accepted("comp", "monday", "2026-12-01T14:37:00+09:00")
    accepted("other", "tuesday", "2026-12-01T00:38:00-05:00")
    for last in ("tuesday", "monday"):
        assert f"Taken back: run {last}" in chipsong("accept", "--undo").out
    accepted("comp", "wednesday", "2026-12-02T09:00:00+00:00")
    accepted("comp", "of a clock set back", "2020-01-01T00:00:00+00:00")
    note_cutter(home, "comp", Cutter(6.0, 2))
    for last in ("of a clock set back", "wednesday"):
        assert f"Taken back: run {last}" in chipsong("accept", "--undo").out


def test_a_run_with_an_alarm_is_accepted_only_when_it_was_nothing(
    chipsong: Command, keep: Callable[[str], str], home: Path
):
    """An alarm that nobody called nothing, or a miss, is no tight bit."""
    run = keep("slip_outline")
    refused = chipsong("accept", run)
    assert (refused.status, read_book(home, "comp").steps) == (1, ())
    assert "is not labelled as nothing" in refused.err
    chipsong("label", run, 1, "nothing")
    chipsong("label", run, "--missed", 12)
    assert "said to have been loose from 0:12" in chipsong("accept", run).err
    chipsong("label", run, "--missed", 12, "--was", "nothing")
    assert chipsong("accept", run).status == 0


@pytest.mark.parametrize("labelled", [("--missed", 1), ("--missed", 0), (1, "loose")])
def test_a_run_of_which_a_fault_is_said_later_is_taken_out(
    chipsong: Command, keep: Callable[[str], str], home: Path, labelled: tuple[object, ...]
):
    """Whatever comes first, word that it was loose or that it is accepted: nothing is compared with it."""
    run, tight = keep("slip_outline"), keep("tight_outline")
    chipsong("label", run, 1, "nothing")
    chipsong("accept", run)
    chipsong("accept", tight)
    assert chipsong("label", tight, "--missed", 1, "--was", "nothing").out.count("reference") == 0
    told = chipsong("label", run, *labelled)
    assert told.status == 0
    assert f"comp: run {run} is no part of its reference any more, it" in told.out
    assert [step.run for step in read_book(home, "comp").accepted()] == [tight]
    assert "any more" not in chipsong("label", run, *labelled).out
    chipsong("label", run, 1, "nothing")
    chipsong("label", run, "--fine")
    assert chipsong("accept", run).status == 0
    assert len(read_book(home, "comp").accepted()) == 2


def test_accepting_one_bit_says_nothing_of_the_alarms_of_another(
    chipsong: Command, keep: Callable[[str], str], home: Path
):
    """Where a bit that is not on the shelf cut last, what was said of it and what was not stays so."""
    run = keep("tight_outline")
    alarm = Alarm(100.0, 99.0, "loose", 0.7, ("it swells",), 20.0, 18.0)
    later = [("bit", {"event": "bit", "at": 90.0, "bit": 9}), *[("alarm", to_dict(alarm))] * 2]
    with closing(connect(open_run(home, run).folder / DATABASE)) as db:
        for name, body in later:
            db.execute("INSERT INTO events VALUES (NULL, ?, ?, ?)", (body["at"], name, json.dumps(body)))
    chipsong("label", run, 1, "loose")
    before = labels(open_run(home, run))
    assert list(before.values()) == ["loose"]
    assert chipsong("accept", run).status == 0
    assert labels(open_run(home, run)) == before


@pytest.mark.parametrize("verdict", ["doubtful", "loose"])
def test_a_bit_that_was_in_doubt_is_accepted_only_when_it_was_fine(
    chipsong: Command, keep: Callable[[str], str], home: Path, verdict: Tightness
):
    """What was found in doubt or loose, and not tight after, needs a person's word: it may always be so."""

    def found(run: str, at: float, verdict: Tightness) -> None:
        body = to_dict(Checked(at, "physics", verdict, ("half orders",)))
        with closing(connect(open_run(home, run).folder / DATABASE)) as db:
            db.execute("INSERT INTO events VALUES (NULL, ?, ?, ?)", (at, "checked", json.dumps(body)))

    settled, run = keep("tight_outline"), keep("tight_outline")
    found(settled, 8.0, "doubtful")
    found(settled, 12.0, "tight")
    assert chipsong("accept", settled).status == 0
    found(run, 8.0, verdict)
    assert "it was in doubt at 0:08" in chipsong("accept", run).err
    chipsong("label", run, "--fine")
    assert chipsong("accept", run).status == 0


def test_another_microphone_or_material_is_said_and_not_compared(
    chipsong: Command, keep: Callable[[str], str], home: Path, monkeypatch: pytest.MonkeyPatch
):
    """One line says what is otherwise, and the cut is judged as if there were no reference."""
    run = keep("tight_outline")
    words = program_of("tight_outline")
    plain = chipsong("replay", SHIPPED / "tight_outline.flac", *words, "--json")
    chipsong("accept", run)
    other = chipsong("replay", SHIPPED / "tight_outline.flac", *words, "--json", "--material", "mdf")
    assert other.out == plain.out
    assert "of another material (plywood, heard by a recording)" in other.err
    samples, rate = sound("tight_outline")
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: FakeMicrophone(samples, rate))
    live = chipsong("watch", *words, "--json")
    assert live.out == plain.out
    assert "of another microphone" in live.err
    assert read_book(home, "comp").reference(MICROPHONE)[0] is None


def test_what_is_done_for_one_bit_touches_no_other(chipsong: Command, keep: Callable[[str], str], home: Path):
    """Labels, acceptances and thresholds of a bit leave what is said of another one the same to the byte."""
    heard = ("replay", SHIPPED / "slip_outline.flac", "--program", SHIPPED / "slip_outline.ngc", "--json")
    before = [chipsong(*heard, "--bit", "other").out, read_book(home, "other")]
    tight, slip = keep("tight_outline"), keep("slip_outline")
    chipsong("accept", tight)
    chipsong("label", slip, 1, "nothing")
    chipsong("bits", "change", "comp", "--limit", 3)
    assert [chipsong(*heard, "--bit", "other").out, read_book(home, "other")] == before
    assert chipsong(*heard, "--bit", "comp").out != before[0]


@dataclass
class Rough:
    """A source that loses sound, and a person who speaks; both with the shipped slip."""

    controls: Controls
    rate: int = 0
    name: str = "rough"
    breaks: int = 14
    presses: dict[int, Kind] = field(default_factory=lambda: {10: "nothing", 11: "tightened"})

    def blocks(self) -> Iterator[Block | None]:
        """Give blocks of a second, two of which never come; it may break with an error."""
        samples, self.rate = sound("slip_outline")
        for second in range(14):
            if second == self.breaks:
                raise RuntimeError("it breaks")
            block = samples[second * self.rate : (second + 1) * self.rate]
            if second in {5, 6}:
                yield Block(np.empty(0, np.float32), "it went away", lost=len(block))
            else:
                yield Block(block)
            if second in self.presses:
                self.controls.press(Press(self.presses[second]))


def kept_rough(home: Path, source: Rough, said: list[Event]) -> Run:
    """Hear a rough run, and return what was kept of it."""
    program = SHIPPED / "slip_outline.ngc"
    wanted = Wanted(program=program, speed=18000.0, flutes=2, diameter=6.0, pace=Learned(0.9, 0.8))
    read = read_program(program, pytest.fail)
    source.rate = sound("slip_outline")[1]
    journal = open_journal("rough", wanted, read, source.rate, Keep())
    assert journal is not None
    listener = make_listener(source.rate, read, wanted, home, pytest.fail)
    with suppress(RuntimeError):
        listen(source, listener, Ears(said.append, asked=source.controls.take), journal)
    return open_run(home, journal.id)


@pytest.mark.parametrize("early", [{}, {4: "tightened"}])
def test_a_run_that_is_heard_again_says_the_same(home: Path, early: dict[int, Kind]):
    """Also where sound was lost, and where a person spoke, even between two losses: to the last bit."""
    said = list[Event]()
    source = Rough(Controls(), presses=early | {10: "nothing", 11: "tightened"})
    again = hear_again(kept_rough(home, source, said), Judged())
    assert [event for event in said if not isinstance(event, Summary)] == list(again.events)
    assert said[-1] == again.summary
    assert {type(event).__name__ for event in said} >= {"Deaf", "Heard", "Alarm"}


@pytest.mark.parametrize("breaks", [7, 12])
def test_a_run_that_broke_off_is_heard_again_the_same(home: Path, breaks: int):
    """Sound that was lost is known as such, whenever the run broke off, also if a person spoke meanwhile."""
    said = list[Event]()
    source = Rough(Controls(), breaks=breaks, presses={5: "tightened"})
    again = hear_again(kept_rough(home, source, said), Judged())
    assert said == list(again.events)
    assert any(isinstance(event, Deaf) for event in said)
    assert again.summary.at == breaks


def test_a_run_that_was_stopped_in_a_long_gap_is_heard_again_the_same(home: Path):
    """What never came counts as far as the run went on, whatever is known to have been lost."""
    samples, rate = sound("tight_outline")
    wanted, said, pieces = Wanted(speed=18000.0, flutes=2, diameter=6.0), list[Event](), list[int]()
    journal = open_journal("night", wanted, None, rate, Keep())
    assert journal is not None
    listener = make_listener(rate, None, wanted, home, pytest.fail)
    ears = Ears(said.append, lambda _: pieces.append(1), stop=lambda: len(pieces) == 6)
    with FakeMicrophone(samples, rate, block=rate, lost={2: 300 * rate}) as source:
        listen(source, listener, ears, journal)
    again = hear_again(open_run(home, journal.id), Judged())
    assert [*again.events, again.summary] == said
    assert again.summary.at == 6.0


def test_where_the_cut_was_is_kept_of_a_run_that_broke_off(home: Path):
    """Whoever looks for what was wrong sees where in the program the cut was until then."""
    assert places_of(kept_rough(home, Rough(Controls(), breaks=12), []))[-1].at > 9.0


def test_a_bit_that_is_another_by_now_is_not_compared(chipsong: Command, keep: Callable[[str], str]):
    """With another diameter or number of flutes its reference is void until that is put back; it is said."""
    chipsong("accept", keep("tight_outline"))
    words = ("replay", SHIPPED / "tight_outline.flac", *program_of("tight_outline"), "--json")
    compared = chipsong(*words)
    assert '"against": "reference"' in compared.out
    changed = chipsong("bits", "change", "comp", "--flutes", 3)
    assert (
        "runs with 6 mm and 2 flutes are compared with no more: accept runs of the bit as it is"
        in changed.out
    )
    other = chipsong(*words)
    assert '"against": "reference"' not in other.out
    assert "is of a bit of 6 mm and 2 flutes and is not compared with; accept a run of this one" in other.err
    chipsong("bits", "change", "comp", "--flutes", 2, "--diameter", "0.5in")
    assert '"against": "reference"' not in chipsong(*words).out
    assert "compared with no more" not in chipsong("bits", "change", "comp", "--diameter", "6.0 mm").out
    assert chipsong(*words).out == compared.out


def test_a_job_with_a_far_slower_bit_is_not_compared(
    chipsong: Command, keep: Callable[[str], str], home: Path
):
    """The slowest bit decides how long windows are, and so how far lines stand out: it is said."""
    chipsong("accept", keep("tight_outline"))
    words = ("replay", SHIPPED / "tight_outline.flac", *program_of("tight_outline"), "--json")
    for speed, compared in ((16_500, True), (9000, False)):
        ended = chipsong(*words, "--rpm", speed)
        assert ('"against": "reference"' in ended.out) is compared
        why = f"whose slowest bit turns at 18000 rpm, in this one at {speed}"
        assert (why in ended.err) is not compared
    # As it was kept before, and what two jobs tell stands apart.
    (step,) = read_book(home, "comp").steps
    assert step.heard.slowest == 18_000.0
    assert step.heard.is_like(replace(step.heard, slowest=None))
    accept_step(home, "comp", replace(step, run="another", heard=replace(step.heard, slowest=9000.0)))
    told = chipsong("accept").out
    assert "in jobs down to 18000 rpm: from 1 run" in told
    assert "in jobs down to 9000 rpm: from 1 run" in told


def test_a_run_is_heard_again_as_the_bit_was_then(chipsong: Command, keep: Callable[[str], str], home: Path):
    """What was heard of a bit before it was another is compared with what was accepted of it then."""
    accepted = keep("tight_outline")
    chipsong("accept", accepted)
    chipsong("replay", SHIPPED / "tight_outline.flac", *program_of("tight_outline"), "--keep")
    (run,) = (kept.id for kept in runs(home) if kept.id != accepted)
    chipsong("bits", "change", "comp", "--flutes", 3)
    assert chipsong("rehear", run).out == f"{run}: all is as it was\n"
    chipsong("bits", "change", "comp", "--flutes", 2)
    chipsong("accept", run)
    assert len(read_book(home, "comp").groups()) == 1


def test_references_of_old_know_no_figures_and_get_them_before_they_change(
    chipsong: Command, keep: Callable[[str], str], home: Path
):
    """An older version did not keep what the bit was: it counts as what the shelf said until now."""
    chipsong("accept", keep("tight_outline"))
    path = home / "references" / "comp.json"
    told = json.loads(path.read_text())
    for step in told["steps"]:
        del step["diameter"], step["flutes"]
    path.write_text(json.dumps(told))
    words = ("replay", SHIPPED / "tight_outline.flac", *program_of("tight_outline"), "--json")
    assert '"against": "reference"' in chipsong(*words).out
    changed = chipsong("bits", "change", "comp", "--diameter", "12mm")
    assert "runs with 6 mm and 2 flutes are compared with no more" in changed.out
    assert '"against": "reference"' not in chipsong(*words).out


def test_a_damaged_run_does_not_hide_a_bit(chipsong: Command, keep: Callable[[str], str], home: Path):
    """What is known of a bit is told without the run that cannot be read, which is named."""
    _, broken = keep("tight_outline"), keep("tight_outline")
    before = chipsong("bits", "show", "comp").out
    with closing(connect(open_run(home, broken).folder / DATABASE)) as db:
        db.execute("UPDATE events SET json = '{'")
        db.execute("DELETE FROM meta WHERE key IN ('summary', 'learned')")
    ended = chipsong("bits", "show", "comp")
    assert ended.status == 0
    assert f"{broken} is passed over: " in ended.err
    assert ended.err.count("\n") == 1
    assert ended.out != before


def test_a_damaged_reference_is_one_line(chipsong: Command, home: Path):
    """A file that is no reference is named, wherever it is needed, and left as it is."""
    (home / "references").mkdir(parents=True)
    (home / "references" / "comp.json").write_text('{"bit": "comp", "steps": [3]}')
    for words in (("accept",), ("accept", "--undo")):
        ended = chipsong(*words)
        assert (ended.status, ended.out, ended.err.count("\n")) == (1, "", 1)
        assert "comp.json is no reference that can be read" in ended.err


def test_an_update_that_may_decide_otherwise_is_said(
    chipsong: Command, keep: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
):
    """Runs that another version heard are counted in the list, and hearing them again is offered."""
    run = keep("tight_outline")
    assert "another version" not in chipsong("runs").out
    for place in ("monitor.review.hearing", "monitor.rehear.rehearing.hearing"):
        monkeypatch.setattr(place, lambda: "newer")
    assert "1 of these were heard by another version" in chipsong("runs").out
    assert chipsong("rehear", run).out == f"{run}: all is as it was (heard by another version before)\n"


def test_what_changed_is_listed_and_a_bad_run_passed_over(
    chipsong: Command, keep: Callable[[str], str], home: Path
):
    """With today's thresholds an alarm may come later; a run without sound is told and the rest goes on."""
    slip, quiet = keep("slip_outline"), keep("tight_outline")
    assert chipsong("rehear", slip, quiet, "--jobs", 2).out == (
        f"{slip}: all is as it was\n{quiet}: all is as it was\n"
    )
    for path in (open_run(home, quiet).folder / "sound").iterdir():
        path.unlink()
    chipsong("bits", "change", "comp", "--limit", 5)
    ended = chipsong("rehear", "--all")
    assert ended.status == 1
    assert f"{quiet}: passed over\n{slip}:\n  the alarm at 0:09 comes 0.4 s later\n" in ended.out
    assert f"{quiet} cannot be heard again" in ended.err
