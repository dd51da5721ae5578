"""What every way to show a run can be told."""

from typing import Protocol, Self

from analysis.events import Cause, Event
from analysis.listener import Listener, Step
from monitor.controls import Press


class Shown(Protocol):
    """A way to show what is heard; everything is told on the thread that listens, and must not take time."""

    def event(self, event: Event) -> None:
        """Show an event."""

    def alarm(self, cause: Cause, done: str) -> None:
        """Show what to do after an alarm of that cause, and what was done at it."""

    def refused(self, cause: Cause, why: str) -> None:
        """Show what to do after an alarm, and why there is no restart program."""

    def note(self, text: str) -> None:
        """Show a remark."""

    def warn(self, text: str) -> None:
        """Show trouble that does not end the listening."""

    def rows(self, step: Step) -> None:
        """Take in what came of a block."""

    def progress(self, listener: Listener) -> None:
        """Take in where the listener stands after a block."""

    def alive(self) -> None:
        """Take in that the loop goes on: after each block, and each that failed to come."""

    def ends(self) -> None:
        """Take in that nobody listens any more, and that what is left is being done."""

    def heeded(self, press: Press) -> None:
        """Take in what a person has said, and that it was done; what is refused comes as trouble alone."""

    def __enter__(self) -> Self:
        """Begin to show."""

    def __exit__(self, *_: object) -> None:
        """Leave the terminal as it was."""
