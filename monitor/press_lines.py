"""
What a person says through another program: one JSON object a line on standard input.

::

    {"press": "tightened"}
    {"press": "nothing"}
    {"press": "mark", "line": 47}

The last one needs no line end; that no more can come is told.
"""

import json
import os
import queue
import select
import threading
from collections.abc import Callable, Iterator
from typing import Any, Self, TextIO, get_args

from monitor.controls import Kind, Press
from monitor.linefeed.splitting import Splitter

_LOOK_EVERY = 0.25
SAY_TIGHTENED = 'Write {"press": "tightened"} to standard input.'
"""How a person says here that the bit was tightened."""

_ENDED = "standard input has ended: nothing more can be said there"
_LIKE = '{"press": "tightened"}, {"press": "nothing"} or {"press": "mark", "line": 47}'


def press_of(line: str) -> Press:
    """
    Return what a line says.

    Raises
    ------
    ValueError
        When it says nothing that is known.
    """
    try:
        said: Any = json.loads(line)
        kind, number = said["press"], said.get("line")
        known = kind in get_args(Kind) and (number is None or (type(number) is int and number > 0))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        known = False
    if not known:
        raise ValueError(f"{line[:40]!r} on standard input is not understood: write {_LIKE}")
    return Press(kind, number)


class PressLines:
    """
    Reads lines on a thread of its own, as long as it is entered.

    Parameters
    ----------
    stream
        Where they come from.
    warn
        Gets a line about each that is not understood, and that they have ended, on the thread that takes
        presses.
    """

    def __init__(self, stream: TextIO, warn: Callable[[str], None]) -> None:
        self._file = stream.fileno()
        self._warn = warn
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._read, name="presses", daemon=True)

    def take(self) -> Iterator[Press]:
        """Give what was said since it was last taken."""
        while not self._lines.empty():
            if (line := self._lines.get()) is None:
                self._warn(_ENDED)
                continue
            try:
                yield press_of(line)
            except ValueError as error:
                self._warn(str(error))

    def __enter__(self) -> Self:
        """Begin to read."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Read no more."""
        self._over.set()
        self._thread.join()

    def _read(self) -> None:
        splitter = Splitter()
        while not self._over.is_set():
            # Not readline: a thread that waits in it could not be ended.
            if not select.select([self._file], [], [], _LOOK_EVERY)[0]:
                continue
            got = os.read(self._file, 4096)
            lines = splitter.feed(got) if got else [splitter.end()]
            for line in filter(str.strip, lines):
                self._lines.put(line)
            if not got:
                self._lines.put(None)
                return
