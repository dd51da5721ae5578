"""Labels: what a person said of an alarm is kept with the run, and the last word holds."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from contract import Ended
from journal_bench import NOISE, RATE, begin

from analysis.errors import JournalError
from analysis.events import Alarm, Checked, Event, StateChange, to_dict
from monitor.controls import PRESSED
from monitor.journal import Run, open_run
from monitor.journal.place import DATABASE
from monitor.journal.schema import connect
from monitor.kept.labels import LABEL, Label, fine, is_labelled, label, labels, missed, misses, not_fine
from monitor.review import events_of, run_text
from monitor.testing import FakeClock

EVENTS = (StateChange(0.5, "learn", "learning"), Alarm(2.0, 1.5, "loose", 0.7, ("it swells",), 20.0, 18.0))


@pytest.fixture
def run(home: Path, clock: FakeClock) -> Run:
    """Give a run with a change of state and an alarm."""
    with begin(home, clock) as journal:
        for event in EVENTS:
            body = to_dict(event)
            journal.event(str(body["event"]), event.at, body)
        journal.close({"at": 3.0, "alarms": 1})
    return open_run(home, journal.id)


def test_the_last_label_of_an_alarm_holds(run: Run):
    """A label can be changed, and hides nothing of what was heard."""
    assert labels(run) == {}
    label(run, 1, "nothing")
    label(run, 1, "loose")
    assert labels(run) == {1: "loose"}
    assert events_of(run) == EVENTS
    assert "labelled: loose" in run_text(run.id)


@pytest.mark.parametrize(("index", "what"), [(0, "loose"), (2, "loose"), (-1, "loose"), (1, "fine")])
def test_only_an_alarm_gets_a_label_and_only_a_known_one(run: Run, index: int, what: str):
    """What is no alarm, or no label, is refused in one line and leaves the run as it was."""
    with pytest.raises(JournalError, match="is no"):
        label(run, index, what)  # type: ignore[arg-type]
    assert labels(run) == {}


@pytest.mark.parametrize(("held", "advice"), [(True, "try again"), (False, "let this user write")])
def test_a_label_that_cannot_be_kept_says_what_helps(
    run: Run, monkeypatch: pytest.MonkeyPatch, *, held: bool, advice: str
):
    """To try again does where another program has the run in hand, and not where it is read-only."""
    path = run.folder / DATABASE
    if held:
        monkeypatch.setattr("monitor.kept.labels.connect", lambda path: sqlite3.connect(path, timeout=0.01))
    else:
        monkeypatch.setattr(
            "monitor.kept.labels.connect", lambda path: sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)
        )
    with closing(connect(path)) as other:
        if held:
            other.execute("BEGIN IMMEDIATE")
        with pytest.raises(JournalError, match=rf"the label cannot be kept in run .*: {advice}"):
            label(run, 1, "nothing")


def test_what_was_missed_is_said_and_taken_back(run: Run):
    """It was loose from here: kept beside the labels of alarms, until it is taken back."""
    missed(run, 2.5)
    missed(run, 0.5, "chatter")
    missed(run, 0.5, "nothing")
    assert (misses(run), labels(run)) == ({2.5: "loose"}, {})
    assert "missed, from here on it was: loose" in run_text(run.id)
    with pytest.raises(JournalError, match=r"3\.5 s is not in run"):
        missed(run, 3.5)


def test_what_was_missed_is_taken_back_as_it_is_listed(run: Run, chipsong: Callable[..., Ended]):
    """It is listed in whole seconds; where nothing is near the moment it is refused, with what there is."""
    missed(run, 1.5)
    assert "0:01  missed: loose" in chipsong("label", run.id).out
    refused = chipsong("label", run.id, "--missed", "0:03", "--was", "nothing")
    assert refused.status == 1
    assert "nothing is said to have been missed from 0:03 on" in refused.err
    assert "that is said from 0:01 on" in refused.err
    assert "missed" not in chipsong("label", run.id, "--missed", "0:01", "--was", "nothing").out
    assert misses(run) == {}
    told = run_text(run.id)
    assert told.index("missed, from here on it was: loose") < told.index("missed from here on was taken back")


@pytest.mark.parametrize("keep_sound", [True, False])
def test_what_was_missed_may_be_said_of_a_run_that_broke_off(home: Path, clock: FakeClock, keep_sound: bool):
    """Such a run is as long as what was kept of it, though it be without sound."""
    with begin(home, clock, keep_sound=keep_sound) as journal:
        journal.sound(NOISE[:RATE])
        journal.rows([0.5, 100.0], [[1, 2], [3, 4]])
    run = open_run(home, journal.id)
    missed(run, 50.0)
    assert misses(run) == {50.0: "loose"}
    with pytest.raises(JournalError, match=r"101 s is not in run .*: it is 100\.0 s long"):
        missed(run, 101.0)


@pytest.mark.parametrize(
    ("later", "labelled"),
    [
        ([{}], {0: "nothing"}),
        ([{"of": "alarm"}], {0: "nothing"}),
        ([StateChange(3.0, "deaf", "it is muted"), {}], {0: "nothing"}),
        ([{"of": "doubt"}], {}),
        ([{"kind": "tightened"}, {}], {}),
        ([Checked(5.0, "before", "tight", ("as before",)), {}], {}),
        ([StateChange(5.0, "listen", "it is good again"), {}], {}),
        ([StateChange(5.0, "listen", "it is good again"), {"of": "alarm"}], {0: "nothing"}),
        ([StateChange(5.0, "listen", "it is good again"), {"of": "doubt"}], {}),
    ],
    ids=[
        "old",
        "of the alarm",
        "while deaf",
        "of a doubt",
        "tightened",
        "found tight",
        "over",
        "of one that is over",
        "of a later doubt",
    ],
)
def test_what_was_nothing_while_it_was_heard_labels_the_last_alarm(
    home: Path, clock: FakeClock, later: list[Event | dict[str, str]], labelled: dict[int, Label]
):
    """A doubt that comes later is none of the alarm, whether the run tells which was meant or is of old."""
    with begin(home, clock) as journal:
        for event in (EVENTS[1], *later):
            body = (
                {"event": PRESSED, "at": 6.0, "kind": "nothing"} | event
                if isinstance(event, dict)
                else to_dict(event)
            )
            journal.event(str(body["event"]), float(str(body["at"])), body)
    assert labels(open_run(home, journal.id)) == labelled


def test_a_run_is_labelled_when_all_of_its_alarms_are(run: Run):
    """A miss alone leaves an alarm open; that all was fine answers everything."""
    missed(run, 2.5)
    assert not is_labelled(run)
    fine(run)
    assert is_labelled(run)
    assert (misses(run), labels(run)) == ({}, {1: "nothing"})


def test_what_was_taken_back_labels_no_run(home: Path, clock: FakeClock):
    """A miss said of the wrong run leaves it as if nobody had said anything."""
    with begin(home, clock) as journal:
        journal.close({"at": 3.0, "alarms": 0})
    run = open_run(home, journal.id)
    missed(run, 2.5)
    assert is_labelled(run)
    missed(run, 2.5, "nothing")
    assert not is_labelled(run)


def test_that_all_was_fine_takes_no_label_back(run: Run, chipsong: Callable[..., Ended]):
    """An alarm that a person called loose stays so; what to do if it was nothing is said."""
    label(run, 1, "loose")
    refused = chipsong("label", run.id, "--fine")
    assert refused.status == 1
    assert "alarm 1 of run" in refused.err
    assert f"is labelled loose: if it was nothing after all, say `chipsong label {run.id} 1 nothing`" in (
        refused.err
    )
    assert labels(run) == {1: "loose"}
    assert "nothing was wrong" not in run_text(run.id)
    chipsong("label", run.id, 1, "nothing")
    assert chipsong("label", run.id, "--fine").status == 0


def test_that_all_was_fine_can_be_taken_back(run: Run, chipsong: Callable[..., Ended]):
    """What was said of alarms and misses before it holds again, and what was said since it still does."""
    missed(run, 2.5)
    assert chipsong("label", run.id, "--fine").status == 0
    assert "nothing was wrong" not in chipsong("label", run.id, "--not-fine").out
    assert (labels(run), misses(run)) == ({}, {2.5: "loose"})
    assert "that nothing was wrong in the run was taken back" in run_text(run.id)
    fine(run)
    label(run, 1, "nothing")
    not_fine(run)
    assert (labels(run), misses(run)) == ({1: "nothing"}, {2.5: "loose"})
    refused = chipsong("label", run.id, "--not-fine")
    assert (refused.status, "nobody said of run" in refused.err) == (1, True)


def test_that_all_was_fine_is_listed_as_long_as_it_holds(run: Run, chipsong: Callable[..., Ended]):
    """It is told later, too, and no more once something else is said of the run."""
    fine_too = "     nothing was wrong in it\n"
    assert chipsong("label", run.id, 1, "nothing").out.count(fine_too) == 0
    assert chipsong("label", run.id, "--fine").out.endswith(fine_too)
    assert chipsong("label", run.id).out.endswith(fine_too)
    assert fine_too not in chipsong("label", run.id, "--missed", 1).out
    assert fine_too in chipsong("label", run.id, "--missed", 1, "--was", "nothing").out
    assert fine_too not in chipsong("label", run.id, 1, "loose").out


def test_of_a_run_that_is_being_heard_nobody_knows_that_all_was_fine(
    home: Path, clock: FakeClock, chipsong: Callable[..., Ended]
):
    """It can be neither called so nor accepted, for an alarm may come, which that would not be said of."""
    with begin(home, clock) as journal:
        for words in (("label", journal.id, "--fine"), ("accept", journal.id)):
            refused = chipsong(*words)
            assert (refused.status, refused.out) == (1, "")
            assert f"run {journal.id} is being heard now" in refused.err
        journal.event(LABEL, 0.0, {"event": LABEL, "at": 0.0, "of": "run", "what": "nothing"})
        assert "nothing was wrong in it" in chipsong("label", journal.id).out
        journal.event("alarm", 2.0, to_dict(EVENTS[1]))
        journal.close({"at": 3.0, "alarms": 1})
    listed = chipsong("label", journal.id).out
    assert "no label yet" in listed
    assert "nothing was wrong in it" not in listed


def test_the_command(run: Run, chipsong: Callable[..., Ended]):
    """Alarms are numbered from 1; what is no alarm of the run is refused in one line."""
    assert "1      0:02  no label yet" in chipsong("label", run.id).out
    assert "1      0:02  loose" in chipsong("label", run.id, 1, "loose").out
    assert "0:01  missed: dull" in chipsong("label", run.id, "--missed", 1.5, "--was", "dull").out
    assert chipsong("label", run.id, 2, "loose").err.startswith("chipsong: there is no alarm 2 in run")
    for words in ((1,), (1, "soft"), ("--was", "dull"), (1, "loose", "--fine")):
        assert chipsong("label", run.id, *words).status == 2
