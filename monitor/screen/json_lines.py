"""Events for other programs."""

import json
import sys
from typing import Self

from analysis.events import Cause, Event, to_dict
from analysis.listener import Listener, Step
from monitor.controls import Press
from monitor.output import write
from monitor.trouble import warn


class JsonLines:
    """Writes each event as one JSON object a line to standard output, and remarks to standard error."""

    def event(self, event: Event) -> None:
        """Write an event."""
        write(sys.stdout, json.dumps(to_dict(event)) + "\n")

    def alarm(self, cause: Cause, done: str) -> None:
        """Write nothing: the event says it all."""

    def refused(self, cause: Cause, why: str) -> None:
        """Write why there is no restart program."""
        del cause
        warn(why)

    def note(self, text: str) -> None:
        """Write a remark."""
        warn(text)

    def warn(self, text: str) -> None:
        """Write trouble."""
        warn(text)

    def rows(self, step: Step) -> None:
        """Do nothing."""

    def progress(self, listener: Listener) -> None:
        """Do nothing."""

    def alive(self) -> None:
        """Do nothing."""

    def ends(self) -> None:
        """Do nothing: the summary tells it."""

    def heeded(self, press: Press) -> None:
        """Do nothing."""

    def __enter__(self) -> Self:
        """Give itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Do nothing."""
