"""What a program stops for, M0 and M1, in its own words."""

from collections.abc import Mapping

import numpy as np

from analysis.program.cautions import plain
from analysis.program.moves import Kind
from analysis.program.notes import Notes
from analysis.program.program import Program
from analysis.program.words import parse


def stops_since_change(
    program: Program, first: int, beyond: int, parameters: Mapping[int, float]
) -> list[str]:
    """
    Return what the program stops for since the last M6 among some moves: whatever a person did then.

    Parameters
    ----------
    program
        As read.
    first, beyond
        The first of the moves, and the one after the last.
    parameters
        In force there.

    Returns
    -------
    list of str
        The file line of each stop, and the comment on it.
    """
    kinds = program.moves.kind[first:beyond]
    changed = np.flatnonzero(kinds == Kind.BIT_CHANGE)
    begin = int(changed[-1]) if len(changed) else 0
    found = first + begin + np.flatnonzero(kinds[begin:] == Kind.PAUSE)
    return [_stop(program, int(program.moves.file_line[i]), parameters) for i in found]


def _stop(program: Program, line: int, parameters: Mapping[int, float]) -> str:
    said = parse(program.lines[line - 1], line, parameters, Notes()).comments
    return f"file line {line}: {plain(' '.join(said))}".rstrip(": ")
