"""
What is written for people and programs.

That it fails, or is not read, must not end the hearing, and others' words in it must not move a terminal's
cursor.
"""

import os
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TextIO
from weakref import WeakSet

from monitor.aside import Aside, file_of

# Streams that took something no more. They belong to the whole process, and so does this.
_FAILED: WeakSet[TextIO] = WeakSet()

# One entry for each time that `going_on_unread` is entered; also of the whole process, for all threads write.
_GOING_ON: list[None] = []


@contextmanager
def going_on_unread() -> Iterator[None]:
    """Let nothing end because whoever read the output is gone: that is said, as for a full disk."""
    _GOING_ON.append(None)
    try:
        yield
    finally:
        _GOING_ON.pop()


# What writes to each file now, while `waiting_for_nobody`: by what tells files apart, for standard output and
# standard error may be the same one, and then keep their order.
_ASIDE: dict[tuple[object, int], Aside] = {}
_ASIDE_LOCK = threading.Lock()
# One entry for each time that it is entered.
_NOT_WAITING: list[None] = []
# Streams of which it was said that nobody reads them.
_UNREAD: WeakSet[TextIO] = WeakSet()


@contextmanager
def waiting_for_nobody() -> Iterator[None]:
    """Let what is written hold up nothing, though its reader hangs; at the end that gets a little time."""
    _NOT_WAITING.append(None)
    try:
        yield
    finally:
        if len(_NOT_WAITING) == 1:
            _end_aside()
        _NOT_WAITING.pop()


def write(stream: TextIO, text: str) -> None:
    """
    Write a text at once; once a full disk or the like takes it no more, say so and write nothing there again.

    While `waiting_for_nobody` it is only put where a thread finds it. Whoever reads gets all of it, in order.

    Raises
    ------
    BrokenPipeError
        When whoever read it has seen enough, for then it is to end; not while `going_on_unread`.
    """
    if stream in _FAILED:
        return
    if _NOT_WAITING:
        aside = _aside(stream)
        aside.put(stream, text)
        if aside.is_stuck:
            _say_unread(stream)
        return
    try:
        stream.write(text)
        stream.flush()
    except BlockingIOError:
        pass  # whoever reads it is slow: this comes with what is written next, as far as there is room
    except OSError as error:
        if isinstance(error, BrokenPipeError) and not _GOING_ON:
            raise
        _give_up(stream, error)


def printable(text: str, most: int | None = None) -> str:
    """Return others' words in one line, not too long and without signs that a terminal would obey."""
    clean = "".join(sign if sign.isprintable() else " " if sign.isspace() else "?" for sign in text)
    return clean if most is None or len(clean) <= most else f"{clean[: most - 3]}..."


def has_failed(stream: TextIO) -> bool:
    """Return whether something could not be written there; what still waits is written first."""
    aside = _ASIDE.get(_key(stream))
    if aside is not None and stream not in _FAILED and (aside.left_out or not aside.settle()):
        return True
    return stream in _FAILED


def open_closed() -> None:
    """
    Open each standard stream that whoever started this process has closed: into nothing, and from nothing.

    Else a file that is opened later would get its number, and what is written to the stream.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115 - to the end


def write_nowhere(files: Iterable[int]) -> None:
    """Let what is written to files that are gone fail no more."""
    for file in files:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, file)
        os.close(nowhere)


def _key(stream: TextIO) -> tuple[object, int]:
    """Return what tells the file below a stream from others."""
    file = file_of(stream)
    if file is not None:
        with suppress(OSError):
            found = os.fstat(file)
            return found.st_dev, found.st_ino
    return "stream", id(stream)


def _aside(stream: TextIO) -> Aside:
    key = _key(stream)
    with _ASIDE_LOCK:
        if key not in _ASIDE:
            _ASIDE[key] = Aside(_failed_aside)
        return _ASIDE[key]


def _failed_aside(stream: TextIO, error: Exception) -> None:
    if stream not in _FAILED:
        _give_up(stream, error)


def _say_unread(stream: TextIO) -> None:
    if stream is not sys.stderr and stream not in _UNREAD:
        _UNREAD.add(stream)
        said = "nobody reads what is written: it waits for its reader, and listening goes on"
        write(sys.stderr, f"chipsong: {said}\n")


def _end_aside() -> None:
    """Write what waits, as far as it is read."""
    for stream in (sys.stderr, sys.stdout):
        aside = _ASIDE.get(_key(stream))
        if aside is None or aside.settle():
            continue
        # Whoever writes there once more, Python itself at its end, would hang as well.
        _write_no_more(stream)
        if stream is not sys.stderr:
            write(sys.stderr, "chipsong: what was written last was not read, and is lost\n")
    for key, aside in list(_ASIDE.items()):
        aside.settle()
        aside.end()
        del _ASIDE[key]


def _write_no_more(stream: TextIO) -> None:
    _FAILED.add(stream)
    with suppress(OSError):  # not every stream is a file
        # What Python still holds back would fail once more at the end.
        write_nowhere([stream.fileno()])


def _give_up(stream: TextIO, error: Exception) -> None:
    _write_no_more(stream)
    if stream is not sys.stderr:
        because = getattr(error, "strerror", None) or error
        write(sys.stderr, f"chipsong: nothing more can be written ({because}); listening goes on\n")
