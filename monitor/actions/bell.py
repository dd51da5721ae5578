"""The bell of the terminal."""

import os
import sys
import time
from contextlib import suppress
from dataclasses import dataclass
from typing import ClassVar, TextIO

from monitor.actions.kind import ActionError
from monitor.actions.message import Message

# s between two strokes: closer ones run together on some terminals.
_APART = 0.3


@dataclass(frozen=True)
class Bell:
    """
    Rings the bell of the terminal that chipsong was started in.

    Attributes
    ----------
    rings
        How often.
    """

    acts: ClassVar[bool] = False

    rings: int

    def describe(self) -> str:
        """Return how often."""
        return f"bell: {self.rings} times"

    def prepare(self) -> None:
        """Load nothing."""

    def close(self) -> None:
        """Nothing was got."""

    def fire(self, message: Message, limit: float) -> str:
        """Ring, as often as there is time for."""
        del message
        end = time.monotonic() + limit
        with _terminal() as terminal:
            for number in range(self.rings):
                if number and time.monotonic() + _APART > end:
                    return f"rung {number} times, then time was up"
                time.sleep(_APART if number else 0.0)
                terminal.write("\a")
                terminal.flush()
        return f"rung {self.rings} times"


def _terminal() -> TextIO:
    """Open the terminal itself: standard output may go to a file or another program."""
    with suppress(OSError):
        return open("/dev/tty", "w", encoding="ascii")  # noqa: PTH123 - a device; the caller closes it
    if sys.stderr.isatty():
        return os.fdopen(os.dup(sys.stderr.fileno()), "w", encoding="ascii")
    raise ActionError("there is no terminal to ring")
