"""Events as other programs read them: the names are a contract, and nothing is lost on the way back."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.events import (
    Alarm,
    Deaf,
    Event,
    Heard,
    PartVerdict,
    Place,
    ResumeLine,
    StateChange,
    Summary,
    from_dict,
    to_dict,
)

SECONDS = st.floats(0.0, 1e6)
WORDS = st.none() | st.integers(0, 99999)
LINES = st.integers(1, 10**6)
PLACES = st.builds(Place, LINES, WORDS, LINES, LINES, st.sampled_from(["sound", "lines"]))
RESUMES = st.builds(ResumeLine, LINES, WORDS)
STATES = st.sampled_from(["settle", "learn", "listen", "uneasy", "alarm", "deaf"])
CAUSES = st.sampled_from(["loose", "chatter", "broken", "dull", "stalled", "spindle", "unknown"])
PARTS = st.builds(PartVerdict, st.text(), LINES, LINES, st.sampled_from(["good", "suspect", "unheard"]))
EVENTS = st.one_of(
    st.builds(StateChange, SECONDS, STATES, st.text()),
    st.builds(
        Alarm,
        at=SECONDS,
        onset=SECONDS,
        cause=CAUSES,
        confidence=st.floats(0.0, 1.0),
        because=st.lists(st.text()).map(tuple),
        score=SECONDS,
        threshold=SECONDS,
        line=st.none() | PLACES,
        resume=st.none() | RESUMES,
    ),
    st.builds(Deaf, SECONDS, st.text()),
    st.builds(Heard, SECONDS, st.text()),
    st.builds(Summary, SECONDS, LINES, SECONDS, SECONDS, LINES, st.lists(PARTS).map(tuple)),
)


@given(EVENTS)
def test_an_event_comes_back_from_what_was_written(event: Event):
    """Through JSON and back an event is the same, but for digits that were not written."""
    written = to_dict(event)
    back = from_dict(json.loads(json.dumps(written)))
    assert type(back) is type(event)
    assert to_dict(back) == written
    assert from_dict(to_dict(back)) == back
    assert back.at == pytest.approx(event.at, abs=1e-4)


@given(EVENTS)
def test_reading_an_event_leaves_what_was_read_alone(event: Event):
    """What was read can be read again."""
    written = to_dict(event)
    kept = json.dumps(written)
    from_dict(written)
    assert json.dumps(written) == kept


def test_an_alarm_is_written_as_the_contract_has_it():
    """Each name of an alarm stands where other programs look for it."""
    alarm = Alarm(
        10.10004,
        9.75,
        "loose",
        0.704,
        ("a", "b"),
        7.931,
        6.8,
        Place(22, None, 20, 24, "sound"),
        ResumeLine(17, 110),
    )
    assert to_dict(alarm) == {
        "event": "alarm",
        "at": 10.1,
        "onset": 9.75,
        "cause": "loose",
        "confidence": 0.7,
        "because": ["a", "b"],
        "score": 7.93,
        "threshold": 6.8,
        "line": {"file": 22, "word": None, "from": 20, "to": 24, "source": "sound"},
        "resume": {"file": 17, "word": 110},
    }


@pytest.mark.parametrize(
    ("event", "written"),
    [
        (
            StateChange(1.23456, "listen", "why"),
            {"event": "state", "at": 1.2346, "state": "listen", "because": "why"},
        ),
        (Deaf(2.0, "zeros"), {"event": "deaf", "at": 2.0, "because": "zeros"}),
        (Heard(3.5, "usable"), {"event": "heard", "at": 3.5, "because": "usable"}),
        (
            Summary(60.0, 2, 59.117, 31.0, 12, (PartVerdict("tray 1", 10, 40, "suspect"),)),
            {
                "event": "summary",
                "at": 60.0,
                "alarms": 2,
                "heard_s": 59.12,
                "cut_s": 31.0,
                "lines_seen": 12,
                "parts": [{"name": "tray 1", "from": 10, "to": 40, "verdict": "suspect"}],
            },
        ),
        (
            Summary(60.0, 0, 59.0, 31.0, 0, compared_s=28.517),
            {
                "event": "summary",
                "at": 60.0,
                "alarms": 0,
                "heard_s": 59.0,
                "cut_s": 31.0,
                "compared_s": 28.52,
                "lines_seen": 0,
                "parts": [],
            },
        ),
        (
            Summary(0.0, 0, 0.0, 0.0, 0),
            {
                "event": "summary",
                "at": 0.0,
                "alarms": 0,
                "heard_s": 0.0,
                "cut_s": 0.0,
                "lines_seen": 0,
                "parts": [],
            },
        ),
    ],
    ids=["state", "deaf", "heard", "summary", "summary of what was compared", "empty summary"],
)
def test_every_other_event_is_written_as_the_contract_has_it(event: Event, written: dict[str, object]):
    """Each event has the names of the contract, in their order, and no other."""
    assert to_dict(event) == written
    assert list(to_dict(event)) == list(written)


@given(EVENTS)
def test_what_is_written_is_strict_json(event: Event):
    """No number is written that JSON does not know."""
    json.dumps(to_dict(event), allow_nan=False)


def test_an_alarm_without_a_place_says_so():
    """Where the place is unknown, line and resume are there, and null."""
    written = to_dict(Alarm(1.0, 0.5, "unknown", 0.1, (), 1.0, 1.0))
    assert (written["line"], written["resume"]) == (None, None)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({}, "'None' is no event"),
        ({"event": "song", "at": 1.0}, "'song' is no event that is known here: update chipsong"),
        ({"event": ["state"], "at": 1.0}, "is no event"),
        ({"event": "deaf"}, "'deaf' does not hold what it should"),
        ({"event": "deaf", "at": 1.0, "because": "", "colour": 1}, "'deaf' does not hold what it should"),
        ({"event": "alarm", "at": 1.0}, "'alarm' does not hold what it should: 'line'"),
        ({"event": "summary", "at": 1.0, "parts": [{}]}, "'summary' does not hold what it should: 'name'"),
    ],
)
def test_what_is_no_event_is_refused(body: dict[str, object], said: str):
    """An unknown name, or an event that lacks something or has too much, is a ValueError that names it."""
    with pytest.raises(ValueError, match=said):
        from_dict(body)
