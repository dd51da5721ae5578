"""A text file that another program appends to."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from monitor.linefeed.source import LineFeedError, Outlet
from monitor.linefeed.splitting import Splitter

# s between two looks, bytes that are read at once, and bytes by whose change a file is known to be another.
_OFTEN, _PIECE, _HEAD = 0.1, 65_536, 64


@dataclass
class GrowingFile:
    """
    Gives what is appended to a file from now on; one that is new, emptied or replaced is read from its start.

    Attributes
    ----------
    path
        The file; it may come later.
    """

    path: Path
    _begun: bool = field(default=False, init=False)

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
        first, self._begun = not self._begun, True
        try:
            with self.path.open("rb", buffering=0) as file:
                # What was written before listening began is of another cut, or long over.
                file.seek(0, os.SEEK_END if first else os.SEEK_SET)
                yield file
        except OSError as error:
            raise LineFeedError(f"the file cannot be read ({error.strerror}); waiting for it") from error

    def _follow(self, file: IO[bytes], out: Outlet) -> None:
        splitter, head = Splitter(), _head(file)
        out.fine()
        while not out.over.is_set():
            if came := file.read(_PIECE):
                for line in splitter.feed(came):
                    out.text(line)
                continue
            if not self._is_still(file):
                return
            was, head = head, _head(file)
            if not head.startswith(was) or os.fstat(file.fileno()).st_size < file.tell():
                splitter.forget()
                file.seek(0)
                continue
            out.over.wait(_OFTEN)

    def _is_still(self, file: IO[bytes]) -> bool:
        """Return whether the name still stands for this file."""
        try:
            named, opened = self.path.stat(), os.fstat(file.fileno())
        except FileNotFoundError:
            raise LineFeedError("the file is gone; waiting for it to come back") from None
        return (named.st_dev, named.st_ino) == (opened.st_dev, opened.st_ino)


def _head(file: IO[bytes]) -> bytes:
    return os.pread(file.fileno(), _HEAD, 0)
