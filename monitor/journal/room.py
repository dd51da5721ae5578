"""The room that sound may take on disk, of all runs together: the oldest goes first, events never."""

from collections import deque
from contextlib import suppress
from pathlib import Path

from monitor.journal.place import runs_folder


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
        files = [(path, _size(path)) for path in sorted(runs_folder(home).glob("*/sound/*"))]
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
