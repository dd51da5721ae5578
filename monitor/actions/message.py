"""An event as the actions get it: for people in words, for programs as an object."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from analysis.events import Alarm, Checked, Deaf, Event, Heard, to_dict
from monitor.words import event_text

Name = Literal["alarm", "doubt", "deaf", "heard"]
NAMES: tuple[Name, ...] = get_args(Name)
"""At what actions fire, the most urgent first."""

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
    name = _name(event)
    if name is None:
        return None
    text = event_text(event).strip("\n")
    title = " ".join(text.splitlines()[0].split())
    return Message(name, event.at, title, text, to_dict(event) | {"test": False})


def rehearsal(name: Name) -> Message:
    """Return an event of this name that says it is a test, with every key that a real one has."""
    event = _TESTS[name]
    title = f"TEST of what happens at '{name}'"
    return Message(name, event.at, title, f"{title}: {_A_TEST}.", to_dict(event) | {"test": True}, test=True)


def _name(event: Event) -> Name | None:
    match event:
        case Alarm():
            return "alarm"
        # A bit that is found loose is an alarm of its own.
        case Checked(verdict="doubtful") if event.accuses:
            return "doubt"
        case Deaf():
            return "deaf"
        case Heard():
            return "heard"
        case _:
            return None


_TESTS: Mapping[Name, Event] = {
    "alarm": Alarm(0.0, 0.0, "unknown", 0.0, (_A_TEST,), score=1.0, threshold=1.0),
    "doubt": Checked(0.0, "physics", "doubtful", (_A_TEST,)),
    "deaf": Deaf(0.0, _A_TEST),
    "heard": Heard(0.0, _A_TEST),
}
