"""Files that the user named: written, or refused in one line."""

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
