"""A text file that another program appends to."""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from monitor.linefeed.source import LineFeedError, Outlet
from monitor.linefeed.splitting import Splitter

# s between two looks, and bytes that are read at once.
_OFTEN, _PIECE = 0.1, 65_536
# Bytes at the head of a file, and before the place up to which it was read, by which it is known again.
_KNOWN = 256
# Where more bytes than these wait to be read, lines before them are of a while ago: they tell of no line now.
_BACKLOG = 8_192
# s that the clock of the computer on which a file lies may be slow.
_SLOW = 2.0


@dataclass(frozen=True)
class _Mark:
    """How far a file was read, and what is known of it up to there."""

    offset: int
    head: bytes
    tail: bytes

    @classmethod
    def at(cls, file: IO[bytes], offset: int) -> "_Mark":
        known = min(_KNOWN, offset)
        number = file.fileno()
        return cls(offset, os.pread(number, known, 0), os.pread(number, known, offset - known))

    def fits(self, file: IO[bytes]) -> bool:
        """Return whether a file, of whatever name or number, begins with all that was read."""
        return _Mark.at(file, self.offset) == self


@dataclass
class GrowingFile:
    """
    Gives what is appended to a file from now on.

    One that was away for a while, or is written as a whole again and again, goes on where it was. One that is
    new, emptied or replaced is read from its start; of much that waits, the last lines alone are given.

    Attributes
    ----------
    path
        The file; it may come later.
    """

    path: Path
    _begun: float | None = field(default=None, init=False)
    _mark: _Mark | None = field(default=None, init=False, repr=False)
    _lines: Splitter = field(default_factory=Splitter, init=False, repr=False)

    @property
    def name(self) -> str:
        """The file's name."""
        return str(self.path)

    def run(self, out: Outlet) -> None:
        """Follow the file, and each that takes its place, until it is gone."""
        while not out.over.is_set():
            with self._opened() as file:
                self._follow(file, out)

    @contextmanager
    def _opened(self) -> Iterator[IO[bytes]]:
        first = self._begun is None
        self._begun = self._begun or time.time()
        try:
            with self.path.open("rb", buffering=0) as file:
                if self._mark is not None and self._mark.fits(file):
                    file.seek(self._mark.offset)
                else:
                    # What was written before listening began is of another cut, or long over.
                    before = first or os.fstat(file.fileno()).st_mtime < self._begun - _SLOW
                    self._begin(file, os.SEEK_END if before else os.SEEK_SET)
                yield file
        except OSError as error:
            raise LineFeedError(f"the file cannot be read ({error.strerror}); waiting for it") from error

    def _begin(self, file: IO[bytes], whence: int) -> None:
        """Go to the start or the end of a file of which nothing is known."""
        self._lines.forget()
        self._mark = _Mark.at(file, file.seek(0, whence))

    def _follow(self, file: IO[bytes], out: Outlet) -> None:
        out.fine()
        while not out.over.is_set():
            if self._mark is None or not self._mark.fits(file):
                self._begin(file, os.SEEK_SET)
            for line in self._read(file, out):
                out.text(line)
            if not self._is_still(file):
                return
            out.over.wait(_OFTEN)

    def _read(self, file: IO[bytes], out: Outlet) -> list[str]:
        """Return the lines that have ended since the last look; of many the last ones."""
        waits = os.fstat(file.fileno()).st_size - file.tell()
        if waits > _PIECE:
            file.seek(-_PIECE, os.SEEK_END)
            self._lines.forget(amid=True)
        came = file.read(_PIECE)
        self._mark = _Mark.at(file, file.tell())
        lines = self._lines.feed(came)
        if waits > _PIECE and not lines:
            out.remark(f"a line of more than {_PIECE // 1024} kB was passed over: send shorter ones")
        return _newest(lines) if waits > _BACKLOG else lines

    def _is_still(self, file: IO[bytes]) -> bool:
        """Return whether the name still stands for this file."""
        try:
            named, opened = self.path.stat(), os.fstat(file.fileno())
        except FileNotFoundError:
            raise LineFeedError("the file is gone; waiting for it to come back") from None
        return (named.st_dev, named.st_ino) == (opened.st_dev, opened.st_ino)


def _newest(lines: list[str]) -> list[str]:
    """Return the last one of some lines, however long it is, and as many before it as are of now."""
    room, first = _BACKLOG, len(lines)
    while first and (first == len(lines) or len(lines[first - 1]) < room):
        first -= 1
        room -= len(lines[first]) + 1
    return lines[first:]
