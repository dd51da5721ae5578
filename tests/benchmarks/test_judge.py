"""Which alarms count."""

from dataclasses import replace

import pytest
from hearing.judge import first_right, verdict
from hearing.outcome import Fate, Outcome, Said

FATE = Fate("loose", onset=50.0, line=7, half=80.0, louder=1.0, stands=9.0)


@pytest.mark.parametrize(
    ("moments", "within", "expected"),
    [
        ([50.4, 52.0], 10.0, 50.4),
        ([49.9], 10.0, None),
        ([49.9, 50.0], 10.0, 50.0),
        ([60.0], 10.0, 60.0),
        ([60.1], 10.0, None),
        ([79.0], "half", 79.0),
        ([81.0], "half", None),
        ([], 10.0, None),
    ],
)
def test_first_right(moments, within, expected):
    """The first alarm counts from the onset on, and until the time that the kind of fault allows."""
    assert first_right(moments, FATE, within) == expected


def test_verdict():
    """The delay is from the true onset to the alarm, and the alarm's own words go with it."""
    early, right = Said(20.0, 19.0, "unknown"), Said(50.6, 49.8, "loose")
    run = Outcome("a", 1, 51, said=(early, right), fate=FATE)
    found = verdict(run, 10.0)
    assert found.caught
    assert found.delay == pytest.approx(0.6)
    assert found.said == right


def test_an_alarm_that_lasts_hides_the_fault():
    """A false alarm that is still going on when the fault comes leaves the fault missed."""
    run = Outcome("a", 1, 51, said=(Said(45.0, 44.0, "loose"),), fate=FATE)
    assert not verdict(run, 10.0).caught


def test_outcomes_come_back():
    """What is written into a line of JSON is read back as it was."""
    run = Outcome("a", 1, 51, 3.0, 2.0, 1, (Said(1.0, 0.5, "loose", (3, 4), 2),), FATE)
    assert Outcome.from_json(run.to_json()) == run
    bare = replace(run, said=(Said(1.0, 0.5, "loose"),), fate=None, fault=None, failed="why")
    assert Outcome.from_json(bare.to_json()) == bare
