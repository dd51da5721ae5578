"""Files that the user named or keeps: written, or refused in one line."""

import os
import tempfile
from contextlib import suppress
from pathlib import Path

from analysis.errors import ChipsongError


def check_place(out: Path, program: Path) -> None:
    """Raise ChipsongError if ``out`` is the program itself: that stays as it is."""
    if out.exists() and program.exists() and out.samefile(program):
        raise ChipsongError(f"{out} is the program itself and stays as it is: choose another place")


def save(text: str, path: Path) -> None:
    """Write a text file; raise ChipsongError in one line when that fails."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise cannot_write(path, error) from error


def cannot_write(path: Path, error: OSError) -> ChipsongError:
    """Return the error that says in one line why a file was not written."""
    return ChipsongError(f"cannot write {path} ({error.strerror}): choose another place")


def replace_file(path: Path, text: str) -> None:
    """
    Put a new file in the place of an old one at once, so that there is a whole one at every moment.

    Where the name is a link, the file behind it is replaced.

    Raises
    ------
    OSError
        When that fails; the old one is as it was.
    """
    path = path.resolve()
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    fresh = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        fresh.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
        fresh.replace(path)
    except BaseException:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise
