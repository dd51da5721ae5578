"""A thread that writes, so that whoever does not read what is written holds up nobody else."""

import os
import select
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from typing import TextIO

# Texts that wait at most. A line that is kept up to date is some two a second, so that this is over an hour.
_MOST = 10_000
# s for which a text is under way until its reader counts as one who does not read; s without one more that is
# read, and s in all, that what waits gets at the end.
_STUCK, _STILL, _AT_THE_END = 5.0, 3.0, 30.0


class Aside:
    """
    Writes to a file in the order of what it is given, on a thread of its own.

    Parameters
    ----------
    failed
        Gets a stream that takes nothing more, and why; on that thread.

    Attributes
    ----------
    left_out
        How many texts, the oldest, were left out because too many waited.
    """

    def __init__(self, failed: Callable[[TextIO, Exception], None]) -> None:
        self.left_out = 0
        self._failed = failed
        self._texts: deque[tuple[TextIO, str]] = deque()
        self._changed = threading.Condition()
        self._begun = float("inf")
        self._done = 0
        self._given_up_at = -1
        self._over = False
        self._thread = threading.Thread(target=self._run, name="output", daemon=True)
        self._thread.start()

    def put(self, stream: TextIO, text: str) -> None:
        """Have a text written; this takes no time."""
        with self._changed:
            if len(self._texts) == _MOST:
                self._texts.popleft()
                self.left_out += 1
            self._texts.append((stream, text))
            self._changed.notify_all()

    @property
    def is_stuck(self) -> bool:
        """Whether a text has been under way for so long that nobody seems to read."""
        return time.monotonic() - self._begun > _STUCK

    def settle(self) -> bool:
        """Wait until all is written, as long as some of it still is; return whether all is."""
        end = time.monotonic() + _AT_THE_END
        with self._changed:
            while self._waits() and time.monotonic() < end and self._done != self._given_up_at:
                self._wait_for_one()
            return not self._waits()

    def end(self) -> None:
        """Write nothing more."""
        with self._changed:
            self._over = True
            self._texts.clear()
            self._changed.notify_all()

    def _wait_for_one(self) -> None:
        done = self._done
        if not self._changed.wait_for(lambda: self._done != done, _STILL):
            self._given_up_at = done

    def _waits(self) -> bool:
        return bool(self._texts) or self._begun < float("inf")

    def _run(self) -> None:
        while (given := self._next()) is not None:
            stream, text = given
            try:
                write_all(stream, text)
            except (OSError, ValueError) as error:
                self._failed(stream, error)

    def _next(self) -> tuple[TextIO, str] | None:
        """Wait for what is next; ``None`` when there is nothing more."""
        with self._changed:
            self._done += self._begun < float("inf")
            self._begun = float("inf")
            self._changed.notify_all()
            self._changed.wait_for(lambda: self._texts or self._over)
            if self._over:
                return None
            self._begun = time.monotonic()
            return self._texts.popleft()


def write_all(stream: TextIO, text: str) -> None:
    """
    Write a text, however long that takes.

    Past the stream's own buffer where there is a file below it: a thread that hangs while it holds that would
    break the program's end.
    """
    file = file_of(stream)
    if file is None:
        stream.write(text)
        stream.flush()
        return
    left = text.replace("\n", os.linesep).encode(stream.encoding, stream.errors or "strict")
    while left:
        try:
            left = left[os.write(file, left) :]
        except BlockingIOError:  # whoever reads it is slow, and the file does not wait by itself
            select.select([], [file], [])


def file_of(stream: TextIO) -> int | None:
    """Return the number of the file below a stream, if there is one."""
    with suppress(OSError, ValueError, AttributeError):
        return stream.fileno()
    return None
