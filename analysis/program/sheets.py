"""
Sheets that are cut one after the other at the same place.

Where a program stops for a person, or G10 moves the zero across, and what follows goes the same ways down
into the work and along as what was cut before, it is cut from a fresh sheet, or from another place of the
same one: nobody cuts the air. A pass that only goes round once more at the bottom goes another way down, and
is none.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Kind, Moves
from analysis.program.program import Program
from analysis.program.work import SAME_PLACE, cutting

MOSTLY = 0.5
"""What goes so much of its way, and of its way down, again, is cut from another sheet."""

BEYOND = 1000
"""No coordinate system of a program has such a number (`Moves.system`)."""


def sheets_of(moves: Moves, tops: NDArray[np.float64]) -> NDArray[np.intp]:
    """
    Return which sheet each move is cut from, counted from 0, shape (n,).

    Parameters
    ----------
    moves
        n moves.
    tops
        Z of the work's top for each, mm, shape (n,).
    """
    found = np.zeros(len(moves), dtype=np.intp)
    begins = _may_begin(moves)
    if not len(begins):
        return found
    cuts = np.flatnonzero(cutting(moves, tops))
    before = _before(_ways(moves, cuts, tops))
    length = moves.length[cuts]
    down = np.isin(moves.kind[cuts], (Kind.PLUNGE, Kind.RAMP, Kind.PECK))
    number = since = 0
    for begin, end in pairwise([*begins.tolist(), len(moves)]):
        first, last = np.searchsorted(cuts, (begin, end)).tolist()
        here = np.arange(first, last)
        here = here[before[here] < first]
        if all(_goes_again(length, some, before[some] >= since) for some in (here, here[down[here]])):
            number, since = number + 1, first
        found[begin:] = number
    return found


def sheets_apart(program: Program) -> Program:
    """
    Tell sheets that follow one another apart as coordinate systems of their own.

    What is cut in another system lies elsewhere, and so does what is cut from another sheet.

    Parameters
    ----------
    program
        As read.

    Returns
    -------
    Program
        The same with other numbers of systems, from `BEYOND` on, in all sheets but the first; the program
        itself where it has one sheet.
    """
    moves, sheets = program.moves, program.sheets
    if not sheets.any():
        return program
    later = sheets > 0
    pairs, which = np.unique(
        np.stack([sheets[later], moves.system[later]], axis=1), axis=0, return_inverse=True
    )
    system = moves.system.copy()
    system[later] = BEYOND + which.ravel()
    beyond = {BEYOND + number: program.level(each) for number, each in enumerate(pairs[:, 1].tolist())}
    levels = {**program.levels, **beyond}
    return replace(program, moves=replace(moves, system=system), levels=levels, sheets=np.zeros_like(sheets))


def _may_begin(moves: Moves) -> NDArray[np.intp]:
    """Return before which moves another sheet may have been put in, or the zero was moved across."""
    jumps = np.hypot(*(moves.start[1:, :2] - moves.end[:-1, :2]).T) > SAME_PLACE
    moved = jumps & (moves.system[1:] == moves.system[:-1])
    return 1 + np.flatnonzero(moved | (moves.kind[:-1] == Kind.PAUSE))


def _ways(moves: Moves, cuts: NDArray[np.intp], tops: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return for each cut the number of its way below the top: the same for the same way, bit and speed."""
    ends = []
    for points in (moves.start[cuts], moves.end[cuts]):
        below = np.minimum(points[:, 2], tops[cuts])
        ends.append(np.column_stack([points[:, :2], below]))
    # A bit that is put in by hand has no other number, but mostly another speed.
    rest = np.stack([moves.sweep, moves.bit, moves.speed, moves.system], axis=1)[cuts]
    ways = np.rint(np.hstack([*ends, rest]) / SAME_PLACE).astype(np.int64)
    number = np.zeros(len(cuts), dtype=np.int64)
    # Column by column: that is many times quicker than row by row.
    for column in ways[:, (ways != ways[:1]).any(axis=0)].T:
        low, high = int(column.min()), int(column.max())
        number = np.unique(number * (high - low + 1) + (column - low), return_inverse=True)[1]
    return number.astype(np.intp)


def _before(ways: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return which way before each is the same one; -1 where none is."""
    order = np.argsort(ways, kind="stable")
    same = ways[order[1:]] == ways[order[:-1]]
    found = np.full(len(ways), -1)
    found[order[1:][same]] = order[:-1][same]
    return found


def _goes_again(length: NDArray[np.float64], some: NDArray[np.intp], again: NDArray[np.bool_]) -> bool:
    """Whether most of the way of some cuts is gone again."""
    whole = float(length[some].sum())
    return whole > 0.0 and float(length[some[again]].sum()) > MOSTLY * whole
