"""What gives line numbers, and what it gives them to."""

import threading
import time
from collections import deque
from dataclasses import dataclass
from typing import Protocol

from analysis.errors import ChipsongError
from monitor.linefeed.reading import PatternError, Reader, Said, read_json

# Things said that may wait for the loop that listens: more of them wait with whoever says them.
_ROOM = 500


class LineFeedError(ChipsongError):
    """Line numbers do not come; the text says why, and what to do."""


@dataclass(frozen=True)
class Came:
    """
    A line number, or a text that could not be understood, and when it came, s of `time.monotonic`.

    Attributes
    ----------
    at
        When it came.
    said
        What it says; ``None`` when nobody can tell.
    text
        The text, where it could not be understood.
    """

    at: float
    said: Said | None
    text: str = ""


@dataclass(frozen=True)
class Turn:
    """The source can no longer be reached, for a reason, or can be again: then the reason is empty."""

    trouble: str


@dataclass(frozen=True)
class MachineState:
    """What else a controller says of its machine, as JSON can say it."""

    told: dict[str, str | float]


@dataclass(frozen=True)
class Remark:
    """Something of what comes that is said once, however often it comes about."""

    text: str


Item = Came | Turn | MachineState | Remark


class Outlet:
    """
    Takes what a source gives, on the source's thread, until the loop that listens takes it from there.

    Parameters
    ----------
    read
        Reads lines of text.

    Attributes
    ----------
    over
        Is set when the source is to come to an end.
    """

    def __init__(self, read: Reader) -> None:
        self._read = read
        self._items: deque[Item] = deque()
        self.over = threading.Event()

    def text(self, line: str) -> None:
        """Give a line of text; an empty one says nothing."""
        if line := line.strip():
            try:
                said = self._read(line)
            except PatternError as error:
                self.remark(f"passed over: {error}")
                return
            self._put(Came(time.monotonic(), said, "" if said else line))

    def torn(self, line: str) -> None:
        """Give a line that never ended: it counts where it shows by itself that it is whole, as JSON does."""
        if read_json(line) is not None:
            self.text(line)
        elif line.strip():
            # 12 may have been to be 123.
            self.remark("a line broke off and was passed over: end each with a line break")

    def said(self, said: Said) -> None:
        """Give a line number."""
        self._put(Came(time.monotonic(), said))

    def remark(self, text: str) -> None:
        """Say something of what comes, once."""
        self._put(Remark(text))

    def machine(self, told: dict[str, str | float]) -> None:
        """Give what else is known of the machine."""
        self._put(MachineState(told))

    def trouble(self, text: str) -> None:
        """Give the reason why nothing can come."""
        self._put(Turn(text))

    def fine(self) -> None:
        """Say that line numbers can come."""
        self._put(Turn(""))

    def _put(self, item: Item) -> None:
        while len(self._items) >= _ROOM and not self.over.wait(0.02):
            pass
        self._items.append(item)

    def take(self) -> list[Item]:
        """Return what has come since it was last taken, in order."""
        return [self._items.popleft() for _ in range(len(self._items))]


class Source(Protocol):
    """Gives line numbers."""

    @property
    def name(self) -> str:
        """What a person calls it; no password is in it."""

    def run(self, out: Outlet) -> None:
        """
        Give line numbers until ``out.over``; an end before that is the end of all that will ever come.

        Raises
        ------
        LineFeedError
            When it cannot be reached; it will be tried again.
        """
