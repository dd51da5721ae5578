"""An event as the actions get it: for people in words, for programs as an object."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from analysis.events import Alarm, Deaf, Event, Heard, to_dict
from monitor.words import event_text

Name = Literal["alarm", "deaf", "heard"]

_A_TEST = "this is a test: nothing was heard, nothing is wrong"


@dataclass(frozen=True)
class Message:
    """
    An event that actions fire for.

    Attributes
    ----------
    name
        Which kind of event.
    at
        s from the first sample of the run.
    title
        One line for people.
    text
        All of it for people.
    body
        The object that ``--json`` writes for it, and ``test``.
    test
        Whether it only says that this is a test.
    """

    name: Name
    at: float
    title: str
    text: str
    body: Mapping[str, object]
    test: bool = False

    @property
    def json(self) -> str:
        """The object as one line of JSON."""
        return json.dumps(self.body)


def message_of(event: Event) -> Message | None:
    """Return an event as actions get it; ``None`` for one that none fires for."""
    if not isinstance(event, Alarm | Deaf | Heard):
        return None
    text = event_text(event).strip("\n")
    title = " ".join(text.splitlines()[0].split())
    return Message(_name(event), event.at, title, text, to_dict(event) | {"test": False})


def rehearsal(name: Name) -> Message:
    """Return an event of this name that says it is a test, with every key that a real one has."""
    event = _TESTS[name]
    title = f"TEST of what happens at '{name}'"
    return Message(name, event.at, title, f"{title}: {_A_TEST}.", to_dict(event) | {"test": True}, test=True)


def _name(event: Alarm | Deaf | Heard) -> Name:
    match event:
        case Alarm():
            return "alarm"
        case Deaf():
            return "deaf"
        case Heard():
            return "heard"


_TESTS: Mapping[Name, Alarm | Deaf | Heard] = {
    "alarm": Alarm(0.0, 0.0, "unknown", 0.0, (_A_TEST,), score=1.0, threshold=1.0),
    "deaf": Deaf(0.0, _A_TEST),
    "heard": Heard(0.0, _A_TEST),
}
