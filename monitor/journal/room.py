"""The room that sound may take on disk, of all runs together: the oldest goes first, events never."""

from contextlib import suppress
from pathlib import Path

from monitor.journal.held import is_held
from monitor.journal.place import runs_folder

_ORDER = "order.txt"
# What a segment's file ends with once it is finished; seldom it stays what it was.
_FINISHED = ".flac"


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
    Others may listen beside it: so it looks anew at what is there whenever a segment is added. What a run
    that is being heard is still writing is never taken away. Segments of which it is open whether they are
    kept are counted, but no room is made for them alone. A run whose sound was taken away tells so: what is
    missing is NaN, never silence.
    """

    def __init__(self, home: Path, most: float) -> None:
        self._home = home
        self._most = most
        self._finished: set[Path] = set()
        self._make()

    def add(self, path: Path) -> None:
        """Take in a finished segment that is kept, and take away the oldest if it is too much now."""
        if path.suffix != _FINISHED:
            self._finished.add(path)
        self._make()

    def _make(self) -> None:
        begun = _begun(self._home)
        files = [(path, _size(path)) for path in runs_folder(self._home).glob("*/sound/*")]
        taken = sum(size for _, size in files)
        # Runs of old, of which nothing was noted, are older than all others.
        for path, size in sorted(files, key=lambda file: (begun.get(file[0].parents[1].name, -1), file[0])):
            if taken <= self._most:
                return
            if self._is_written(path):
                continue
            # What cannot be taken away is no reason not to listen; the disk is full when it is full.
            with suppress(OSError):
                path.unlink(missing_ok=True)
            taken -= size

    def _is_written(self, path: Path) -> bool:
        """Return whether somebody may still be writing a file."""
        return path.suffix != _FINISHED and path not in self._finished and is_held(path.parents[1])


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
