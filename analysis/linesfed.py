"""The place in the program where line numbers come from outside, narrowed by sound."""

import math
from bisect import bisect_left, bisect_right, insort
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.ahead import AHEAD, Ahead
from analysis.cut import Context
from analysis.events import Alarm, Event, PartVerdict, Place, State
from analysis.locate import REMEMBERS, Locator, Plan, resume_before, resume_line
from analysis.pace import Learned
from analysis.presence import Phase
from analysis.program import Resume
from analysis.punctual import TOGETHER, Punctual
from analysis.restarted import Restarted
from analysis.which_bit import Fit

# Reports that come within this time, s, may have changed their order on the way.
_SHUFFLED = 1.0
# Where lines are short, sound is a line or so off.
_BESIDE = 1
# So many reports of lines that the program does not have are kept.
_MOST_ODD = 100_000
# How much later, s, a line that was named is forgotten than it is asked for.
_LATER = 600.0
# A cut may run at one and a half times its feed while nothing is reported.
_FASTER = 1.5
# For so long, s, sound must tell which of two programs is run, where the lines leave that open.
_SURELY = 5.0
# Comments at the head of a program go by in less than this, s.
_IN_PASSING = 0.5


@dataclass(frozen=True)
class Report:
    """
    A line number from outside.

    Attributes
    ----------
    at
        When it came, s from the first sample.
    file_line
        The line of the program's file, counted from 1; ``None`` when it was not told.
    word
        The number of the N-word; ``None`` when it was not told.
    after
        How many lines after the N-word it is.
    """

    at: float
    file_line: int | None
    word: int | None
    after: int = 0


class _Named(NamedTuple):
    """The line that was named, or those of which one was, and by what."""

    lines: tuple[int, ...]
    report: Report

    @property
    def at(self) -> float:
        """When it was named, s from the first sample."""
        return self.report.at


class _Told(NamedTuple):
    """
    What reports tell of a moment: the lines, and whether they are to be believed against the sound.

    ``later`` is for how long, s, the program may have gone on since the last of them was named, untold.
    """

    by: _Named
    first: int
    last: int
    fresh: bool
    later: float = 0.0

    def meets(self, heard: Place) -> bool:
        """Return whether a place by sound has lines in common with these."""
        return heard.first <= self.last and self.first <= heard.last


class FedLocator:
    """
    Follows line numbers from outside; where there is a program, sound narrows what they leave open.

    Reports may be given as they come or all in advance: what is told of a moment at a moment depends on
    those alone that had come by then.

    Parameters
    ----------
    base
        What follows the place by sound.
    plan
        The program being cut; needed for reports of N-words.
    ahead
        By how many lines a report may be ahead of the cutting.
    """

    def __init__(self, base: Locator, plan: Plan | None, ahead: int = AHEAD) -> None:
        self._base = base
        self._plan = plan
        self._ahead = Ahead(plan, ahead)
        self._by_word = Ahead(plan, ahead, by_word=True)
        self._named: list[_Named] = []
        self._forgotten: set[int] = set()
        # Given in advance, of lines that the program does not have: a restart program may.
        self._odd: deque[Report] = deque(maxlen=_MOST_ODD)
        self._at = 0.0
        self._punctual = Punctual(_FASTER * _SHUFFLED)
        self._restarted: Restarted | None = None
        # Whether that is run since it went on, as far as it is known, and up to when reports were asked.
        self._runs_restart: bool | None = None
        self._since = self._looked = 0.0
        # The line at which it stood then, which may be told again until it goes on.
        self._held: _Line | None = None
        # The first line named that the original has before, and the first report of one on which the restart
        # program does nothing.
        self._before: int | None = None
        self._idle: Report | None = None
        # Whether sound was put right since then, for how many s more it spoke for the restart program, and
        # whether it has told which of the two is run.
        self._begun, self._speaks, self._heard_which = False, 0.0, False

    def report(self, report: Report) -> bool:
        """Take in a line number; return whether it names a line of the program: else it tells nothing."""
        lines = self._meant(report)
        if lines:
            insort(self._named, _Named(lines, report), key=_when)
        else:
            self._odd.append(report)
        return bool(lines)

    def names(self, report: Report) -> bool:
        """Return whether a report names a line of the program."""
        return bool(self._meant(report))

    def _meant(self, report: Report) -> tuple[int, ...]:
        """Return the line that a report names, or those of which it names one; none where it names none."""
        return self._may_mean(report, self._runs_restart)

    def _may_mean(self, report: Report, runs_restart: bool | None) -> tuple[int, ...]:
        own = report.file_line
        if own is None or self._restarted is None or report.at <= self._since:
            may_be: tuple[int | None, ...] = (own,)
        else:
            may_be = self._restarted.meant(own, restart=runs_restart)
        found = (self._ahead.line(line, report.word, report.after) for line in may_be)
        return tuple(line for line in found if line is not None)

    def _find_out(self, now: float) -> None:
        """Find out from what has come by now whether the restart program is run or the original."""
        if self._restarted is None or self._runs_restart is not None:
            return
        begin = bisect_right(self._named, max(self._since, self._looked), key=_when)
        come = [named.report for named in self._named[begin : bisect_right(self._named, now, key=_when)]]
        told = (self._tells(report, self._restarted) for report in come if self._is_new(report))
        self._decide(next((runs for runs in told if runs is not None), None))
        self._looked = max(self._looked, now)

    def _is_new(self, report: Report) -> bool:
        """Return whether a line was named since it went on that is another than the one at which it stood."""
        if _line(report) != self._held:
            self._held = None
        return self._held is None

    def _tells(self, report: Report, restarted: Restarted) -> bool | None:
        """Return whether a report can only come from the restart program, or from the original."""
        line = report.file_line
        if line is None:
            return None
        told = restarted.tells(line, self._ahead.lines)
        if line < restarted.line:
            # A control that was wound back shows its first line, whatever it runs then.
            self._before = self._before or line
            return True if line != self._before else None
        if told is None and restarted.idles(line, self._ahead.lines):
            self._idle = self._idle or report
            stays = line != self._idle.file_line and report.at - self._idle.at > _IN_PASSING
            return False if stays else None
        if told is not None or report.word is None or line <= restarted.head:
            return told
        ours = self._ahead.word(restarted.original(line)) == report.word
        theirs = self._ahead.word(line) == report.word
        return None if ours == theirs else ours

    def _listen_which(self, at: float) -> None:
        """Let sound tell which of the two is run, once it has been put right by the first cut."""
        if self._restarted is None or self._heard_which or not self._begun or not self._base.sure:
            return
        index = bisect_right(self._named, at, key=_when) - 1
        line = self._named[index].report.file_line if index >= 0 else None
        told, heard = self._told(at), self._base.place(at)
        if line is None or heard is None or told is None or not told.fresh:
            return
        ours, theirs = self._meets(heard, self._restarted.original(line)), self._meets(heard, line)
        self._speaks += (ours - theirs) * (at - self._at)
        if abs(self._speaks) > _SURELY:
            self._heard_which = True
            self._decide(self._speaks > 0)

    def _meets(self, heard: Place, line: int) -> bool:
        first, last = self._ahead.span(line)
        return heard.first <= last and first <= heard.last

    def _decide(self, runs_restart: bool | None) -> None:
        """Put the lines named since it went on into those of the original, once it is known how."""
        if runs_restart not in (None, self._runs_restart):
            self._runs_restart = runs_restart
            self._name_again(self._since)

    def _name_again(self, since: float) -> None:
        """Take in all reports anew that came after a moment, or are still to come."""
        here = bisect_right(self._named, since, key=_when)
        later = [named.report for named in self._named[here:]]
        later += [report for report in self._odd if report.at > since]
        del self._named[here:]
        self._odd.clear()
        for report in sorted(later, key=lambda report: report.at):
            self.report(report)

    @property
    def context(self) -> Context:
        """What is being cut now, by the base."""
        return self._base.context

    @property
    def cutting(self) -> float | None:
        """How likely it is that the bit is in the wood now, by the base."""
        return self._base.cutting

    @property
    def sure(self) -> bool:
        """Whether what is heard fits the place, by the base."""
        return self._base.sure

    @property
    def learned(self) -> Learned:
        """What was learned of the machine, by the base."""
        return self._base.learned

    @property
    def lines_seen(self) -> int:
        """How many different lines were passed over, by the base; without one, how many were named."""
        come = self._named[: bisect_right(self._named, self._at, key=_when)]
        return self._base.lines_seen or len(self._forgotten | {named.lines[0] for named in come})

    @property
    def lags(self) -> bool:
        """Whether lines come so late, or so few of them, that the cut may be beyond the one named last."""
        return self._punctual.lags

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """
        Take in what the spindle does at ``at`` seconds, and the level of the sound, dBFS.

        ``bits`` is how well each bit, by T number, fits what is heard, as far as that is known.
        """
        self._find_out(at)
        self._listen_which(at)
        self._look_how_late(at)
        self._at = at
        self._forget()
        told = self._told(at)
        self._base.told(self._moves(told) if told and told.fresh else None)
        self._base.row(at, phase, level, bits)

    def _look_how_late(self, at: float) -> None:
        begin = bisect_right(self._named, self._at, key=_when)
        for named in self._named[begin : bisect_right(self._named, at, key=_when)]:
            self._punctual.take(named.at, named.lines[0], self._means(named.report))

    def _moves(self, told: _Told) -> tuple[int, int] | None:
        """Return the first and the last move that may go on, of both programs until sound tells which."""
        which = self._runs_restart if self._heard_which else None
        means, report = self._means(told.by.report), told.by.report
        spans = [means.moves(line, told.later) for line in self._may_mean(report, which)]
        found = [between for between in spans if between is not None]
        return _around(found) if found else None

    def _means(self, report: Report) -> Ahead:
        """Return what is meant by a line that was named so."""
        return self._by_word if report.file_line is None and not report.after else self._ahead

    def _span(self, named: _Named) -> tuple[int, int]:
        """Return the first and the last line that may be being cut when these are named."""
        return _around([self._means(named.report).span(line) for line in named.lines])

    def _forget(self) -> None:
        """Forget what was named long ago, much at once: a run may last for a day."""
        if self._named and self._named[0].at < self._at - REMEMBERS - _LATER:
            old = bisect_left(self._named, self._at - REMEMBERS, key=_when)
            self._forgotten.update(named.lines[0] for named in self._named[:old])
            del self._named[:old]

    def told(self, moves: tuple[int, int] | None) -> None:
        """Let the base take in the moves that it may be."""
        self._base.told(moves)

    def judged(self, state: State) -> None:
        """Take in what the watcher thinks of the row."""
        self._base.judged(state)

    def place(self, at: float) -> Place | None:
        """Return where ``at`` was: within the lines before the last one named, and near the sound's place."""
        self._find_out(max(at, self._at))
        heard, told = self._base.place(at), self._told(at)
        if told is None or (heard and not told.fresh and not told.meets(heard)):
            return heard
        if self._plan is None and not told.fresh:
            return None
        first, last, line = told.first, told.last, told.by.lines[0]
        if heard is not None and told.meets(heard):
            if self._base.sure or not told.fresh:
                first, last = max(first, heard.first - _BESIDE), min(last, heard.last + _BESIDE)
            line = min(max(heard.file, first), last)
        return Place(line, self._ahead.word(line), first, last, "lines")

    def _told(self, at: float) -> _Told | None:
        """Return what the reports that have come tell of ``at``; ``None`` when none had come by then."""
        index = bisect_right(self._named, at, key=_when) - 1
        if index < 0:
            return None
        named = self._named[index]
        means = self._means(named.report)
        # The cut may have gone on since the line was named, as far as the next ones that are.
        following = self._come_next(index + 1, max(at, self._at))
        age, later, fresh = at - named.at, 0.0, True
        if not following:
            fresh = age <= max(map(means.patience, named.lines))
            later = _FASTER * age if self._punctual.lags or not fresh else 0.0
        spans = [means.span_later(line, later) for line in named.lines] if later else [self._span(named)]
        reached = [self._ahead.span(line) for then in following for line in then.lines]
        first, last = _around([*spans, *reached])
        if fresh:
            recent = self._named[bisect_left(self._named, at - _SHUFFLED, key=_when) : index + 1]
            last = max([last, *(self._span(then)[1] for then in recent)])
        return _Told(named, first, last, fresh, later)

    def _come_next(self, index: int, now: float) -> list[_Named]:
        """Return the first lines from an index on that have come by now, and those that came with them."""
        if index >= len(self._named) or self._named[index].at > now:
            return []
        together = min(self._named[index].at + TOGETHER, now)
        return self._named[index : bisect_right(self._named, together, key=_when)]

    def complete(self, event: Event) -> Event:
        """Return an alarm with its place and its resume line; everything else as it is."""
        event = self._base.complete(event)
        if not isinstance(event, Alarm):
            return event
        place = self.place(event.onset)
        if self._plan is None:
            return replace(event, line=place)
        if place is None or self._told(event.onset) is None:
            return event
        if self._plan.repeats and event.resume and self._is_told_by_sound(event.onset):
            return replace(event, line=place)
        # A weak change is noticed late: what was cut shortly before is cut again.
        before = self.place(event.last_good)
        since_good = event.onset - event.last_good
        good = before.first if before else _line_before(self._plan, place.first, since_good)
        resume = resume_before(self._plan.program, *_cut_again(self._plan, good, place.first))
        now = self.place(event.at) or place
        self._base.spoil(_between(self._plan, resume, place.first, max(place.last, now.last)))
        return replace(event, line=place, resume=resume_line(resume))

    def _is_told_by_sound(self, at: float) -> bool:
        """Return whether sound tells surely which run of a line ``at`` was; the lines alone do not."""
        heard, told = self._base.place(at), self._told(at)
        return heard is not None and (told is None or (told.meets(heard) and self._base.sure))

    def mark(self, line: int) -> None:
        """Let the base take in that a line is being cut now; lines that came before no longer count."""
        self._base.mark(line)
        self._find_out(self._at)
        self._begun = True
        self._named = self._named[bisect_right(self._named, self._at, key=_when) :]

    def spoil(self, moves: NDArray[np.bool_]) -> None:
        """Let the base take in which moves may have been spoiled."""
        self._base.spoil(moves)

    def carries_on(self, line: int) -> None:
        """Take in that it goes on from a line: from now on lines of the file may be a restart program's."""
        self._base.carries_on(line)
        index = bisect_right(self._named, self._at, key=_when) - 1
        # Who marks a line meanwhile tells nothing of where it stood.
        self._held = _line(self._named[index].report) if index >= 0 else self._held
        self._before = None
        self._restarted = Restarted.of(self._plan.program, line) if self._plan else None
        self._runs_restart = None
        self._since = self._looked = self._at
        self._idle = None
        self._begun, self._speaks, self._heard_which = False, 0.0, False
        self._name_again(self._at)

    def tightened(self, bit: int) -> None:
        """Let the base take in that a bit was tightened."""
        self._base.tightened(bit)

    def dispel(self, bit: int) -> None:
        """Let the base take back what the doubt of a bit made suspect."""
        self._base.dispel(bit)

    def acquit(self) -> None:
        """Let the base take back what the last alarm made suspect."""
        self._base.acquit()

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return each part's verdict, by the base."""
        return self._base.verdicts(learned)


def _between(plan: Plan, resume: Resume | None, first: int, last: int) -> NDArray[np.bool_]:
    """Return which moves lie on lines of the file, shape (n,), or between where to start again and these."""
    lines = plan.program.moves.file_line
    found = (lines >= first) & (lines <= last)
    if resume is not None and found.any():
        found[resume.move : np.flatnonzero(found)[-1]] = True
    return found


def _cut_again(plan: Plan, before: int, onset: int) -> tuple[int, ...]:
    """Return the lines to be cut again, or those after them, when it went wrong between two lines."""
    if plan.repeats:
        return before, onset
    lines = plan.program.moves.file_line
    moves = np.minimum(np.searchsorted(lines, (min(before, onset), onset)), len(lines) - 1)
    return (min(onset, int(lines[plan.cut_again(*moves.tolist())])),)


def _line_before(plan: Plan, line: int, seconds: float) -> int:
    """Return the line that may have been run some seconds before a line of the file."""
    lines = plan.program.moves.file_line
    begins = np.flatnonzero(lines >= line)
    move = int(begins[0]) if len(begins) else len(lines) - 1
    return min(line, int(lines[plan.run_before(move, seconds)]))


def _around(spans: list[tuple[int, int]]) -> tuple[int, int]:
    return min(first for first, _ in spans), max(last for _, last in spans)


_Line = tuple[int | None, int | None, int]


def _line(report: Report) -> _Line:
    return report.file_line, report.word, report.after


def _when(named: _Named) -> float:
    return named.at
