"""What came of runs that were heard again, kept so that work that was stopped goes on where it stopped."""

import json
import os
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO

from monitor.saving import replace_file
from monitor.trouble import warn

LEDGER = "ledger.jsonl"
"""Its name in the folder of all that is kept."""

# More lines than this beyond those that count, and the file is written anew.
_SUPERSEDED = 200


class Ledger:
    """
    A file with a line for each run that is done.

    Each line has a mark: what the result follows from. A result with another mark is none. A line that was
    broken off is passed over, so the file may be added to at any time, and a process killed at any time.

    Parameters
    ----------
    path
        The file; it need not exist.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: dict[str, dict[str, Any]] = {}
        self._failed = False
        lines = 0
        with suppress(OSError):
            for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
                lines += 1
                with suppress(ValueError, TypeError, KeyError):
                    entry = json.loads(line)
                    self._known[entry["run"]] = {"mark": entry["mark"], "found": entry["found"]}
        if lines > len(self._known) + _SUPERSEDED:
            text = "".join(self._line(run, entry) for run, entry in self._known.items())
            with suppress(OSError):
                replace_file(path, text)

    def found(self, run: str, mark: str) -> Any | None:  # noqa: ANN401 - what was noted
        """Return what came of a run, if it is known with this mark."""
        entry = self._known.get(run)
        return entry["found"] if mark and entry is not None and entry["mark"] == mark else None

    def note(self, run: str, mark: str, found: Any) -> None:  # noqa: ANN401 - what JSON can say
        """Write down what came of a run; a disk on which that fails is complained of once."""
        if not mark:
            return
        self._known[run] = {"mark": mark, "found": found}
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            with self._path.open("a+b") as file:
                # A line that was broken off before must not spoil this one.
                begin = "" if _ends_well(file) else "\n"
                file.write(f"{begin}{self._line(run, self._known[run])}".encode())
        except OSError as error:
            if not self._failed:
                warn(f"cannot write {self._path} ({error.strerror}): work that is stopped begins anew")
            self._failed = True

    def _line(self, run: str, entry: dict[str, Any]) -> str:
        return f"{json.dumps({'run': run, **entry})}\n"


def _ends_well(file: BinaryIO) -> bool:
    if not file.seek(0, os.SEEK_END):
        return True
    file.seek(-1, os.SEEK_END)
    return file.read(1) == b"\n"
