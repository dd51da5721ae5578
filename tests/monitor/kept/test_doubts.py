"""A doubt of a bit holds until it is settled, whatever becomes of other bits."""

from pathlib import Path
from typing import Any

import pytest
from journal_bench import begin

from analysis.events import Alarm, Cause, Checked, Event, Tightness, to_dict
from monitor.controls import PRESSED
from monitor.journal import Run, open_run
from monitor.kept.doubts import doubts
from monitor.kept.heard import BIT
from monitor.kept.labelling import label_text
from monitor.kept.labels import LABEL, fine, label, missed, not_fine
from monitor.kept.spoiled import spells
from monitor.shelf.accepting import withdraw
from monitor.testing import FakeClock


def found(at: float, verdict: Tightness, against: Any = "physics") -> Event:
    """A check."""
    return Checked(at, against, verdict, ("why",))


@pytest.mark.parametrize(
    ("later", "left"),
    [
        ((), {1: 8.0}),
        ((found(12.0, "tight"),), {}),
        ((found(30.0, "tight"),), {1: 8.0}),
        ((found(30.0, "doubtful"),), {1: 8.0, 2: 30.0}),
        ((found(30.0, "doubtful", "reference"),), {1: 8.0}),
        ((12.0,), {}),
        ((30.0,), {1: 8.0}),
    ],
    ids=["never", "tight", "another is tight", "both", "nothing is sure", "pressed", "pressed of another"],
)
def test_what_is_left_of_a_doubt(
    home: Path, clock: FakeClock, later: tuple[Event | float, ...], left: dict[int, float]
):
    """The first bit, in doubt at 8 s, cuts until 20 s, then the second one; a number is a press of `n`."""
    with begin(home, clock) as journal:
        for bit, at in ((1, 0.0), (2, 20.0)):
            journal.event(BIT, at, {"event": BIT, "at": at, "bit": bit})
        for event in (found(8.0, "doubtful"), *later):
            if isinstance(event, float):
                journal.event(PRESSED, event, {"event": PRESSED, "at": event, "kind": "nothing"})
            else:
                journal.event("checked", event.at, to_dict(event))
    run = open_run(home, journal.id)
    assert doubts(run) == left
    fine(run)
    assert doubts(run) == {}


def test_what_an_alarm_was_settles_no_doubt(home: Path, clock: FakeClock):
    """Neither of another bit nor of the same one: only that nothing was wrong in the whole run does."""
    alarm = Alarm(12.0, 11.0, "loose", 0.7, ("it swells",), 20.0, 18.0)
    with begin(home, clock) as journal:
        for event in (alarm, found(30.0, "doubtful", "before")):
            body = to_dict(event)
            journal.event(str(body["event"]), event.at, body)
    run = open_run(home, journal.id)
    label(run, 0, "nothing")
    assert doubts(run) == {0: 30.0}
    fine(run)
    assert doubts(run) == {}


def test_a_doubt_that_was_settled_for_a_run_comes_back_with_what_is_said_since(home: Path, clock: FakeClock):
    """That something was missed after all speaks against it, and it can be taken back."""
    with begin(home, clock) as journal:
        journal.event("checked", 8.0, to_dict(found(8.0, "doubtful")))
        journal.close({"at": 20.0, "alarms": 0})
    run = open_run(home, journal.id)
    fine(run)
    missed(run, 5.0)
    assert doubts(run) == {0: 8.0}
    missed(run, 5.0, "nothing")
    assert doubts(run) == {}
    not_fine(run)
    assert doubts(run) == {0: 8.0}


def test_a_press_is_of_the_bit_that_it_names(home: Path, clock: FakeClock):
    """While the spindle stands the place may have moved on to the next bit, which was not meant."""
    with begin(home, clock) as journal:
        for bit, at in ((1, 0.0), (2, 20.0)):
            journal.event(BIT, at, {"event": BIT, "at": at, "bit": bit})
        for check in (found(8.0, "doubtful"), found(25.0, "doubtful")):
            journal.event("checked", check.at, to_dict(check))
        journal.event(
            PRESSED, 26.0, {"event": PRESSED, "at": 26.0, "kind": "nothing", "of": "alarm", "bit": 1}
        )
    assert doubts(open_run(home, journal.id)) == {2: 25.0}


@pytest.mark.parametrize(("cause", "left"), [("loose", {}), ("unknown", {}), ("stalled", {0: 8.0})])
def test_that_another_fault_was_nothing_settles_no_doubt(
    home: Path, clock: FakeClock, cause: Cause, left: dict[int, float]
):
    """Who holds the feed was not asked whether the bit is tight."""
    alarm = Alarm(12.0, 11.0, cause, 0.7, ("why",), 20.0, 18.0)
    with begin(home, clock) as journal:
        for event in (found(8.0, "doubtful"), alarm):
            body = to_dict(event)
            journal.event(str(body["event"]), event.at, body)
        press = {"event": PRESSED, "at": 13.0, "kind": "nothing", "of": "alarm", "bit": 0}
        journal.event(PRESSED, 13.0, press)
    assert doubts(open_run(home, journal.id)) == left


def test_a_run_is_read_as_often_however_much_was_said_in_it(
    home: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
):
    """The events of hours are not read anew for each of them, nor for each alarm, label and fault missed."""
    reads = []
    read = Run.events
    monkeypatch.setattr(Run, "events", lambda run: reads.append(1) or read(run))
    took = []
    for many in (2, 40):
        with begin(home, clock) as journal:
            for at in map(float, range(many)):
                alarm = Alarm(at, at, "loose", 0.7, ("it swells",), 20.0, 18.0)
                label = {"event": LABEL, "at": at, "of": "missed", "what": "loose"}
                check = to_dict(found(at, "doubtful"))
                for body in (to_dict(alarm), label, check):
                    journal.event(str(body["event"]), at, body)
        run = open_run(home, journal.id)
        reads.clear()
        assert doubts(run) == {0: many - 1.0}
        assert len(spells(run)) == 2 * many
        withdraw(home, run)
        label_text(run.id)
        took.append(len(reads))
    assert took[0] == took[1] > 0
