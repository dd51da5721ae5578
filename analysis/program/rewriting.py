"""
Moves written out anew: absolute words, one motion a line, no cycles, no offsets, no calls.

What is written is remembered with the move that it stands for, so that it can be read again and compared.
"""

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.program.cautions import comments
from analysis.program.moves import AXES_OF_PLANE, Kind, Moves, lowest
from analysis.program.points import Points, length, number
from analysis.program.program import Program
from analysis.program.reader import read

NOTHING, ENTRY, AGAIN = -1, -2, -3
"""A line that feeds nothing; one that comes down to where a cut begins; a traverse that is fed instead."""

OFF_ORIGINAL = 1e-4
"""mm; what is written must lead this near to where the original goes."""

_AXES, _CENTRES = "XYZ", "IJK"
_DOWN_TO = 1e-6


class Lines:
    """
    Lines of a program, in the making.

    Parameters
    ----------
    moves
        Of the original.
    scale
        mm in the unit that is written.
    top
        Z of the work's top, mm: nothing traverses below it but straight up.
    points
        How the original writes whole numbers.

    Attributes
    ----------
    text
        The lines so far.
    stands_for
        For each line, the index of the move that it stands for, or `NOTHING`, `ENTRY` or `AGAIN`.
    """

    def __init__(self, moves: Moves, scale: float, top: float, points: Points) -> None:
        self.text: list[str] = []
        self.stands_for: list[int] = []
        self._moves = moves
        self._scale = scale
        self._top = top
        self._points = points
        self._decimals = 6 if scale > 1 else 5
        self._plane = 17
        self._feed = ""
        self._at: dict[str, str] = {}

    def say(self, *lines: str) -> None:
        """Write lines that feed nothing."""
        for line in lines:
            self._write(line, NOTHING)

    def remark(self, texts: Iterable[str]) -> None:
        """Write comments."""
        self.say(*comments(texts))

    def up(self, z: float) -> None:
        """Traverse straight up, or from wherever the bit is along Z alone."""
        self._at.pop("Z", None)
        self.say("G0" + self._place(z=z))

    def enter(self, first: int, height: float, feed: float) -> None:
        """Traverse across at this height to above where a move begins, and come down to there at feed."""
        x, y, z = self._moves.start[first].tolist()
        self._at = {"Z": self._length(height)}
        self.say("G0" + self._place(x=x, y=y))
        place = self._place(z=z)
        if place:
            self._write("G1" + place + self._rate(feed), ENTRY)

    def move(self, i: int, feed: float) -> None:
        """Write one move; `feed`, mm/min, is for a traverse that has to be fed."""
        kind = self._moves.kind[i]
        if kind == Kind.DWELL:
            seconds = float(self._moves.seconds[i])
            self.say(f"G4 P{number(seconds, 3, point=self._points.waits)}")
        elif kind == Kind.PAUSE:
            self.say("M0")
        elif math.isnan(self._moves.feed[i]):
            self._traverse(i, feed)
        elif self._moves.sweep[i]:
            self._arc(i)
        else:
            self._straight(i, float(self._moves.feed[i]), i)

    def _traverse(self, i: int, feed: float) -> None:
        start, end = self._moves.start[i].tolist(), self._moves.end[i].tolist()
        straight_up = math.dist(start[:2], end[:2]) < _DOWN_TO and end[2] >= start[2]
        if straight_up or min(start[2], end[2]) >= self._top - _DOWN_TO:
            place = self._place(*end)
            if place:
                self.say("G0" + place)
        else:
            self._straight(i, feed, AGAIN)

    def _straight(self, i: int, feed: float, stands_for: int) -> None:
        place = self._place(*self._moves.end[i].tolist())
        if place:
            self._write("G1" + place + self._rate(feed), stands_for)

    def _arc(self, i: int) -> None:
        moves, plane = self._moves, int(self._moves.plane[i])
        if plane != self._plane:
            self.say(f"G{plane}")
            self._plane = plane
        first, second, normal = AXES_OF_PLANE[plane]
        end = moves.end[i].tolist()
        words = [f" {_AXES[axis]}{self._length(end[axis])}" for axis in sorted((first, second))]
        for axis in (first, second):
            self._at[_AXES[axis]] = self._length(end[axis])
        along = self._place(**{_AXES[normal].lower(): end[normal]})
        middle = [
            f" {_CENTRES[axis]}{self._length(float(moves.centre[i, axis] - moves.start[i, axis]))}"
            for axis in sorted((first, second))
        ]
        turn = "G2" if moves.sweep[i] < 0 else "G3"
        self._write(turn + "".join([*words, along, *middle]) + self._rate(float(moves.feed[i])), i)

    def back_to_xy(self) -> None:
        """Put the plane back to XY."""
        if self._plane != 17:
            self.say("G17")
            self._plane = 17

    def _place(self, x: float | None = None, y: float | None = None, z: float | None = None) -> str:
        """Write the coordinates that differ from where the bit stands."""
        words = ""
        for axis, value in zip(_AXES, (x, y, z), strict=True):
            text = None if value is None else self._length(value)
            if text is not None and self._at.get(axis) != text:
                self._at[axis] = text
                words += f" {axis}{text}"
        return words

    def _length(self, millimetres: float) -> str:
        return length(millimetres / self._scale, self._decimals)

    def _rate(self, feed: float) -> str:
        rate = feed / self._scale
        text = number(rate, max(7 - len(str(int(rate))), 0), point=self._points.feeds)
        if text == self._feed:
            return ""
        self._feed = text
        return f" F{text}"

    def _write(self, line: str, stands_for: int) -> None:
        self.text.append(line)
        self.stands_for.append(stands_for)


def feeds_the_same(
    lines: Lines, program: Program, top: float, chosen: Sequence[int], bits: Sequence[int]
) -> bool:
    """
    Read what was written, and return whether it feeds the chosen moves, in order, and no others.

    Parameters
    ----------
    lines
        As written.
    program
        The original.
    top
        Z of the work's top where they are cut, mm.
    chosen
        Indices of its moves.
    bits
        The T number that each of them is cut with.

    Returns
    -------
    bool
        Also whether nothing traverses below the top of the work but straight up.
    """
    again = read("\n".join(lines.text), program.name).moves
    stands_for = np.array(lines.stands_for)[again.file_line - 1]
    fed = np.isfinite(again.feed)
    meant = np.flatnonzero(fed & (stands_for >= 0))
    wanted = np.array(chosen)
    wanted = wanted[np.isfinite(program.moves.feed[wanted])]
    written = np.isin(wanted, lines.stands_for)
    below = lowest(again) < top - _DOWN_TO
    bit = dict(zip(chosen, bits, strict=True))
    return bool(
        np.array_equal(stands_for[meant], wanted[written])
        and (program.moves.length[wanted[~written]] < OFF_ORIGINAL).all()
        and not (fed & (stands_for == NOTHING)).any()
        and not (below & (again.kind == Kind.RAPID)).any()
        and same_feeds(program.moves, stands_for[meant], again, meant)
        and np.allclose(program.moves.start[stands_for[meant]], again.start[meant], rtol=0, atol=OFF_ORIGINAL)
        and all(bit[int(i)] == b for i, b in zip(stands_for[meant], again.bit[meant], strict=True) if b)
    )


def same_feeds(moves: Moves, old: NDArray[np.intp], again: Moves, new: NDArray[np.intp]) -> bool:
    """Whether some moves of one program lead the same way, as fast, as some moves of another."""
    if len(old) != len(new):
        return False
    return bool(
        np.allclose(moves.end[old], again.end[new], rtol=0, atol=OFF_ORIGINAL)
        and np.allclose(moves.sweep[old], again.sweep[new], rtol=0, atol=1e-3)
        and np.allclose(moves.centre[old], again.centre[new], rtol=0, atol=1e-3, equal_nan=True)
        and np.allclose(moves.feed[old], again.feed[new], rtol=1e-4)
        and np.array_equal(moves.speed[old], again.speed[new])
        and np.array_equal(moves.spun[old], again.spun[new])
    )
