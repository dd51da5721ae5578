"""``chipsong resume``: restart programs, and recuts of chosen parts, as files."""

import re
import shlex
import sys
from dataclasses import dataclass
from pathlib import Path

from analysis.errors import ChipsongError
from analysis.program import Program, carry_on, recut_program
from analysis.program.cautions import cautions_of
from analysis.program.program import Units
from analysis.program.recut import all_parts_but
from analysis.program.written import anew
from monitor.saving import check_place, replace_file, save
from monitor.setup import read_program, tell_doubts
from monitor.trouble import warn

_READ_IT = "Read it before you run it: above all its first lines."
_PART = re.compile(r"(?:part\s*)?(\d+)(?:\s*-\s*(?:part\s*)?(\d+))?", re.IGNORECASE)
_MOST = 10_000


@dataclass(frozen=True)
class Asked:
    """
    What is to be written: one of `line`, `only` and `skip` is given.

    Attributes
    ----------
    line
        Carry on from before this line.
    only
        Cut these parts alone.
    skip
        Cut all parts but these.
    safe_z
        mm, height to cross at.
    spin_up
        s that the spindle gets.
    units
        What the program means its lengths in, if it does not say.
    top
        Z of the sheet's top in the program, mm; ``None`` for what the program tells.
    """

    line: int | None = None
    only: tuple[str, ...] | None = None
    skip: tuple[str, ...] | None = None
    safe_z: float | None = None
    spin_up: float = 5.0
    units: Units | None = None
    top: float | None = None


def parse_parts(said: str) -> tuple[str, ...]:
    """
    Return the names of the parts in ``part 2,part 5``, ``2,5`` or ``2-5``.

    Raises
    ------
    ValueError
        When it is no list of parts.
    """
    numbers: list[int] = []
    for piece in said.split(","):
        found = _PART.fullmatch(piece.strip())
        first, last = (int(found[1]), int(found[2] or found[1])) if found else (0, 0)
        if not 1 <= first <= last <= _MOST:
            raise ValueError(f"{piece.strip() or said!r} is no part: write 2,5 or 2-5 or 'part 2'")
        numbers += range(first, last + 1)
    return tuple(f"part {number}" for number in dict.fromkeys(numbers))


def write_restart(program: Path, asked: Asked, out: Path | None) -> None:
    """
    Write what is asked for to a file or to standard output, and what to check to standard error.

    Raises
    ------
    ProgramError
        When the program cannot be read, or what is asked for cannot be made safe.
    ChipsongError
        When the file cannot be written, or is the program itself.
    """
    found = read_program(program, warn, units=asked.units, top=asked.top)
    tell_doubts(found, warn)
    text, content = _made(found, asked)
    if out is None:
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
    else:
        check_place(out, program)
        save(content, out)
        kind = "Recut" if asked.line is None else "Restart program"
        sys.stderr.write(f"{kind}: {out}\n{_READ_IT}\n")
    sys.stderr.write("".join(f"{line}\n" for line in cautions_of(text)))


def _made(program: Program, asked: Asked) -> tuple[str, bytes]:
    """Return what is asked for, to be read, and as it is to be written."""
    if asked.line is not None:
        made = carry_on(program, asked.line, safe_z=asked.safe_z, spin_up=asked.spin_up)
        return made.text, made.content
    names = all_parts_but(program, asked.skip or ()) if asked.only is None else asked.only
    text = recut_program(program, names, safe_z=asked.safe_z, spin_up=asked.spin_up)
    return text, anew(program, text)


def refusal(error: ChipsongError) -> str:
    """Return in words that there is no restart program, and why."""
    text = str(error)
    return text if text.startswith("no restart") else f"no restart program: {text}"


def command_for(
    program: Path, line: int | str = "LINE", *, units: Units | None = None, top: float | None = None
) -> str:
    """Return what to type for the restart program, with the unit and the sheet's top, mm, that were said."""
    unit = "" if units is None else f" --units {units}"
    height = "" if top is None else f" --top {top:.7g}mm"
    return f"chipsong resume {shlex.quote(str(program))} --line {line}{unit}{height} -o rest.ngc"


def write_beside(program: Program, line: int, folder: Path) -> tuple[Path, str]:
    """
    Write the restart program for ``line`` into ``folder``; return where it is, and what to tell of it.

    Raises
    ------
    ChipsongError
        When there can be none, or it cannot be written; then there is no half of it either.
    """
    path = folder / f"restart-at-line-{line}.ngc"
    content = carry_on(program, line).content
    try:
        replace_file(path, content)
    except OSError as error:
        raise ChipsongError(f"cannot write {path} ({error.strerror})") from error
    return path, f"Restart program: {path}\n{_READ_IT}"
