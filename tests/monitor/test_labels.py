"""Labels: what a person said of an alarm is kept with the run, and the last word holds."""

from pathlib import Path

import pytest
from journal_bench import begin

from analysis.errors import JournalError
from analysis.events import Alarm, StateChange, to_dict
from monitor.journal import Run, open_run
from monitor.labels import label, labels
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
