"""
Whether a process that lives keeps a run now.

It holds a lock on the run's folder, which ends with it, however it ends: no clock is asked, and nothing is
left behind.
"""

import os
import sys
from contextlib import suppress
from pathlib import Path


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
