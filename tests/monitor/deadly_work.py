"""Work that kills the process that is at it: other processes must find it, so it is in no file of tests."""

import os
import signal
import time
from pathlib import Path

NAMES = [f"run {number}" for number in range(8)]


def deadly(folder: Path, always: str, once: str, name: str) -> str:
    """Say a name, and note that it was at it; be killed at one each time, and at another the first time."""
    met = folder / name
    before = met.read_text() if met.exists() else ""
    met.write_text(f"{before}x")
    if name == always or (name == once and not before):
        os.kill(os.getpid(), signal.SIGKILL)
    return f"heard {name}"


def late_and_deadly(folder: Path, name: str) -> str:
    """Be killed at the first name, but only once the last one has begun."""
    end = time.monotonic() + 20.0
    while name == NAMES[0] and not (folder / NAMES[-1]).exists() and time.monotonic() < end:
        time.sleep(0.01)
    return deadly(folder, "", NAMES[0], name)
