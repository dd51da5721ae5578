"""In which unit of length a program is written."""

import re

from analysis.program import Program

# G20 or G21 as a word: blanks are taken out before, and a digit or point behind makes it another code.
_UNIT = re.compile(r"G0*2([01])(?![0-9.])", re.IGNORECASE)
_COMMENT = re.compile(r"\([^)]*\)?|;.*|[ \t]")


def in_inches(program: Program) -> bool:
    """
    Return whether a program is in inches.

    Its first word on units decides, G20 or G21; where it has none, what it was read as.
    """
    for line in program.lines:
        if "2" in line and (found := _UNIT.search(_COMMENT.sub("", line))):
            return found[1] == "0"
    return program.units == "inch"
