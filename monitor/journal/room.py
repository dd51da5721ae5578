"""The room that sound may take on disk, of all runs together: the oldest goes first, events never."""

from collections import deque
from contextlib import suppress
from pathlib import Path

from monitor.journal.place import runs_folder

_ORDER = "order.txt"


def note_begun(home: Path, run: str) -> None:
    """
    Note that a run begins: which is the oldest is told by this alone.

    The clock on the wall, and with it a run's name and its files' times, may have been set back meanwhile.
    """
    with suppress(OSError), (home / _ORDER).open("a", encoding="utf-8") as file:
        file.write(f"{run}\n")


def _begun(home: Path) -> dict[str, int]:
    """Return the place of each run in the order in which they began, as far as that was noted."""
    try:
        noted = (home / _ORDER).read_text(encoding="utf-8", errors="replace")
    except OSError:
        return {}
    return {run: number for number, run in enumerate(noted.splitlines())}


class Room:
    """
    Keeps the sound of all runs within a budget.

    Parameters
    ----------
    home
        The folder of all runs.
    most
        How many bytes their sound may take.

    Notes
    -----
    It looks once at what is there, and then counts what is added. The segment that is being written comes on
    top, and so do those of which it is open whether they are kept. A run whose sound was taken away tells so:
    what is missing is NaN, never silence.
    """

    def __init__(self, home: Path, most: float) -> None:
        self._most = most
        begun = _begun(home)
        found = runs_folder(home).glob("*/sound/*")
        # Runs of old, of which nothing was noted, are older than all others.
        ordered = sorted(found, key=lambda path: (begun.get(path.parents[1].name, -1), path))
        files = [(path, _size(path)) for path in ordered]
        self._files = deque(files)
        self._taken = sum(size for _, size in files)
        self._make()

    def add(self, path: Path) -> None:
        """Count a finished segment that is kept, and take away the oldest if it is too much now."""
        size = _size(path)
        self._files.append((path, size))
        self._taken += size
        self._make()

    def _make(self) -> None:
        while self._taken > self._most and self._files:
            path, size = self._files.popleft()
            # What cannot be taken away is no reason not to listen; the disk is full when it is full.
            with suppress(OSError):
                path.unlink(missing_ok=True)
            self._taken -= size


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
