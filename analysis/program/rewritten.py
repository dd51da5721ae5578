"""A program that was written here from another one, a restart or a recut: its parts are counted anew."""

from analysis.program.notes import Note
from analysis.program.program import Program

# As the heads of both begin; before them there may be a few first lines of the original.
_TITLES = ("(RESTART of ", "(RECUT of ")
_FIRST = 20


def counted_anew(program: Program) -> Note | None:
    """Return that parts have other numbers than in the original, where a program is a restart or a recut."""
    for number, line in enumerate(program.lines[:_FIRST], 1):
        if line.startswith(_TITLES):
            text = "its parts are counted anew, so part 1 here may be another one there"
            return Note(number, 1, "", f"{line.strip('(), ')}: {text}")
    return None
