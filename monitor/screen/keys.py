"""Keys that are pressed on a terminal."""

import os
import select
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

from monitor.controls import Press

HELP = "n that was nothing  t tightened, carry on  m mark this line  i info  Ctrl-C end"
SHORT_HELP = "n nothing  t tightened  m mark  i info"

_SURE = "That was nothing, and what is heard now is normal? y: yes. Any other key: no."
_STILL_CUTS = "A cut is heard still. Tightened all the same? y: yes. Any other key: no."
_WHICH = "Which line of the file is cut now, not read ahead? {}_   (Enter; Esc: none)"
_NO_LINE = "Digits alone: the line's number in the file, no N-word.  m: again  Esc: none"
_MOST_DIGITS = 9
_ERASE = "\x7f\b"


class Keyboard:
    """
    Makes presses of keys; holds what was typed so far.

    What would make a real fault sound normal takes a second, other key: an elbow presses keys as well, and a
    key that is held comes many times. So does what would end an alarm while the bit still cuts.

    Attributes
    ----------
    cuts
        Whether a cut is heard: then hardly anybody has tightened the bit.
    info
        Whether what was told at the start is to be shown again; any other key ends that.
    """

    def __init__(self) -> None:
        self.cuts = False
        self.info = False
        self._asks: str | None = None
        self._digits = ""

    @property
    def question(self) -> str:
        """What is asked now; empty when nothing is."""
        asked = {"n": _SURE, "t": _STILL_CUTS, "m": _WHICH.format(self._digits), "no line": _NO_LINE}
        return asked.get(self._asks or "", "")

    def feed(self, typed: str) -> list[Press]:
        """Take in what was typed at once; return what it means."""
        if typed.startswith("\x1b"):  # Esc, or a key that sends several characters
            self._asks = None
            return []
        return [press for key in typed.lower() if (press := self._key(key)) is not None]

    def _key(self, key: str) -> Press | None:
        asked, self._asks = self._asks, None
        self.info = key == "i" and not self.info and asked not in ("m", "no line")
        if asked == "m":
            return self._digit(key)
        if asked == "no line" and key != "m":
            self._asks = None if key in "\r\n" else asked
            return None
        if (key == "t" and not self.cuts) or (key == "y" and asked == "t"):
            return Press("tightened")
        if key == "y" and asked == "n":
            return Press("nothing")
        if key in ("n", "m", "t"):
            self._asks, self._digits = key, ""
        return None

    def _digit(self, key: str) -> Press | None:
        if key in "\r\n":
            return Press("mark", int(self._digits)) if self._digits else None
        if key in _ERASE:
            self._digits = self._digits[:-1]
        elif key not in "0123456789":
            # The line of another number would be marked.
            self._asks = "no line"
            return None
        elif len(self._digits) < _MOST_DIGITS:
            self._digits += key
        self._asks = "m"
        return None


def is_in_front(stream: TextIO) -> bool:
    """Return whether ``stream`` is a terminal that this program may use: not one of a shell's other jobs."""
    try:
        return stream.isatty() and os.tcgetpgrp(stream.fileno()) == os.getpgrp()
    except (AttributeError, OSError, ValueError):
        return False


@contextmanager
def single_keys(stream: TextIO) -> Iterator[int | None]:
    """
    Let keys come one by one, and unseen; give the file to read them from, or ``None`` where there are none.

    Ctrl-C stays what it is. Ctrl-S, Ctrl-Z and Ctrl with a backslash are off: a screen that stands still, or
    a program that is stopped, or gone without a word, would look calm and hear nothing.
    """
    if sys.platform == "win32" or not is_in_front(stream):
        yield None
        return
    import termios  # noqa: PLC0415 - not everywhere

    file = stream.fileno()
    before = termios.tcgetattr(file)
    mode = termios.tcgetattr(file)
    mode[_INPUT] &= ~termios.IXON
    mode[_LOCAL] &= ~(termios.ICANON | termios.ECHO)
    off = bytes([os.fpathconf(file, "PC_VDISABLE")])
    mode[_CHARACTERS][termios.VSUSP] = mode[_CHARACTERS][termios.VQUIT] = off
    mode[_CHARACTERS][termios.VMIN], mode[_CHARACTERS][termios.VTIME] = 1, 0
    termios.tcsetattr(file, termios.TCSADRAIN, mode)
    try:
        yield file
    finally:
        # In the background it is the shell's again, and whoever sets it there is stopped.
        if is_in_front(stream):
            with suppress(termios.error):  # a terminal that was closed
                termios.tcsetattr(file, termios.TCSAFLUSH, before)


# Where a terminal's mode has these.
_INPUT, _LOCAL, _CHARACTERS = 0, 3, 6


def typed_within(file: int, seconds: float) -> str | None:
    """Return what is typed within some seconds, perhaps nothing; ``None`` when the terminal is gone."""
    if not select.select([file], [], [], seconds)[0]:
        return ""
    try:
        raw = os.read(file, 256)
    except OSError:
        return None
    return raw.decode("ascii", "ignore") if raw else None
