"""
Whether a process that lives keeps a run now, and whether another one just changes what both would change.

It holds a lock on the run's folder, or on that of all runs, which ends with it, however it ends: no clock is
asked, and nothing is left behind.
"""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

# s until a change that waits for another one is made all the same, and between two looks whether it must.
_PATIENT, _EVERY = 5.0, 0.02


def hold(folder: Path) -> int | None:
    """
    Hold a folder until it is let go, or the process ends.

    Returns
    -------
    int or None
        What lets it go, for `let_go`; ``None`` where this system, or this disk, has no such lock.
    """
    with suppress(OSError):
        return _locked(folder, alone=True)
    return None


def let_go(held: int | None) -> None:
    """Hold a folder no more."""
    if held is not None:
        os.close(held)


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Read and replace a file of a folder while nobody else does so who asks for it in the same way."""
    held = _once_free(folder)
    try:
        yield
    finally:
        let_go(held)


def _once_free(folder: Path) -> int | None:
    until = time.monotonic() + _PATIENT
    while True:
        try:
            return _locked(folder, alone=True)
        except BlockingIOError:
            if time.monotonic() > until:
                return None
            time.sleep(_EVERY)
        except OSError:  # it is not there yet, or its disk has no such lock
            return None


def is_held(folder: Path) -> bool:
    """Return whether some process holds a folder; never where none can."""
    try:
        # Not alone: of two that look neither is to take the other for one that holds it.
        let_go(_locked(folder, alone=False))
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False


def _locked(folder: Path, *, alone: bool) -> int | None:
    """Return a folder, open and locked; raise BlockingIOError where that is another's."""
    if sys.platform == "win32":
        return None
    import fcntl  # noqa: PLC0415 - not everywhere

    file = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(file, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
    except BaseException:
        os.close(file)
        raise
    return file
