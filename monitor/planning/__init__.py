"""
``chipsong plan``: what is in a program, before it is cut.

`tools` says which bits it is cut with and how they are known, `text` is what a person reads, `lengths` in
which units, and `report` is the same for other programs.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

from analysis.contents import Contents, contents_of
from analysis.errors import ChipsongError
from analysis.program.program import Units
from monitor.journal import home
from monitor.planning.report import written
from monitor.planning.text import plan_text
from monitor.planning.tools import tools_for
from monitor.saving import check_place, save_picture
from monitor.setup import SHELF, Wanted, read_program
from monitor.shelf.bits import read_shelf

_PICTURES = (".png", ".svg", ".pdf")
_LARGE = 2_000_000  # bytes; a longer program takes seconds


@dataclass(frozen=True)
class Asked:
    """
    What the user wants to know, and how.

    Attributes
    ----------
    material
        What is cut; ``None`` when nobody said.
    units
        Unit of a program that does not say its own.
    picture
        Where to put the picture; ``None`` for no picture.
    as_json
        Whether another program reads it.
    top
        Z of the sheet's top in the program, mm; ``None`` for what the program tells.
    """

    material: str | None = None
    units: Units | None = None
    picture: Path | None = None
    as_json: bool = False
    top: float | None = None


def show_plan(path: Path, wanted: Wanted, asked: Asked) -> None:
    """
    Write what is in a program to standard output, and draw it if asked.

    Parameters
    ----------
    path
        The program.
    wanted
        What the user said about the bit.
    asked
        What is to be told.

    Raises
    ------
    ProgramError, ShelfError
        When the program cannot be read, or a bit is not known.
    ChipsongError
        When the picture cannot be written.
    """
    picture = asked.picture
    if picture is not None:
        if picture.suffix.lower() not in _PICTURES:
            raise ChipsongError(f"{picture}: the name of a picture ends in {', '.join(_PICTURES)}")
        check_place(picture, path)
    contents = _contents(path, wanted, asked)
    if picture is not None:
        _draw(contents, picture)
    _say(written(contents) if asked.as_json else plan_text(contents))
    if picture is not None:
        sys.stdout.flush()
        sys.stderr.write(f"Picture: {picture}\n")


def _contents(path: Path, wanted: Wanted, asked: Asked) -> Contents:
    if sys.stderr.isatty() and path.is_file() and path.stat().st_size > _LARGE:
        sys.stderr.write("A long program: this takes a while ...\n")
    # What was not understood stands in the plan itself.
    program = read_program(path, lambda _: None, units=asked.units, top=asked.top)
    tools = tools_for(wanted, program, read_shelf(home() / SHELF))
    return contents_of(program, tools, material=asked.material)


def _draw(contents: Contents, picture: Path) -> None:
    from analysis.figures import plan_view  # noqa: PLC0415 - a picture is not always wanted

    save_picture(plan_view(contents), picture, dpi=120)


def _say(text: str) -> None:
    """Write a line; signs that the terminal's code page lacks become question marks."""
    code = sys.stdout.encoding or "utf-8"
    sys.stdout.write(f"{text}\n".encode(code, "replace").decode(code))
