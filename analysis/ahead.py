"""Which lines of a program may be being cut when its controller names one: that one, or some before it."""

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.locate import Plan

AHEAD = 20
"""A controller reads this many lines ahead of the one that it executes, and some tell what they read."""

# A cut at half the feed takes twice as long; so many seconds are nothing to wonder at, and so many where
# nobody knows how long a line takes.
_SLOWER, _ANYWAY, _UNPLANNED = 2.0, 5.0, 60.0


class Ahead:
    """
    What a controller means by a line that it names.

    Parameters
    ----------
    plan
        The program being cut; ``None`` where nobody knows it, and then lines are taken to be run in order.
    ahead
        How many lines it may have read beyond the one that it executes.
    by_word
        Whether it names N-words: then each line without one is named by the last one before it.

    Attributes
    ----------
    lines
        The same.
    """

    def __init__(self, plan: Plan | None, ahead: int, *, by_word: bool = False) -> None:
        self._plan = plan
        self._by_word = by_word
        self.lines = ahead
        self._known: dict[int, tuple[int, int]] = {}

    def line(self, file_line: int | None, word: int | None, after: int = 0) -> int | None:
        """
        Return the line of the file that is named; ``None`` when none is, or none that there is.

        Without a file line it is the one that lies ``after`` lines after the N-word. N-words may repeat, and
        one that does names no line.
        """
        if file_line is None and word is not None:
            known = self._words.get(word)
            file_line = None if known is None else known + after
        # A line that the file does not have names no place: the program being cut is another one.
        last = len(self._plan.program.lines) if self._plan else np.inf
        return file_line if file_line is not None and 1 <= file_line <= last else None

    def word(self, line: int) -> int | None:
        """Return the N-word of a line of the file; ``None`` when it has none."""
        return self._plan.program.word_of(line) if self._plan else None

    def span(self, line: int) -> tuple[int, int]:
        """Return the first and the last line that may be being cut when ``line`` is named."""
        if line not in self._known:
            executed = self._executed(line)
            first, last = max(1, line - self.lines), line
            self._known[line] = (
                min(first, int(executed.min(initial=first))),
                max(last, int(executed.max(initial=last))),
            )
        return self._known[line]

    def moves(self, line: int, seconds: float = 0.0) -> tuple[int, int] | None:
        """
        Return the first and the last move that may be going on when ``line`` is named, if it ever runs.

        ``seconds`` of the program may have gone by since, unnamed.
        """
        runs = self._runs(line)
        if self._plan is None or not len(runs):
            return None
        last = int(self._ends[self._until(runs)].max())
        if seconds > 0.0:
            last = self._later(last, seconds)
        return int(self._starts[max(runs[0] - self.lines, 0)]), last

    def _later(self, move: int, seconds: float) -> int:
        """Return the last move that may have begun some seconds after the end of another."""
        assert self._plan is not None  # noqa: S101 - there is no move without it
        times = self._plan.times
        return max(move, int(np.searchsorted(times.begin, times.end[move] + seconds, side="right")) - 1)

    def untold(self, before: int, line: int) -> tuple[int, float]:
        """Return how many lines lie between two that are named, and for how long, s, these run at least."""
        runs, ends = self._runs(line), self._until(self._runs(before))
        following = np.searchsorted(runs, ends, side="right")
        ends, following = ends[following < len(runs)], following[following < len(runs)]
        if self._plan is None or not len(ends):
            return 0, 0.0
        nearest = int((runs[following] - ends).argmin())
        first, last = int(ends[nearest]), int(runs[following[nearest]])
        times = self._plan.times
        between = times.begin[self._starts[last]] - times.end[self._ends[first]]
        return last - first - 1, float(between)

    def patience(self, line: int) -> float:
        """Return for how long, s, it is nothing to wonder at that no other line is named after ``line``."""
        runs = self._runs(line)
        if self._plan is None or not len(runs):
            return _UNPLANNED
        begin = self._plan.times.begin[self._starts[np.maximum(runs - self.lines, 0)]]
        end = self._plan.times.end[self._ends[self._until(runs)]]
        return _ANYWAY + _SLOWER * float((end - begin).max())

    def span_later(self, line: int, seconds: float) -> tuple[int, int]:
        """Return the span where the cut may have gone on for ``seconds`` of the program since, unnamed."""
        first, last = self.span(line)
        runs = self._runs(line)
        if self._plan is None or not len(runs):
            return first, last
        since, last_of_all = int(self._ends[runs[0]]), int(self._ends[self._until(runs)].max())
        passed = self._plan.program.moves.file_line[since : self._later(last_of_all, seconds) + 1]
        return min(first, int(passed.min())), max(last, int(passed.max()))

    def _executed(self, line: int) -> NDArray[np.intp]:
        """Return the lines that may be executed when ``line`` is named, each time that it is."""
        runs = self._runs(line)
        spans = zip(np.maximum(runs - self.lines, 0).tolist(), self._until(runs).tolist(), strict=True)
        found = [self._order[first : last + 1] for first, last in spans]
        return np.concatenate(found) if found else np.zeros(0, dtype=np.intp)

    def _until(self, runs: NDArray[np.intp]) -> NDArray[np.intp]:
        """Return when the last line is executed that is named by each of some, counted in lines."""
        if not self._by_word or not len(runs):
            return runs
        following = np.append(self._worded, len(self._order))
        nearest = following[np.searchsorted(self._worded, runs, side="right")]
        return np.asarray(np.maximum(nearest - 1, runs))

    def _runs(self, line: int) -> NDArray[np.intp]:
        """Return when the line is executed, counted in lines; of one without a move, the line before it."""
        if self._plan is None:
            return np.zeros(0, dtype=np.intp)
        first = np.searchsorted(self._sorted, line, side="right")
        if not first:
            return np.zeros(0, dtype=np.intp)
        nearest = self._sorted[first - 1]
        return self._sorting[np.searchsorted(self._sorted, nearest) : first]

    @cached_property
    def _starts(self) -> NDArray[np.intp]:
        """First move of each line in order of execution."""
        lines = self._plan.program.moves.file_line if self._plan else np.zeros(0, dtype=np.intp)
        return np.flatnonzero(np.diff(lines, prepend=-1))

    @cached_property
    def _ends(self) -> NDArray[np.intp]:
        """Last move of each line in order of execution."""
        count = len(self._plan.program.moves) if self._plan else 0
        return np.append(self._starts[1:], count) - 1

    @cached_property
    def _order(self) -> NDArray[np.intp]:
        """Lines of the file in order of execution."""
        lines = self._plan.program.moves.file_line if self._plan else np.zeros(0, dtype=np.intp)
        return lines[self._starts].astype(np.intp)

    @cached_property
    def _worded(self) -> NDArray[np.intp]:
        """When lines that have an N-word are executed, counted in lines."""
        has = [self.word(line) is not None for line in np.unique(self._order).tolist()]
        return np.flatnonzero(np.isin(self._order, np.unique(self._order)[np.array(has, dtype=bool)]))

    @cached_property
    def _sorting(self) -> NDArray[np.intp]:
        return np.argsort(self._order, kind="stable")

    @cached_property
    def _sorted(self) -> NDArray[np.intp]:
        return self._order[self._sorting]

    @cached_property
    def _words(self) -> dict[int, int | None]:
        """Of each N-word the line that it stands on; ``None`` when there are several."""
        found: dict[int, int | None] = {}
        for line in range(1, 1 + (len(self._plan.program.lines) if self._plan else 0)):
            if (word := self.word(line)) is not None:
                found[word] = None if word in found else line
        return found
