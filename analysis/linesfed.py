"""The place in the program where line numbers come from outside, narrowed by sound."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.events import Alarm, Event, PartVerdict, Place, State
from analysis.locate import LATE, Locator, resume_before
from analysis.presence import Phase
from analysis.program import Program
from analysis.watcher import Context

# A controller reads this many lines ahead of the one that it executes, and some report what they read.
AHEAD = 20


@dataclass(frozen=True)
class Report:
    """A line number from outside: when it came, s from the first sample, and which line it named."""

    at: float
    file_line: int | None
    word: int | None


class FedLocator:
    """
    Follows line numbers from outside; where there is a program, sound narrows what they leave open.

    Parameters
    ----------
    reports
        In order of time.
    base
        What follows the place by sound.
    program
        The program being cut; needed for reports of N-words.
    ahead
        By how many lines a report may be ahead of the cutting.
    """

    def __init__(
        self, reports: Sequence[Report], base: Locator, program: Program | None, ahead: int = AHEAD
    ) -> None:
        self._base = base
        self._program = program
        self._ahead = ahead
        known = ((report.at, self._line(report)) for report in reports)
        told = [(at, line) for at, line in known if line is not None]
        self._times = [at for at, _ in told]
        self._lines = [line for _, line in told]
        self._at = 0.0

    def _line(self, report: Report) -> int | None:
        line = self._line_of(report)
        # A line that the file does not have names no place: the program being cut is another one.
        last = len(self._program.lines) if self._program else math.inf
        return line if line is not None and 1 <= line <= last else None

    def _line_of(self, report: Report) -> int | None:
        if report.file_line is not None or self._program is None:
            return report.file_line
        if report.word is None or report.word < 0:
            return None
        moves = self._program.moves
        found = moves.file_line[moves.word == report.word]
        # An N-word may stand on several lines: then it names none.
        return int(found[0]) if len(np.unique(found)) == 1 else None

    @property
    def context(self) -> Context:
        """What is being cut now, by the base."""
        return self._base.context

    @property
    def cutting(self) -> float | None:
        """How likely it is that the bit is in the wood now, by the base."""
        return self._base.cutting

    @property
    def lines_seen(self) -> int:
        """How many different lines were passed over, by the base; without one, how many were named."""
        named = len(set(self._lines[: bisect_right(self._times, self._at)]))
        return self._base.lines_seen or named

    def row(self, at: float, phase: Phase, level: float = math.nan) -> None:
        """Take in what the spindle does at ``at`` seconds, and the level of the sound, dBFS."""
        self._at = at
        self._base.row(at, phase, level)

    def judged(self, state: State) -> None:
        """Take in what the watcher thinks of the row."""
        self._base.judged(state)

    def place(self, at: float) -> Place | None:
        """Return where ``at`` was: within the lines before the last one named, and near the sound's place."""
        heard = self._base.place(at)
        index = bisect_right(self._times, at) - 1
        if index < 0:
            return heard
        named = self._lines[index]
        first = max(1, named - self._ahead)
        if heard is None:
            return Place(named, self._word(named), first, named, "lines")
        low, high = max(first, heard.first), min(named, heard.last)
        if low > high:
            return Place(named, self._word(named), first, named, "lines")
        line = min(max(heard.file, low), high)
        return Place(line, self._word(line), low, high, "lines")

    def _word(self, line: int) -> int | None:
        if self._program is None:
            return None
        moves = self._program.moves
        words = moves.word[moves.file_line == line]
        return int(words[0]) if len(words) and words[0] >= 0 else None

    def complete(self, event: Event) -> Event:
        """Return an alarm with its place and its resume line; everything else as it is."""
        event = self._base.complete(event)
        if not isinstance(event, Alarm):
            return event
        place = self.place(event.onset)
        if place is None or self._program is None:
            return replace(event, line=place)
        # A weak change is noticed late: what was cut shortly before is cut again.
        before = self.place(event.onset - LATE) or place
        first = min(place.first, before.first)
        return replace(event, line=place, resume=resume_before(self._program, first))

    def mark(self, line: int) -> None:
        """Let the base take in that a line is being cut now; lines that came before no longer count."""
        self._base.mark(line)
        first = bisect_right(self._times, self._at)
        self._times, self._lines = self._times[first:], self._lines[first:]

    def acquit(self) -> None:
        """Let the base take back what the last alarm made suspect."""
        self._base.acquit()

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return each part's verdict, by the base."""
        return self._base.verdicts(learned)
