"""
Sheets that are cut one after the other at the same place.

Where a program stops for a person, or G10 moves the zero across, and what follows goes the same ways down
into the work and along as what was cut before, it is cut from a fresh sheet, or from another place of the
same one: nobody cuts the air. A pass that only goes round once more at the bottom goes another way down, and
is none.

So it is where most of it goes along ways that the same bit has cut deeper, or most of its outlines cut
through pieces that are free already: another layout, or the other face. A pass for the finish or through the
tabs does neither, for it goes as deep as the work was cut, along the same outlines.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.program.areas import SAME_DEPTH, faces_of, shape_of
from analysis.program.chains import chains_of, rows
from analysis.program.moves import Kind, Moves, lowest
from analysis.program.paths import goes_back
from analysis.program.program import Program
from analysis.program.work import SAME_PLACE, cutting

MOSTLY = 0.5
"""What goes so much of its way, and of its way down, again, is cut from another sheet."""

FINISH = 1.0
"""mm; outlines nearer than this are one, gone around again, be it with an allowance for the finish."""

AROUND = 0.75
"""So much of an outline goes around the piece, the rest in and out; what clears an area goes across it."""

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
    floor, outlines = _Floor(moves, cuts), _Outlines(moves, tops)
    number = since = 0
    for begin, end in pairwise([*begins.tolist(), len(moves)]):
        first, last = np.searchsorted(cuts, (begin, end)).tolist()
        floor.cut_up_to(first)
        here = np.arange(first, last)
        here = here[before[here] < first]
        again = all(_goes_again(length, some, before[some] >= since) for some in (here, here[down[here]]))
        if (
            again
            or floor.is_air(first, last)
            or (0 < first < last and outlines.cross(floor.begin, begin, end))
        ):
            number, since = number + 1, first
            floor.put_in(begin)
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
    return _numbered(np.hstack([*ends, moves.sweep[cuts, None], _with(moves, cuts)]))


def _with(moves: Moves, cuts: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return with what, and in which system, each is cut."""
    # A bit that is put in by hand has no other number, but mostly another speed.
    return np.stack([moves.bit, moves.speed, moves.system], axis=1)[cuts]


def _numbered(values: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return a number for each row: the same for rows that are the same."""
    ways = np.rint(values / SAME_PLACE).astype(np.int64)
    number = np.zeros(len(ways), dtype=np.int64)
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


class _Floor:
    """
    How deep the ways along which something is cut were cut before.

    A way seen from above, gone in either direction, with one bit at one speed: only of that is it sure that
    it takes nothing away where it went deeper before.
    """

    def __init__(self, moves: Moves, cuts: NDArray[np.intp]) -> None:
        self.begin = 0
        self._low, self._length = lowest(moves)[cuts], moves.length[cuts]
        self._across = np.isin(moves.kind[cuts], (Kind.CUT, Kind.RAMP))
        self._way = _numbered(_seen_from_above(moves, cuts))
        self._deep = np.full(int(self._way.max(initial=-1)) + 1, np.inf)
        self._since = self._done = 0

    def cut_up_to(self, cut: int) -> None:
        """Cut all that comes before this cut."""
        new = slice(self._done, cut)
        np.minimum.at(self._deep, self._way[new], self._low[new])
        self._done = cut

    def put_in(self, move: int) -> None:
        """Put another sheet in before this move."""
        self._deep[self._way[self._since : self._done]] = np.inf
        self.begin, self._since = move, self._done

    def is_air(self, first: int, last: int) -> bool:
        """Whether most of the way from one cut to another lies above what was cut before."""
        here = first + np.flatnonzero(self._across[first:last])
        return _goes_again(self._length, here, self._low[here] > self._deep[self._way[here]] + SAME_DEPTH)


def _seen_from_above(moves: Moves, cuts: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return what tells the ways of some moves, seen from above and in either direction, apart."""
    start, end, sweep = moves.start[cuts, :2], moves.end[cuts, :2], moves.sweep[cuts]
    ways = np.hstack([start, end])
    back = goes_back(ways) | ((start == end).all(axis=1) & (sweep < 0))
    ends = np.where(back[:, None], np.hstack([end, start]), ways)
    centre = np.where(sweep[:, None] != 0, moves.centre[cuts], 0.0)
    return np.hstack([ends, centre, np.where(back, -sweep, sweep)[:, None], _with(moves, cuts)])


@dataclass(frozen=True, eq=False)
class _Outline:
    """A closed way as deep as any: with which move it begins, in which system, and what it sets free."""

    begin: int
    system: int
    inside: shapely.Geometry


def _gone_around(way: shapely.Geometry) -> shapely.Geometry | None:
    """Return what a way goes around; ``None`` where it clears an area, or is not closed."""
    inside = shapely.unary_union([shapely.Polygon(face.exterior) for face in faces_of([way])])
    once = float(shapely.length(shapely.unary_union(way)))
    return inside if float(shapely.length(inside)) > AROUND * once else None


class _Outlines:
    """The outlines of some moves; looked for when they are asked for."""

    def __init__(self, moves: Moves, tops: NDArray[np.float64]) -> None:
        self._moves, self._tops = moves, tops

    @cached_property
    def _all(self) -> list[_Outline]:
        return _outlines(self._moves, self._tops)

    def cross(self, since: int, begin: int, end: int) -> bool:
        """Whether most outlines from one move to another cut through what those since a third set free."""
        before = [outline for outline in self._all if since <= outline.begin < begin]
        here = [outline for outline in self._all if begin <= outline.begin < end]
        if not before or not here:
            return False
        tree = shapely.STRtree([outline.inside for outline in before])
        across = [
            any(
                before[i].system == outline.system and _cut_through(outline.inside, before[i].inside)
                for i in tree.query(outline.inside, predicate="overlaps").tolist()
            )
            for outline in here
        ]
        length = shapely.length([outline.inside for outline in here])
        return float(length[across].sum()) > MOSTLY * float(length.sum())


def _outlines(moves: Moves, tops: NDArray[np.float64]) -> list[_Outline]:
    """Return the closed ways that go as deep as any in their coordinate system, tabs or not, in order."""
    low, pieces = lowest(moves), [piece for piece in chains_of(moves, tops) if len(piece.points) > 1]
    if not pieces:
        return []
    system = np.array([moves.system[piece.moves[0]] for piece in pieces])
    bottom = np.array([low[piece.moves].min() for piece in pieces])
    deepest = {each: bottom[system == each].min() for each in np.unique(system).tolist()}
    through = [
        piece
        for piece, each, deep in zip(pieces, system.tolist(), bottom.tolist(), strict=True)
        if deep <= deepest[each] + SAME_DEPTH
    ]
    # Those in a row are one outline with gaps between them for tabs.
    in_rows = [row for row in rows(through) if len(row) > 1]
    found = []
    for row in [*([piece] for piece in through), *in_rows]:
        begin, points = int(row[0].moves[0]), np.concatenate([piece.points for piece in row])
        if len(row) > 1 or row[0].closed:
            points = np.concatenate([points, points[:1]])
        inside = _gone_around(shape_of(points))
        if inside is not None:
            found.append(_Outline(begin, int(moves.system[begin]), inside))
    return sorted(found, key=lambda outline: outline.begin)


def _cut_through(one: shapely.Geometry, other: shapely.Geometry) -> bool:
    """Whether two areas lie partly in one another, by more than a pass for the finish would."""
    inner, outer = shapely.buffer(one, -FINISH), shapely.buffer(one, FINISH)
    partly = bool(shapely.intersects(inner, shapely.boundary(other)))
    return partly and not (
        bool(shapely.covers(outer, other)) or bool(shapely.covers(shapely.buffer(other, FINISH), one))
    )
