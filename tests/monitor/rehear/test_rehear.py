"""Runs heard again: stopped and gone on with, and wherever they lie."""

import json
import shutil
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from contract import Ended

from analysis.events import Summary
from monitor.journal import Run, open_run
from monitor.journal.place import DATABASE
from monitor.journal.schema import connect
from monitor.kept.labels import missed
from monitor.rehear import going_on, rehearing
from monitor.rehear.again import Again, hear_again
from monitor.rehear.ledger import Ledger
from monitor.rehear.rehearing import changes
from monitor.review import events_of

Command = Callable[..., Ended]


@pytest.fixture
def three(kept_run: Run) -> list[str]:
    """Keep three runs, and give their names."""
    for number in (1, 2):
        shutil.copytree(kept_run.folder, kept_run.folder.with_name(f"{kept_run.id}-{number}"))
    return [kept_run.id, f"{kept_run.id}-1", f"{kept_run.id}-2"]


@pytest.fixture
def heard(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Give the names of the runs that are heard again; a run called ``stop`` is stopped by hand."""
    names: list[str] = []

    def hear(run: Run, *judged: object) -> Again:
        if (run.folder / "stop").exists():
            raise KeyboardInterrupt
        names.append(run.id)
        return hear_again(run, *judged)

    monkeypatch.setattr(rehearing, "hear_again", hear)
    return names


def test_work_that_was_stopped_goes_on_where_it_stopped(
    chipsong: Command, three: list[str], heard: list[str], kept_run: Run
):
    """What was done is told again unheard; only the rest is heard, and it says what it says in one go."""
    stop = kept_run.folder.with_name(three[1]) / "stop"
    stop.touch()
    stopped = chipsong("rehear", *three)
    assert stopped.status != 0
    assert "stopped by hand, 1 of 3 done" in stopped.err
    assert heard == three[:1]
    stop.unlink()
    ended = chipsong("rehear", *three)
    assert heard == three
    assert "1 of 3 were heard before" in ended.err
    assert chipsong("rehear", *three, "--afresh").out == ended.out
    assert heard == three * 2


def test_a_run_is_remembered_by_its_whole_name(chipsong: Command, heard: list[str], kept_run: Run):
    """However much of it was typed."""
    first = chipsong("rehear", kept_run.id[:6])
    assert heard == [kept_run.id]
    for name in (kept_run.id[:4], kept_run.id):
        again = chipsong("rehear", name)
        assert (again.out, heard) == (first.out, [kept_run.id])
        assert "1 of 1 were heard before" in again.err


def test_what_follows_from_something_else_is_heard_again(
    chipsong: Command, three: list[str], heard: list[str], home: Path, monkeypatch: pytest.MonkeyPatch
):
    """Another version, a changed shelf, a label on a run: what follows from these is not what is known."""
    chipsong("rehear", *three)
    chipsong("rehear", *three)
    assert len(heard) == 3
    chipsong("label", three[0], "--fine")
    chipsong("rehear", *three)
    assert heard[3:] == three[:1]
    (home / "bits.toml").write_text('[[bit]]\nname = "six"\ndiameter = "6mm"\nflutes = 2\nkind = "up-cut"\n')
    chipsong("rehear", *three)
    monkeypatch.setattr(going_on, "hearing", lambda: "newer")
    chipsong("rehear", *three)
    assert len(heard) == 10
    assert len((home / "ledger.jsonl").read_text().splitlines()) == 10


def test_a_run_that_could_not_be_heard_is_tried_again(chipsong: Command, three: list[str], kept_run: Run):
    """A failure is passed over and told each time, for it may be put right."""
    sound = kept_run.folder.with_name(three[1]) / "sound"
    sound.rename(sound.with_name("elsewhere"))
    for _ in range(2):
        ended = chipsong("rehear", *three)
        assert (ended.status, ended.out.count("all is as it was")) == (1, 2)
        assert f"{three[1]}: passed over" in ended.out
    sound.with_name("elsewhere").rename(sound)
    assert chipsong("rehear", *three).out.count("all is as it was") == 3


def test_another_line_of_an_alarm_is_told(chipsong: Command, kept_run: Run):
    """Where it began and where the cut goes on decide what is cut again: they are compared as its time is."""
    index, alarm = next((i, event) for i, event in enumerate(kept_run.events()) if event.name == "alarm")
    line, resume = alarm.body["line"], alarm.body["resume"]
    other = alarm.body | {"line": line | {"file": 400}, "resume": None}
    with closing(connect(kept_run.folder / DATABASE)) as db:
        db.execute("UPDATE events SET json = ? WHERE id = ?", (json.dumps(other), index + 1))
    told = chipsong("rehear", kept_run.id).out
    assert f"began on line {line['file']}, it was on line 400" in told
    assert f"the cut goes on from line {resume['file']}, it was from no known line" in told


def test_of_a_run_that_was_broken_off_the_parts_are_told(chipsong: Command, kept_run: Run):
    """Nobody had summed up what became of them."""
    with closing(connect(kept_run.folder / DATABASE)) as db:
        db.execute("DELETE FROM meta WHERE key = 'summary'")
        db.execute("DELETE FROM events WHERE name = 'summary'")
    told = chipsong("rehear", kept_run.id).out
    assert "part 1 is suspect: the run was not brought to its end, and it was suspect" in told
    assert "all is as it was" not in told
    with closing(connect(kept_run.folder / DATABASE)) as db:
        db.execute("DELETE FROM events WHERE name = 'alarm'")
    told = chipsong("rehear", kept_run.id).out
    assert "part 1 is suspect: the run was not brought to its end, and nobody had said" in told


@pytest.mark.parametrize("ended", [True, False])
def test_what_a_person_said_of_parts_holds_however_they_are_heard(kept_run: Run, *, ended: bool):
    """Of a run that was broken off as well: no part is good that was cut with a bit said to be loose."""
    missed(kept_run, 0.0)
    end = next(event for event in events_of(kept_run) if isinstance(event, Summary))
    good = tuple(replace(part, verdict="good") for part in end.parts)
    if not ended:
        with closing(connect(kept_run.folder / DATABASE)) as db:
            db.execute("DELETE FROM meta WHERE key = 'summary'")
            db.execute("DELETE FROM events WHERE name = 'summary'")
    run = open_run(kept_run.folder.parents[1], kept_run.id)
    again = Again(events_of(run), replace(end, parts=good), {})
    told = [change for change in changes(run, again) if "part" in change]
    broken_off = ["part 1 is suspect: the run was not brought to its end, and it was suspect"]
    assert told == ([] if ended else broken_off)


def test_of_all_runs_a_damaged_one_is_named(chipsong: Command, three: list[str], kept_run: Run):
    """What cannot be opened is passed over, told, and no success; all others are heard."""
    kept_run.folder.with_name(three[1]).joinpath(DATABASE).write_bytes(b"nothing of ours" * 100)
    ended = chipsong("rehear", "--all")
    assert (ended.status, ended.out.count("all is as it was")) == (1, 2)
    assert f"{three[1]}: passed over" in ended.out
    assert f"run {three[1]} cannot be read" in ended.err


def test_a_ledger_survives_being_cut_off(tmp_path: Path):
    """A line that was being written as the power went counts as none, and spoils none that follows."""
    path = tmp_path / "ledger"
    ledger = Ledger(path)
    ledger.note("one", "a", [1])
    path.write_bytes(path.read_bytes() + b'{"run": "two", "ma')
    assert Ledger(path).found("one", "a") == [1]
    Ledger(path).note("three", "a", [3])
    assert [Ledger(path).found(run, "a") for run in ("one", "two", "three")] == [[1], None, [3]]
    assert Ledger(path).found("one", "b") is None


def test_a_ledger_does_not_grow_for_ever(tmp_path: Path):
    """Lines that newer ones replace are dropped now and then."""
    path = tmp_path / "ledger"
    for _ in range(3):
        ledger = Ledger(path)
        for number in range(150):
            ledger.note("one", str(number), number)
    assert len(path.read_text().splitlines()) <= 301
    assert Ledger(path).found("one", "149") == 149


@pytest.mark.parametrize("kind", ["folder", "file", "memory"])
def test_runs_lie_elsewhere(kind: str, chipsong: Command, three: list[str], home: Path, tmp_path: Path):
    """Runs in another folder, or at an address, tell what they tell here."""
    wanted = chipsong("rehear", "--all", "--json")
    place = tmp_path / "other" / "runs"
    place.parent.mkdir()
    shutil.move(home / "runs", place)
    if kind == "memory":
        fsspec = pytest.importorskip("fsspec")
        memory = fsspec.filesystem("memory")
        memory.put(str(place), "/shop/runs", recursive=True)
        address = "memory://shop/runs"
    else:
        address = f"file://{place}" if kind == "file" else str(place)
    jobs = ("--jobs", 2) if kind == "file" else ()
    ended = chipsong("rehear", "--all", "--json", "--runs", address, *jobs)
    assert ended.status == 0
    told = sorted(json.loads(line)["run"] for line in ended.out.splitlines())
    assert told == sorted(three)
    assert sorted(ended.out.splitlines()) == sorted(wanted.out.splitlines())
    assert "3 of 3 were heard before" in chipsong("rehear", "--all", "--runs", address).err


@pytest.mark.parametrize(
    ("place", "why"),
    [
        ("nowhere", "holds no runs"),
        ("file:///nowhere/at/all", "there is nothing at"),
        ("nonsense://x/y", "cannot be read"),
    ],
)
def test_a_place_without_runs_is_one_line(place: str, why: str, chipsong: Command):
    """What is no place of runs is named, and what to do."""
    ended = chipsong("rehear", "--all", "--runs", place)
    assert (ended.status, ended.out, ended.err.count("\n")) == (1, "", 1)
    assert why in ended.err
