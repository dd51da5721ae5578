"""
What is written for people and programs.

That it fails must not end the hearing, and others' words in it must not move a terminal's cursor.
"""

import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from typing import TextIO
from weakref import WeakSet

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


def write(stream: TextIO, text: str) -> None:
    """
    Write a text at once; once a full disk or the like takes it no more, say so and write nothing there again.

    Raises
    ------
    BrokenPipeError
        When whoever read it has seen enough, for then it is to end; not while `going_on_unread`.
    """
    if stream in _FAILED:
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
    """Return whether something could not be written there."""
    return stream in _FAILED


def write_nowhere(files: Iterable[int]) -> None:
    """Let what is written to files that are gone fail no more."""
    for file in files:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, file)
        os.close(nowhere)


def _give_up(stream: TextIO, error: OSError) -> None:
    _FAILED.add(stream)
    with suppress(OSError):  # not every stream is a file
        # What Python still holds back would fail once more at the end.
        write_nowhere([stream.fileno()])
    if stream is not sys.stderr:
        because = error.strerror or error
        write(sys.stderr, f"chipsong: nothing more can be written ({because}); listening goes on\n")
