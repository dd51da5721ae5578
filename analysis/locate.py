"""
Which line a moment of sound belongs to, and how sure that is.

By the clock from the moment the spindle is heard to start, put right whenever cutting is heard to begin or
end where the program expects it. Pauses and bit changes last as long as they last: the spindle's next
start begins the next stint.
"""

import contextlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.events import Alarm, Event, PartVerdict, Place, ResumeLine, State, Verdict
from analysis.presence import Phase
from analysis.program import Kind, Machine, Part, Program, Schedule, cutting, find_parts, resume_at, schedule
from analysis.program.engagement import Engagement, engagement
from analysis.watcher import Context

# How wrong the clock is, s: at once after it was put right, and more for each second since.
_SURE, _DRIFT = 0.5, 0.05
# How far off, s, a cut may begin and still be the one that was expected.
_NEAR, _NEAR_AT_FIRST = 1.5, 4.0
# Up to this share of the other family the kind of cut is told.
_MIXED = 0.1
# Seconds by which a change may have begun before it seems to have.
LATE = 2.0
# Seconds that a stint may last longer than planned: the spindle takes time to stop.
_OVERTIME = 4.0
# A cut no deeper than this, mm, is not heard.
_NOTHING = 0.05
# A cut that takes less than this share of what the bit usually takes is not told from air, and neither is
# a silence shorter than this, s.
_LOUD, _APART = 0.2, 0.4
# From these shares of the diameter on, a cut is a slot, a wide or a narrow one.
_SLOT, _WIDE = 0.85, 0.4
KINDS = ("down", "slot", "wide", "narrow")


USUAL = Machine()


@dataclass(frozen=True, eq=False)
class Plan:
    """
    A program as the ear needs it.

    Attributes
    ----------
    program
        As read.
    times
        When each move begins and ends on the program's own clock.
    parts
        The parts it cuts.
    met
        How deep and how wide each move cuts.
    """

    program: Program
    times: Schedule
    parts: tuple[Part, ...]
    met: Engagement

    @classmethod
    def of(cls, program: Program, bits: Mapping[int, Bit], machine: Machine = USUAL) -> "Plan":
        """Return the plan of a program, cut with ``bits`` (by T number, 0 for all others), on a machine."""
        met = engagement(program, bits)
        return cls(program, schedule(program.moves, machine), find_parts(program), met)

    @cached_property
    def cuts(self) -> NDArray[np.bool_]:
        """Which moves take material away, shape (n,)."""
        return cutting(self.program.moves, self.program.top) & (self.met.depth > _NOTHING)

    @cached_property
    def cut_begin(self) -> NDArray[np.float64]:
        """When each move meets the work's top, s, shape (n,): its begin, unless it comes from above."""
        moves, times = self.program.moves, self.times
        high, low = moves.start[:, 2], moves.end[:, 2]
        above = np.clip(high - self.program.top, 0.0, None)
        share = np.divide(above, high - low, out=np.zeros(len(moves)), where=high - low > above)
        return times.begin + np.clip(share, 0.0, 1.0) * (times.end - times.begin)

    @cached_property
    def spells(self) -> tuple[tuple[NDArray[np.float64], NDArray[np.float64]], ...]:
        """When cutting is to be heard to begin and to end, s on the program's clock, for each stint."""
        return tuple(self._spells(first, last) for first, last in self.stints)

    def _spells(self, first: int, last: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        inside = slice(first, last + 1)
        rate = np.where(self.cuts[inside], self.met.rate[inside], 0.0)
        usual = float(np.median(rate[rate > 0])) if (rate > 0).any() else 0.0
        loud = np.concatenate(([False], rate > _LOUD * usual, [False])).astype(np.int8)
        edges = np.diff(loud)
        begins = self.cut_begin[inside][np.flatnonzero(edges == 1)]
        ends = self.times.end[inside][np.flatnonzero(edges == -1) - 1]
        # Too short a silence between two cuts is not heard as one.
        apart = begins[1:] - ends[:-1] >= _APART
        return begins[np.concatenate(([True], apart))[: len(begins)]], ends[
            np.concatenate((apart, [True]))[: len(ends)]
        ]

    @cached_property
    def kinds(self) -> NDArray[np.intp]:
        """Which of ``KINDS`` each move is, shape (n,); one kind of cut is compared with itself."""
        width = self.met.width
        kind = np.where(width >= _SLOT, KINDS.index("slot"), KINDS.index("wide"))
        kind = np.where(width < _WIDE, KINDS.index("narrow"), kind)
        down = np.isin(self.program.moves.kind, (Kind.PLUNGE, Kind.PECK))
        return np.where(down, KINDS.index("down"), kind)

    @cached_property
    def _spent(self) -> NDArray[np.float64]:
        """Seconds before each move, shape (3, n + 1): of cutting straight down, of any cutting, of all."""
        lasting = self.times.end - self.times.begin
        cut = lasting * self.cuts
        down = cut * (self.kinds == KINDS.index("down"))
        return np.cumsum(np.pad([down, cut, lasting], ((0, 0), (1, 0))), axis=1)

    def cutting_between(self, first: int, last: int) -> tuple[float, float]:
        """Return which share of the time from one move to another is cutting, and of that, downwards."""
        down, cut, total = (self._spent[:, last + 1] - self._spent[:, first]).tolist()
        return (cut / total if total > 0 else 0.0), (down / cut if cut > 0 else 0.0)

    @cached_property
    def stints(self) -> tuple[tuple[int, int], ...]:
        """First and last move of each stint: a stretch of moves in which the spindle turns."""
        turning = self.program.moves.speed > 0
        stopped = np.isin(self.program.moves.kind, (Kind.BIT_CHANGE, Kind.PAUSE))
        turning &= ~stopped
        edges = np.flatnonzero(np.diff(np.concatenate(([0], turning.astype(np.int8), [0]))))
        return tuple((int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True))


def resume_before(program: Program, line: int) -> ResumeLine | None:
    """
    Return the line to start again from when ``line`` of the file went wrong.

    ``None`` where none is safe: an alarm is to be heard all the same.
    """
    # The line may be one that is never run: in a subprogram, say. One with a move is.
    run = program.moves.file_line
    for known in (line, int(run[run <= line].max(initial=1))):
        with contextlib.suppress(ProgramError):
            resume = resume_at(program, known)
            return ResumeLine(resume.file_line, resume.word)
    return None


class Locator(Protocol):
    """Follows the place in the program."""

    @property
    def context(self) -> Context:
        """What is being cut now."""

    @property
    def cutting(self) -> float | None:
        """How likely it is that the bit is in the wood now, 0 to 1; ``None`` where nobody knows."""

    @property
    def lines_seen(self) -> int:
        """How many different lines the place has passed over."""

    def row(self, at: float, phase: Phase, level: float = math.nan) -> None:
        """Take in what the spindle does at ``at`` seconds, and the level, dBFS, if it is known."""

    def judged(self, state: State) -> None:
        """Take in what the watcher thinks of the row."""

    def place(self, at: float) -> Place | None:
        """Return where ``at`` was; ``None`` when that is unknown."""

    def complete(self, event: Event) -> Event:
        """Return ``event`` with its place filled in."""

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return each part's verdict; ``learned`` are the bits that have a baseline."""


class Nowhere:
    """The place where there is no program: unknown."""

    context = Context()
    cutting = None
    lines_seen = 0

    def row(self, at: float, phase: Phase, level: float = math.nan) -> None:
        """Learn nothing."""

    def judged(self, state: State) -> None:
        """Learn nothing."""

    def place(self, at: float) -> None:
        """Return that the place is unknown."""

    def complete(self, event: Event) -> Event:
        """Return ``event`` as it is."""
        return event

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return that no parts are known."""
        del learned
        return ()


_SEEN, _HEARD, _SUSPECT = 1, 2, 4
# The share of a part's cutting that must have been heard for it to be good.
_ENOUGH = 0.9


class ClockLocator:
    """
    Follows a plan by the clock and by what is heard to begin and end.

    Parameters
    ----------
    plan
        The program being cut.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._stint = -1
        self._offset: float | None = None
        self._anchored = 0.0
        self._first_cut = True
        self._phase: Phase | None = None
        self._at = self._since = 0.0
        self._marks = np.zeros(len(plan.program.moves), dtype=np.uint8)
        self._seen_to: int | None = None

    @property
    def context(self) -> Context:
        """What is being cut now: the bit, and the kind of move where the place leaves no doubt."""
        moves = self.plan.program.moves
        if not self.plan.stints:
            return Context()
        if self._offset is None:
            first = self.plan.stints[max(self._stint, 0)][0]
            return Context(int(moves.bit[first]))
        if self._is_past(self._at):
            # The spindle was not heard to stop: what it does now, only the sound can tell.
            last = self.plan.stints[self._stint][1]
            return Context(int(moves.bit[last]))
        now, early, late = self._moves_at(self._at)
        cut, down = self.plan.cutting_between(early, late)
        kind = "down" if down > 0.5 else "across"
        return Context(int(moves.bit[now]), kind, cuts=cut > 0.0, told=not _MIXED < down < 1.0 - _MIXED)

    @property
    def cutting(self) -> float | None:
        """Nobody knows: the clock does not say how likely anything is."""
        return None

    @property
    def lines_seen(self) -> int:
        """How many different lines the place has passed over while something was heard."""
        return len(np.unique(self.plan.program.moves.file_line[(self._marks & _SEEN) > 0]))

    def row(self, at: float, phase: Phase, level: float = math.nan) -> None:
        """Take in what the spindle does at ``at`` seconds; the level tells this clock nothing."""
        del level
        before, self._phase, self._at = self._phase, phase, at
        lasted = at - self._since
        if phase is not before:
            self._since = at
        if phase is not Phase.OFF and before in (None, Phase.OFF):
            self._spindle_on(at, heard_start=before is Phase.OFF)
        # What was only called air because the plan says so tells nothing of the plan.
        told = self._offset is not None and before is Phase.CUT and not self.context.cuts
        if phase is not before and Phase.CUT in (phase, before) and lasted >= _APART / 2 and not told:
            self._cut_edge(at, begin=phase is Phase.CUT)

    def judged(self, state: State) -> None:
        """Mark the moves since the last row: passed over, heard to cut, suspect."""
        lost = self._offset is None or self._is_past(self._at)
        if lost or self._phase is Phase.OFF or state in ("deaf", "settle"):
            self._seen_to = None
            return
        now = self._moves_at(self._at)[0]
        since = now if self._seen_to is None else min(self._seen_to, now)
        heard = _HEARD if self._phase is Phase.CUT else 0
        self._marks[since : now + 1] |= _SEEN | heard | (_SUSPECT if state == "alarm" else 0)
        self._seen_to = now

    def place(self, at: float) -> Place | None:
        """Return where ``at`` was; ``None`` when that is unknown."""
        if self._offset is None or self._is_past(at):
            return None
        moves = self.plan.program.moves
        now, early, late = self._moves_at(at)
        lines = moves.file_line[early : late + 1]
        word = int(moves.word[now])
        return Place(
            file=int(moves.file_line[now]),
            word=word if word >= 0 else None,
            first=int(lines.min()),
            last=int(lines.max()),
            source="clock" if self._first_cut else "sound",
        )

    def complete(self, event: Event) -> Event:
        """Return an alarm with its place and its resume line; everything else as it is."""
        if not isinstance(event, Alarm):
            return event
        place = self.place(event.onset)
        if place is None:
            return event
        # A weak change is noticed late: what was cut shortly before is cut again, and looked at.
        early = self._moves_at(event.onset - LATE)[1]
        self._marks[early : self._moves_at(event.at)[0] + 1] |= _SUSPECT
        line = int(self.plan.program.moves.file_line[early])
        resume = resume_before(self.plan.program, min(place.first, line))
        return replace(event, line=place, resume=resume)

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return each part's verdict; ``learned`` are the bits that have a baseline."""
        known = np.isin(self.plan.program.moves.bit, list(learned))
        return tuple(
            PartVerdict(part.name, part.first_line, part.last_line, self._verdict(part, known))
            for part in self.plan.parts
        )

    def _verdict(self, part: Part, known: NDArray[np.bool_]) -> Verdict:
        cut = part.moves[self.plan.cuts[part.moves]]
        marks = self._marks[cut]
        if (marks & _SUSPECT).any():
            return "suspect"
        # By what was taken away, not by time: a light finishing pass is hardly told from air.
        taken = self.plan.met.volume[cut]
        heard = float(taken[((marks & _HEARD) > 0) & known[cut]].sum())
        return "good" if heard >= _ENOUGH * float(taken.sum()) else "unheard"

    def _is_past(self, at: float) -> bool:
        """Return whether ``at`` is later than this stint can have lasted."""
        if self._offset is None:
            return False
        end = float(self.plan.times.end[self.plan.stints[self._stint][1]])
        return at - self._offset > end + max(_OVERTIME, self._uncertainty(at))

    def _uncertainty(self, at: float) -> float:
        first = 1.0 if self._first_cut else 0.0
        return _SURE + first + _DRIFT * max(0.0, at - self._anchored)

    def _moves_at(self, at: float) -> tuple[int, int, int]:
        """Return the likeliest move at ``at``, the earliest and the latest possible."""
        assert self._offset is not None  # noqa: S101 - every caller looked
        first, last = self.plan.stints[self._stint]
        clock = at - self._offset
        doubt = self._uncertainty(at)
        begins = self.plan.times.begin[first : last + 1]
        found = np.searchsorted(begins, [clock, clock - doubt, clock + doubt], side="right") - 1
        now, early, late = (int(index) for index in np.clip(found, 0, last - first) + first)
        return now, early, late

    def _spindle_on(self, at: float, *, heard_start: bool) -> None:
        if not self.plan.stints or not self._is_due(at):
            return
        self._stint += 1
        self._first_cut = True
        self._anchored = at
        first = self.plan.stints[self._stint][0]
        # A recording that begins with the spindle running tells nothing of when it started.
        self._offset = at - float(self.plan.times.begin[first]) if heard_start else None

    def _is_due(self, at: float) -> bool:
        """Return whether the next stint may begin now: it exists, and the last one is nearly through."""
        if self._stint < 0:
            return True
        if self._stint + 1 >= len(self.plan.stints):
            return False
        if self._offset is None:
            return True
        first, last = self.plan.stints[self._stint]
        begin, end = float(self.plan.times.begin[first]), float(self.plan.times.end[last])
        return at - self._offset >= end - max(3.0, 0.15 * (end - begin))

    def _cut_edge(self, at: float, *, begin: bool) -> None:
        """Put the clock right where cutting is heard to begin or end."""
        if not 0 <= self._stint < len(self.plan.stints):
            return
        if begin and self._is_past(at) and self._stint + 1 < len(self.plan.stints):
            # Something in the shop hid that the spindle stopped and started: the next bit is cutting.
            self._stint += 1
            self._offset = None
        edges = self._edges(begin=begin)
        if not len(edges):
            return
        if self._offset is None:
            if begin:
                self._anchor(at, float(edges[0]))
            return
        clock = at - self._offset
        nearest = int(np.abs(edges - clock).argmin())
        # A cut ends by and by, in a finishing pass: that tells less than its beginning.
        near = _NEAR_AT_FIRST if self._first_cut else _NEAR if begin else _NEAR / 2
        gaps = np.abs(np.delete(edges, nearest) - edges[nearest])
        if not self._first_cut and len(gaps):
            near = min(near, 0.45 * float(gaps.min()))
        if self._first_cut and begin:
            nearest = 0
        if abs(float(edges[nearest]) - clock) <= near:
            self._anchor(at, float(edges[nearest]))

    def _anchor(self, at: float, clock: float) -> None:
        self._offset = at - clock
        self._anchored = at
        self._first_cut = False

    def _edges(self, *, begin: bool) -> NDArray[np.float64]:
        """Return when, on the program's clock, cutting is expected to be heard to begin or end now."""
        begins, ends = self.plan.spells[self._stint]
        return begins if begin else ends
