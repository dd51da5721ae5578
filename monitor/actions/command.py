"""A command of the user's."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from monitor.actions.child import Child
from monitor.actions.message import Message


@dataclass(frozen=True)
class Command:
    """
    Starts a program, which gets the event as JSON on its standard input, and a little in its environment.

    Attributes
    ----------
    run
        The program and its arguments; no shell reads them.
    """

    acts: ClassVar[bool] = True

    run: tuple[str, ...]

    def describe(self) -> str:
        """Return which program; its arguments may hold what is nobody's business."""
        return f"command: {self.run[0]}"

    def prepare(self) -> None:
        """Load nothing."""

    def close(self) -> None:
        """Nothing was got."""

    def fire(self, message: Message, limit: float) -> str:
        """Run it to its end; when it takes too long it is ended, and all that it started."""
        said = Child(self.run, environment(message)).finish(message.json + "\n", limit)
        return f"ended well: {said}" if said else "ended well"


def environment(message: Message) -> Mapping[str, str]:
    """Return what a command gets in its environment, besides what is there already."""
    variables = {
        "CHIPSONG_EVENT": message.name,
        "CHIPSONG_AT": f"{message.at:.3f}",
        "CHIPSONG_TITLE": message.title,
        "CHIPSONG_TEXT": message.text,
        "CHIPSONG_TEST": "1" if message.test else "0",
    }
    for name in ("line", "resume"):
        place = message.body.get(name)
        if isinstance(place, Mapping):
            variables[f"CHIPSONG_{name.upper()}"] = str(place["file"])
    return variables
