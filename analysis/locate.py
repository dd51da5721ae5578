"""
What has to be known of a program to tell which line a moment of sound belongs to.

`analysis.place` follows the place by sound, `analysis.linesfed` by lines from outside; where there is no
program it is `Nowhere`.
"""

import contextlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.cut import FAMILIES, Context
from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.events import Event, PartVerdict, Place, ResumeLine, State
from analysis.pace import UNKNOWN, Learned
from analysis.presence import Phase
from analysis.program import (
    Kind,
    Machine,
    Note,
    Part,
    Program,
    Resume,
    Schedule,
    cutting,
    find_parts,
    resume_at,
    resume_before_move,
    schedule,
)
from analysis.program.areas import NEAR
from analysis.program.chains import Chain, chains
from analysis.program.engagement import Engagement, besides, engagement
from analysis.program.moves import stops_before
from analysis.program.paths import lines
from analysis.program.sheets import MOSTLY
from analysis.program.waits import perhaps_longer
from analysis.which_bit import Fit

# Up to this share of the other family the kind of cut is told.
_MIXED = 0.1
# A cut no deeper than this, mm, is not heard.
_NOTHING = 0.05
# A cut that takes less than this share of what the bit usually takes is not told from air.
_LOUD = 0.2
# Neither is a silence shorter than this, s.
APART = 0.4
# From these shares of the diameter on, a cut is a slot, a wide or a narrow one.
_SLOT, _WIDE = 0.85, 0.4
KINDS = ("down", "slot", "wide", "narrow")


USUAL = Machine()

MOST_OVERRIDE = 1.5
"""How many times as fast as it was told to a machine may feed: what many controls allow, common practice."""


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
    besides
        How much farther each move would cut, mm, were another sheet put in at a stop, shape (n,).
    machine
        What the times were worked out for.
    """

    program: Program
    times: Schedule
    parts: tuple[Part, ...]
    met: Engagement
    besides: NDArray[np.float64]
    machine: Machine = USUAL

    @classmethod
    def of(cls, program: Program, bits: Mapping[int, Bit], machine: Machine = USUAL) -> "Plan":
        """Return the plan of a program, cut with ``bits`` (by T number, 0 for all others), on a machine."""
        met = engagement(program, bits)
        more = besides(program, bits, met, least=_NOTHING)
        return cls(program, schedule(program.moves, machine), find_parts(program), met, more, machine)

    @cached_property
    def cuts(self) -> NDArray[np.bool_]:
        """Which moves take material away, shape (n,)."""
        return cutting(self.program.moves, self.program.tops) & (self.met.depth > _NOTHING)

    @cached_property
    def perhaps_longer(self) -> NDArray[np.float64]:
        """By how much longer than in ``times``, s, each move may last, shape (n,): the unit is a guess."""
        return perhaps_longer(self.program.moves, self.program.tops)

    @cached_property
    def may_hold_more(self) -> tuple[bool, ...]:
        """Whether something may be cut in each part that is taken for air, so that nobody listens to it."""
        again = np.array([move for chain in self._in_the_air for move in chain.moves], dtype=np.intp)
        ways = shapely.STRtree(lines(self.program.moves, self.program.taken_as_air))
        grown = np.array([-NEAR, -NEAR, NEAR, NEAR])
        boxes = [shapely.box(*(np.array(part.box) + grown)) for part in self.parts]
        return tuple(
            ways.query(box, predicate="intersects").size > 0 or bool(np.isin(part.cut_by, again).any())
            for part, box in zip(self.parts, boxes, strict=True)
        )

    @cached_property
    def _in_the_air(self) -> tuple[Chain, ...]:
        """What mostly goes where all is cut already, after a stop: perhaps on another sheet."""
        if not self.besides.any():
            return ()
        more, way, every = self.besides, self.program.moves.length, chains(self.program)
        return tuple(each for each in every if more[each.moves].sum() > MOSTLY * way[each.moves].sum())

    @cached_property
    def remarks(self) -> tuple[Note, ...]:
        """What to say of stops at which another sheet may be put in, so that parts are not told good."""
        stops = stops_before(self.program.moves)
        first: dict[int, int] = {}
        for chain in self._in_the_air:
            first.setdefault(int(stops[chain.moves[0]]), int(chain.moves[0]))
        text = (
            "after a stop it goes again where all is cut already, and what that is part of will not be told "
            "good: if another sheet is in by then, or the other face up, cut it as a program of its own"
        )
        return tuple(Note(int(self.program.moves.file_line[move]), 1, "", text) for move in first.values())

    @cached_property
    def in_work(self) -> NDArray[np.bool_]:
        """
        Which moves are fed into the work, shape (n,), whether or not they still take something away.

        A pass that goes the same way once more takes nothing away, unless the bit has slipped down.
        """
        found = np.zeros(len(self.program.moves), dtype=bool)
        for part in self.parts:
            found[part.moves] = True
        return found

    def cut_again(self, early: int, onset: int) -> int:
        """
        Return the first move to be cut again when something went wrong between two moves.

        The next from ``early`` on that is fed into the work with the bit of ``onset``: no other bit is to
        blame, and what was finished before is good. ``early`` itself where none is.
        """
        bits = self.program.moves.bit
        others = np.flatnonzero(bits[: onset + 1] != bits[onset])
        first = max(early, int(others[-1]) + 1) if len(others) else early
        return first + int(self.in_work[first:].argmax())

    def run_before(self, move: int, seconds: float) -> int:
        """Return the earliest move that may have run some seconds before another begins, at any override."""
        since = self.times.begin[move] - MOST_OVERRIDE * seconds
        return min(move, int(np.searchsorted(self.times.end, since, side="right")))

    @cached_property
    def cut_begin(self) -> NDArray[np.float64]:
        """When each move meets the work's top, s, shape (n,): its begin, unless it comes from above."""
        moves, times = self.program.moves, self.times
        high, low = moves.start[:, 2], moves.end[:, 2]
        above = np.clip(high - self.program.tops, 0.0, None)
        share = np.divide(above, high - low, out=np.zeros(len(moves)), where=high - low > above)
        return times.begin + np.clip(share, 0.0, 1.0) * (times.end - times.begin)

    @cached_property
    def spells(self) -> tuple[tuple[NDArray[np.float64], NDArray[np.float64]], ...]:
        """When cutting is to be heard to begin and to end, s on the program's clock, for each stint."""
        return self.louder(_LOUD)

    def louder(self, share: float) -> tuple[tuple[NDArray[np.float64], NDArray[np.float64]], ...]:
        """Return the same of cuts that take more than a share of what the bit usually takes."""
        return tuple(self._spells(first, last, share) for first, last in self.stints)

    def _spells(self, first: int, last: int, share: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        inside = slice(first, last + 1)
        rate = np.where(self.cuts[inside], self.met.rate[inside], 0.0)
        usual = float(np.median(rate[rate > 0])) if (rate > 0).any() else 0.0
        loud = np.concatenate(([False], rate > share * usual, [False])).astype(np.int8)
        edges = np.diff(loud)
        begins = self.cut_begin[inside][np.flatnonzero(edges == 1)]
        ends = self.times.end[inside][np.flatnonzero(edges == -1) - 1]
        # Too short a silence between two cuts is not heard as one.
        apart = begins[1:] - ends[:-1] >= APART
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
    def down(self) -> NDArray[np.bool_]:
        """Which moves go straight down, shape (n,)."""
        return np.asarray(self.kinds == KINDS.index("down"))

    @cached_property
    def _spent(self) -> NDArray[np.float64]:
        """Seconds before each move, shape (3, n + 1): of cutting straight down, of any cutting, of all."""
        lasting = self.times.end - self.times.begin
        cut = lasting * self.cuts
        down = cut * self.down
        return np.cumsum(np.pad([down, cut, lasting], ((0, 0), (1, 0))), axis=1)

    def cutting_between(self, first: int, last: int) -> tuple[float, float]:
        """Return which share of the time from one move to another is cutting, and of that, downwards."""
        down, cut, total = (self._spent[:, last + 1] - self._spent[:, first]).tolist()
        return (cut / total if total > 0 else 0.0), (down / cut if cut > 0 else 0.0)

    def family(self, first: int, last: int) -> tuple[str, bool]:
        """Return which of ``FAMILIES`` the cutting from one move to another is, and whether that is sure."""
        _, down = self.cutting_between(first, last)
        return family_of(down)

    @cached_property
    def _speeds(self) -> dict[int, tuple[float, float]]:
        """The lowest and the highest speed, rpm, at which each bit turns, by T number."""
        moves = self.program.moves
        turning = moves.speed > 0
        found = {}
        for number in np.unique(moves.bit[turning]).tolist():
            speeds = moves.speed[turning & (moves.bit == number)]
            found[number] = float(speeds.min()), float(speeds.max())
        return found

    def asked(self, bit: int, *between: int) -> tuple[float, float] | None:
        """
        Return the lowest and the highest speed, rpm, that is asked for of a bit; ``None`` where none is.

        ``between`` are the first and the last move that it may be; it may be any if they are not told.
        """
        anywhere = self._speeds.get(bit)
        if not between or anywhere is None or anywhere[0] == anywhere[1]:
            return anywhere
        moves, here = self.program.moves, slice(between[0], between[1] + 1)
        speeds = moves.speed[here][(moves.bit[here] == bit) & (moves.speed[here] > 0)]
        return (float(speeds.min()), float(speeds.max())) if len(speeds) else anywhere

    def place(self, early: int, now: int, late: int, source: str) -> Place:
        """Return the place of a move, with the earliest and the latest that it may be."""
        moves = self.program.moves
        lines, word = moves.file_line[early : late + 1], int(moves.word[now])
        return Place(
            file=int(moves.file_line[now]),
            word=word if word >= 0 else None,
            first=int(lines.min()),
            last=int(lines.max()),
            source=source,
        )

    def moves_on(self, line: int) -> tuple[int, int]:
        """
        Return the first and the last move on a line of the file.

        Raises
        ------
        ValueError
            When nothing moves on it.
        """
        moves = np.flatnonzero(self.program.moves.file_line == line)
        if not len(moves):
            raise ValueError(f"nothing moves on line {line} of {self.program.name}: mark one that does")
        return int(moves[0]), int(moves[-1])

    def moves_from(self, line: int) -> tuple[int, int]:
        """
        Return the first and the last move that may be going on when a cut is heard that begins at a line.

        That is the first cut from there on, or what leads to it: a start of the spindle may be taken for one.
        The line itself may have no move, for it may call a subprogram.

        Raises
        ------
        ValueError
            When nothing can go on from it.
        """
        with contextlib.suppress(ProgramError):
            first, lines = resume_at(self.program, line).move, self.program.moves.file_line
            if first < len(lines):
                others = np.flatnonzero(lines[first:] != lines[first])
                own = first + int(others[0]) - 1 if len(others) else len(lines) - 1
                return first, max(own, self._up_to_a_cut(first))
        raise ValueError(f"{self.program.name} cannot go on from line {line}")

    def _up_to_a_cut(self, move: int) -> int:
        """Return the move that leads into the next cut, which may be a long one."""
        cut = move + int(self.cuts[move:].argmax())
        comes_down = bool(self.cut_begin[cut] > self.times.begin[cut])
        return cut if comes_down else cut - 1

    @cached_property
    def repeats(self) -> bool:
        """Whether lines are run otherwise than once each in their order: then a line tells no moment."""
        return bool((np.diff(self.program.moves.file_line) < 0).any())

    @cached_property
    def by_hand(self) -> bool:
        """Whether the program leaves the spindle to a person: it never starts it."""
        return not self.program.moves.spun.any()

    @cached_property
    def stints(self) -> tuple[tuple[int, int], ...]:
        """
        First and last move of each stint: a stretch of moves in which the spindle turns.

        Where it is switched by hand, that is all between two stops in which something is cut.
        """
        moves = self.program.moves
        turning = moves.spun | self.by_hand
        turning &= ~np.isin(moves.kind, (Kind.BIT_CHANGE, Kind.PAUSE))
        edges = np.flatnonzero(np.diff(np.concatenate(([0], turning.astype(np.int8), [0]))))
        found = [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
        return tuple(
            (first, last) for first, last in found if not self.by_hand or self.cuts[first : last + 1].any()
        )


def family_of(down: float) -> tuple[str, bool]:
    """Return which of ``FAMILIES`` cutting is of which this share goes straight down, and whether surely."""
    return FAMILIES[0] if down > 0.5 else FAMILIES[1], not _MIXED < down < 1.0 - _MIXED


def resume_before(program: Program, *lines: int) -> Resume | None:
    """
    Return where to start again when these lines of the file went wrong.

    ``None`` where no line is safe: an alarm is to be heard all the same. Which of the lines is run first is
    not told by their order in the file: a subprogram may stand at its end.
    """
    found = [_resume(program, line) for line in dict.fromkeys(lines)]
    safe = [resume for resume in found if resume is not None]
    return min(safe, key=lambda resume: resume.move) if len(safe) == len(found) else None


def resume_line_before(program: Program, move: int) -> ResumeLine | None:
    """Return the line to start again from when this move went wrong; ``None`` where none is safe."""
    with contextlib.suppress(ProgramError):
        return resume_line(resume_before_move(program, move))
    return None


def resume_line(resume: Resume | None) -> ResumeLine | None:
    """Return where to start again as an alarm tells it."""
    return ResumeLine(resume.file_line, resume.word) if resume else None


def _resume(program: Program, line: int) -> Resume | None:
    # The line may be one that is never run: in a subprogram, say. One with a move is.
    run = program.moves.file_line
    for known in (line, int(run[run <= line].max(initial=1))):
        with contextlib.suppress(ProgramError):
            return resume_at(program, known)
    return None


REMEMBERS = 3600.0
"""How long ago, s, an alarm's onset may be and still have its place."""


class Locator(Protocol):
    """Follows the place in the program."""

    @property
    def context(self) -> Context:
        """What is being cut now."""

    @property
    def cutting(self) -> float | None:
        """How likely it is that the bit is in the wood now, 0 to 1; ``None`` where nobody knows."""

    @property
    def sure(self) -> bool:
        """Whether what is heard is foreseen so well that the place may narrow what a controller tells."""

    @property
    def learned(self) -> Learned:
        """What was learned of the machine."""

    @property
    def lines_seen(self) -> int:
        """How many different lines the place has passed over."""

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """
        Take in what the spindle does at ``at`` seconds, and the level, dBFS, if it is known.

        ``bits`` is how well each bit, by T number, fits what is heard, as far as that is known.
        """

    def told(self, moves: tuple[int, int] | None) -> None:
        """Take in the first and the last move that it may be from now on, by what a controller tells."""

    def judged(self, state: State) -> None:
        """Take in what the watcher thinks of the row."""

    def place(self, at: float) -> Place | None:
        """Return where ``at`` was; ``None`` when that is unknown."""

    def complete(self, event: Event) -> Event:
        """Return ``event`` with its place filled in."""

    def mark(self, line: int) -> None:
        """
        Take in that a line of the file is being cut now.

        Raises
        ------
        ValueError
            When nothing moves on that line, or there is no program.
        """

    def spoil(self, moves: NDArray[np.bool_]) -> None:
        """Take in which moves, shape (n,), the last alarm may have spoiled, by what a controller tells."""

    def carries_on(self, line: int) -> None:
        """Take in that it goes on from a line of the file, with a restart program or the original."""

    def tightened(self, bit: int) -> None:
        """Take in that a bit was tightened: what a doubt of it made suspect so far stays so."""

    def dispel(self, bit: int) -> None:
        """Take in that the doubt of a bit was nothing: what it alone made suspect is not."""

    def acquit(self) -> None:
        """Take in that the last alarm was nothing: what it alone made suspect is not."""

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return each part's verdict; ``learned`` are the bits that have a baseline."""


class Nowhere:
    """The place where there is no program: unknown."""

    context = Context()
    cutting = None
    sure = False
    learned = UNKNOWN
    lines_seen = 0

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """Learn nothing."""

    def told(self, moves: tuple[int, int] | None) -> None:
        """Learn nothing."""

    def judged(self, state: State) -> None:
        """Learn nothing."""

    def place(self, at: float) -> None:
        """Return that the place is unknown."""

    def complete(self, event: Event) -> Event:
        """Return ``event`` as it is."""
        return event

    def mark(self, line: int) -> None:
        """Refuse: without a program there are no lines."""
        raise ValueError(f"line {line} cannot be marked: no program was given")

    def spoil(self, moves: NDArray[np.bool_]) -> None:
        """Do nothing: no part is known."""

    def carries_on(self, line: int) -> None:
        """Do nothing: no line is known."""

    def tightened(self, bit: int) -> None:
        """Do nothing: no part is known."""

    def dispel(self, bit: int) -> None:
        """Do nothing: no part is known."""

    def acquit(self) -> None:
        """Do nothing: no part is known."""

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return that no parts are known."""
        del learned
        return ()
