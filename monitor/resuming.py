"""``chipsong resume``: restart programs as files."""

import sys
from pathlib import Path

from analysis.errors import ChipsongError, ProgramError
from analysis.program import restart_program
from monitor.setup import read_program


def write_restart(program: Path, line: int, out: Path | None, *, safe_z: float | None, spin_up: float) -> None:
    """
    Write the program that carries ``program`` on, to a file or to standard output.

    Raises
    ------
    ProgramError
        When the program cannot be read, or cannot be carried on safely from there.
    ChipsongError
        When the file cannot be written.
    """
    text = restart_program(read_program(program), line, safe_z=safe_z, spin_up=spin_up)
    if out is None:
        sys.stdout.write(text)
        return
    save(text, out)
    sys.stderr.write(f"Read {out} before you run it: above all its first lines.\n")


def save(text: str, path: Path) -> None:
    """Write a text file; raise ChipsongError in one line when that fails."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ChipsongError(f"cannot write {path} ({error.strerror}): choose another place") from error


def write_beside(program: Path, line: int, folder: Path) -> str:
    """Write the restart program for ``line`` into ``folder``; return what to tell the user about it."""
    path = folder / f"restart-at-line-{line}.ngc"
    try:
        save(restart_program(read_program(program), line), path)
    except ProgramError as error:
        return f"No restart program: {error}"
    except ChipsongError as error:
        return str(error)
    return f"Restart program: {path}\nRead it before you run it: above all its first lines."
