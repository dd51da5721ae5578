"""Events as actions get them."""

import json

import pytest

from analysis.events import Alarm, Checked, Deaf, Heard, Place, ResumeLine, StateChange, Summary, to_dict
from monitor.actions.message import message_of, rehearsal

ALARM = Alarm(
    at=185.7,
    onset=184.1,
    cause="loose",
    confidence=0.7,
    because=("half orders rose", "it hisses"),
    score=2.0,
    threshold=1.0,
    line=Place(313, 470, 310, 316, "sound"),
    resume=ResumeLine(293, 450),
)


@pytest.mark.parametrize("event", [ALARM, Deaf(3.5, "silence to the last bit"), Heard(9.0, "sound is back")])
def test_an_event_is_what_json_writes_and_says_it_is_no_test(event: Alarm | Deaf | Heard):
    """The body is the object of the contract with "test": false, the same when it has been through JSON."""
    message = message_of(event)
    assert message is not None
    assert (message.name, message.at) == (to_dict(event)["event"], event.at)
    assert json.loads(message.json) == to_dict(event) | {"test": False}
    assert "\n" not in message.json


def test_an_alarm_is_told_in_words():
    """The title is one line with the likeliest cause; the text says on which line and where to carry on."""
    message = message_of(ALARM)
    assert message is not None
    assert message.title == "3:05 *** ALARM: THE BIT MAY BE LOOSE (70 % sure)"
    assert "line 313 (N470)" in message.text
    assert "Carry on from line 293 (N450)" in message.text


def test_a_bit_in_doubt_from_the_first_second_is_told():
    """As an event of its own, and in words that say what to do; the body is what --json writes."""
    doubt = Checked(
        4.2, "physics", "doubtful", ("half orders stand 9 dB above the most that a tight bit has",)
    )
    message = message_of(doubt)
    assert message is not None
    assert message.name == "doubt"
    assert "IN DOUBT - look at the bit before you go on" in message.title
    assert json.loads(message.json) == to_dict(doubt) | {"test": False}


@pytest.mark.parametrize(
    "event",
    [
        StateChange(1.0, "learn", "a cut began"),
        Summary(9.0, 0, 9.0, 5.0, 0),
        # Beside a good sound a doubt is mostly a tight bit's, and of a loose bit there is an alarm.
        Checked(4.2, "reference", "doubtful", ("half orders rose 3 dB",)),
        Checked(4.2, "reference", "loose", ("half orders rose 9 dB",)),
        Checked(4.2, "before", "tight", ("nothing rose",)),
    ],
)
def test_other_events_are_not_for_actions(event: StateChange | Summary | Checked):
    """States, the summary, and checks that accuse nobody, fire nothing."""
    assert message_of(event) is None


@pytest.mark.parametrize("name", ["alarm", "doubt", "deaf", "heard"])
def test_a_test_says_so_everywhere(name):
    """For people in title and text, for programs in the body, which has every key of a real event."""
    message = rehearsal(name)
    doubt = Checked(0.0, "physics", "doubtful", ("x",))
    real = message_of(
        {"alarm": ALARM, "doubt": doubt, "deaf": Deaf(0.0, "x"), "heard": Heard(0.0, "x")}[name]
    )
    assert real is not None
    assert message.test
    assert message.body["test"] is True
    assert message.body["event"] == {"doubt": "checked"}.get(name, name)
    assert message.body.keys() == real.body.keys()
    assert "TEST" in message.title
    assert "this is a test: nothing was heard" in message.text
