"""``chipsong resume``: restart programs as files."""

import sys
from pathlib import Path

from analysis.errors import ChipsongError
from analysis.program import Program, restart_program
from monitor.setup import read_program
from monitor.trouble import warn

_READ_IT = "Read it before you run it: above all its first lines."


def write_restart(
    program: Path, line: int, out: Path | None, *, safe_z: float | None, spin_up: float
) -> None:
    """
    Write the program that carries ``program`` on, to a file or to standard output.

    Raises
    ------
    ProgramError
        When the program cannot be read, or cannot be carried on safely from there.
    ChipsongError
        When the file cannot be written, or is the program itself.
    """
    text = restart_program(read_program(program, warn), line, safe_z=safe_z, spin_up=spin_up)
    if out is None:
        sys.stdout.write(text)
        return
    if out.exists() and out.samefile(program):
        raise ChipsongError(f"{out} is the program itself and stays as it is: choose another place")
    save(text, out)
    sys.stderr.write(f"Restart program: {out}\n{_READ_IT}\n")


def save(text: str, path: Path) -> None:
    """Write a text file; raise ChipsongError in one line when that fails."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ChipsongError(f"cannot write {path} ({error.strerror}): choose another place") from error


def write_beside(program: Program, line: int, folder: Path) -> tuple[Path, str]:
    """
    Write the restart program for ``line`` into ``folder``; return where it is, and what to tell of it.

    Raises
    ------
    ChipsongError
        When there can be none, or it cannot be written.
    """
    path = folder / f"restart-at-line-{line}.ngc"
    save(restart_program(program, line), path)
    return path, f"Restart program: {path}\n{_READ_IT}"
