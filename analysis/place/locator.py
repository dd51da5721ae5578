"""Rows in, places out: which line a moment of sound belongs to, told by the sound of the whole way there."""

import math
from bisect import bisect_left
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.ahead import AHEAD, Ahead
from analysis.cut import LOST, Context
from analysis.events import Alarm, Checked, Event, PartVerdict, Place, State
from analysis.locate import REMEMBERS, Plan, family_of, resume_line_before
from analysis.pace import UNKNOWN, Learned
from analysis.place import marks
from analysis.place.grid import Grid
from analysis.place.paces import USUALLY
from analysis.place.silences import Silences
from analysis.place.track import END, Track
from analysis.presence import COMB_ON, Phase
from analysis.which_bit import Fit

# The shortest step of the filter, s.
_STEP = 0.17
# Probability at either end that the interval leaves out, and cells by which it is wider to be sure.
_OUTSIDE, _MARGIN = 0.01, 6
_BOUNDS = np.array([_OUTSIDE, 0.5, 1.0 - _OUTSIDE])
# Seconds of the program from which on a place is none.
_UNKNOWN = 20.0
# An alarm is told one that is less sure, for that helps who has to carry on: so many seconds, and such a part
# of the program, at the most.
_ROUGHLY, _PART = 60.0, 0.25
# A place that is less sure than this, s, is mostly too far on: by less than it is unsure. Development seeds.
_SURE = 5.0
# Every so many seconds the last so many are put right, and what was learned is used.
_OFTEN, _BACK, _LEARNS = 6.0, 8.0, 5.0
# Below this probability nothing is being cut.
_AIR = 0.02
# Seconds over which it is listened which bit turns, and by how many dB another must stand out more.
_BIT_LASTS, _PLAINLY = 4.0, 1.0
# How probably one bit is in the spindle, wherever it is, to be taken for it.
_SAME_BIT, _UNSURE = 0.9, 0.1
# Share of the time for which the spindle turns in which the place must be told for a machine to be learned.
_FOLLOWED = 0.7
# A person sees the bit: a line that is read ahead further than this, s, is not taken for the one being cut.
_SEEN = 8.0
JUMP = 3.0
"""A way that is this long, s of the program, between two looks at the place was not gone but jumped."""


@dataclass(frozen=True, slots=True)
class _Where:
    """Cells at a moment: earliest, likeliest, latest."""

    early: int
    likely: int
    late: int


@dataclass(slots=True)
class _Then:
    """A step: when it was, where, what was thought of it, and of which bit."""

    at: float
    where: _Where
    marks: int = 0
    bit: int = 0


class SoundLocator:
    """
    Follows a plan by its sound.

    Parameters
    ----------
    plan
        The program being cut.
    learned
        What earlier runs told of the machine.
    ahead
        By how many lines one that a person reads off the controller may be ahead of the cutting.
    """

    def __init__(self, plan: Plan, learned: Learned = UNKNOWN, ahead: int = AHEAD) -> None:
        self.plan = plan
        self._ahead = Ahead(plan, ahead)
        self._silences = Silences.of(plan)
        self._given = learned
        self._rows: list[tuple[float, Phase, float]] = []
        self._each = 0
        self._grid: Grid | None = None
        self._past: list[_Then] = []
        self._forgot = 0
        self._marks = marks.unmarked(plan)
        self._marked = 0
        self._doubted: set[int] = set()
        self._bit = int(plan.program.moves.bit[plan.stints[0][0]]) if plan.stints else 0
        self._phase = Phase.OFF
        self._bits: Mapping[int, Fit] = {}
        self._stands: dict[int, float] = {}
        self._cutting: float | None = None
        self._context = Context(self._bit, LOST, asked=plan.asked(self._bit))
        self._smooth: tuple[int, list[_Where]] = (0, [])
        self._astray = False
        self._before = self._marks.copy(), False, math.inf
        self._told: tuple[int, int] | None = None
        self._goes_on: int | None = None
        # The bit that was tightened, or with which it goes on, until it is heard to cut.
        self._awaited: int | None = None
        self._turned = self._followed = 0

    @property
    def learned(self) -> Learned:
        """What was learned of the machine; what was given where the place was mostly unknown."""
        mostly = self._followed > _FOLLOWED * self._turned
        return self._grid.learned if self._grid and mostly else self._given

    @property
    def cutting(self) -> float | None:
        """How likely it is that the bit is in the wood now, 0 to 1; ``None`` where the place is unknown."""
        return self._cutting

    @property
    def context(self) -> Context:
        """What is being cut now: the bit, and the family of cuts where the place leaves no doubt."""
        return self._context

    @property
    def lines_seen(self) -> int:
        """How many different lines the place has passed over while something was heard."""
        return marks.lines_seen(self.plan, self._marked_to_now())

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """
        Take in what the spindle does at ``at`` seconds, and the level of the sound, dBFS.

        ``bits`` is how well each bit, by T number, fits what is heard, as far as that is known.
        """
        self._phase = phase
        if phase is Phase.CUT:
            self._awaited = None
        self._bits = bits
        self._rows.append((at, phase, level))
        if self._grid is None and len(self._rows) > 1:
            self._begin(at - self._rows[-2][0])
        if self._grid is not None:
            while len(self._rows) >= self._each:
                self._step(self._grid, self._rows[: self._each])
                self._rows = self._rows[self._each :]

    @property
    def sure(self) -> bool:
        """Whether what is heard is foreseen so well that the place may narrow what a controller tells."""
        return self._grid is not None and self._grid.sure

    def told(self, moves: tuple[int, int] | None) -> None:
        """Take in the first and the last move that it may be from now on, by what a controller tells."""
        self._told = moves

    def judged(self, state: State) -> None:
        """Note what the watcher thinks of the row: its moves are marked once the place is sure."""
        if not self._past or self._phase is Phase.OFF or state in ("deaf", "settle"):
            return
        heard = marks.HEARD if self._phase is Phase.CUT else 0
        suspect = marks.SUSPECT if state == "alarm" else 0
        then, bit = self._past[-1], self._context.bit
        then.marks |= marks.SEEN | heard | suspect | (marks.DOUBTED if bit in self._doubted else 0)
        then.bit = bit

    def place(self, at: float) -> Place | None:
        """Return where ``at`` was, as all that was heard since tells; ``None`` when that is unknown."""
        where = self._believed(at)
        return self.plan.place(*self._moves(where), "sound") if where and self._is_known(where) else None

    def complete(self, event: Event) -> Event:
        """
        Return an alarm with its place and its resume line; everything else as it is.

        What a bit cuts that physics doubts is suspect, until it is found tight.
        """
        if isinstance(event, Checked):
            self._doubt(event)
        if not isinstance(event, Alarm):
            return event
        onset, since = self._about(event.onset), self._about(event.last_good)
        self._before = self._marks.copy(), self._astray, event.onset
        if onset is None:
            self._astray = True
            return event
        # A weak change is noticed late: what was cut shortly before is cut again, and looked at.
        first = onset[0]
        since_good = event.onset - event.last_good
        good = min(since[0], first) if since else self.plan.run_before(first, since_good)
        early = self.plan.cut_again(good, first)
        here = self._past[-1].where
        now = self._moves(here)[1 if self._is_known(here) else 2]
        self._marks[min(early, first) : max(early, now) + 1] |= marks.SUSPECT
        place = self.plan.place(*onset, "sound")
        return replace(event, line=place, resume=resume_line_before(self.plan.program, min(early, first)))

    def _doubt(self, checked: Checked) -> None:
        bit = self._context.bit
        if checked.verdict == "tight":
            self._doubted.discard(bit)
            self._confirm(bit)
        # Of a loose one there is an alarm.
        if not (checked.accuses and checked.verdict == "doubtful" and self._past):
            return
        self._doubted.add(bit)
        if checked.against == "physics":
            # It was so from the first second.
            now = self._moves(self._past[-1].where)[2]
            self._marks[: now + 1][self._cut_by(bit)[: now + 1]] |= marks.DOUBTED

    def _cut_by(self, bit: int) -> NDArray[np.bool_]:
        cut_by: NDArray[np.bool_] = self.plan.program.moves.bit == bit
        return cut_by

    def _confirm(self, bit: int) -> None:
        """Let what the doubt of a bit made suspect so far stay so, whatever is said later."""
        self._marks = marks.confirmed(self._marks, self._cut_by(bit))
        for then in self._past:
            if then.bit == bit and then.marks & marks.DOUBTED:
                then.marks = (then.marks & ~marks.DOUBTED) | marks.SUSPECT

    def mark(self, line: int) -> None:
        """
        Take in that a line of the file is being cut now, or one of those before it that may be read ahead.

        The line from which it goes on, once that was said, is the one that just begins.

        Raises
        ------
        ValueError
            When nothing moves on that line, or nothing was heard yet.
        """
        begins = line == self._goes_on
        moves = self.plan.moves_from(line) if begins else self.plan.moves_on(line)
        if self._grid is None:
            raise ValueError("nothing was heard yet: mark the line when the spindle runs")
        if begins:
            self._goes_on = None
            self._grid.begin(*moves)
        else:
            known = bool(self._past) and self._is_known(self._past[-1].where)
            self._grid.mark(self._read_ahead(line, moves[0]), moves[1], known=known)
        if self._past:
            self._note(self._grid, self._past.pop().at)

    def _read_ahead(self, line: int, move: int) -> int:
        """Return the first move that may be going on when the controller shows ``line``, with that move."""
        may_be, times = self._ahead.moves(line), self.plan.times
        seen = int(np.searchsorted(times.end, times.begin[move] - _SEEN, side="right"))
        return min(max(may_be[0], seen), move) if may_be else move

    def spoil(self, moves: NDArray[np.bool_]) -> None:
        """Take in which moves, shape (n,), the last alarm may have spoiled, by what a controller tells."""
        self._marks[moves] |= marks.SUSPECT
        # Its place is known, though sound does not tell it.
        self._astray = self._before[1]

    def carries_on(self, line: int) -> None:
        """Take in that the first cut that is heard will be marked as that line."""
        self._goes_on = line
        with suppress(ValueError):  # nothing moves there: it is the bit that was tightened
            self._awaited = int(self.plan.program.moves.bit[self.plan.moves_from(line)[0]])

    def tightened(self, bit: int) -> None:
        """
        Take in that a bit was tightened: what a doubt of it made suspect so far stays so.

        It is the one that is heard next, wherever a spindle that stands is taken for the program's own stop.
        """
        self._confirm(bit)
        self._awaited = bit

    def dispel(self, bit: int) -> None:
        """Take in that the doubt of a bit was nothing: what it alone made suspect is not."""
        self._doubted.discard(bit)
        self._marks = marks.dispelled(self._marks, self._cut_by(bit))
        for then in self._past:
            if then.bit == bit:
                then.marks &= ~marks.DOUBTED

    def acquit(self) -> None:
        """Take in that the last alarm was nothing: what it alone made suspect is not."""
        before, self._astray, onset = self._before
        self._marks = marks.acquitted(self._marks, before)
        for then in self._past[bisect_left(self._past, onset, key=lambda then: then.at) :]:
            then.marks &= ~marks.SUSPECT

    def verdicts(self, learned: frozenset[int]) -> tuple[PartVerdict, ...]:
        """Return each part's verdict; ``learned`` are the bits that have a baseline."""
        return marks.verdicts(self.plan, self._marked_to_now(), learned, astray=self._astray)

    def _begin(self, hop: float) -> None:
        self._each = max(1, math.ceil(_STEP / hop - 1e-6))
        seconds = self._each * hop
        self._grid = Grid(Track.of(self.plan, seconds / USUALLY), seconds, self._given)

    def _step(self, grid: Grid, rows: list[tuple[float, Phase, float]]) -> None:
        levels = [level for _, _, level in rows if math.isfinite(level)]
        at = sum(at for at, _, _ in rows) / len(rows)
        if self._past:
            for _ in range(min(round((at - self._past[-1].at) / grid.seconds) - 1, 600)):
                grid.pass_time()
                self._note(grid, self._past[-1].at + grid.seconds)
        level = sum(levels) / len(levels) if levels else None
        bits = dict(self._bits)  # looked at here alone, for they may be heard only when they are
        grid.step(level, turns=rows[-1][1] is not Phase.OFF, told=self._told, bits=bits)
        self._note(grid, at)
        self._listen_for_bits(bits, grid.seconds)
        known = self._is_known(self._past[-1].where)
        if self._phase is not Phase.OFF:
            self._turned += 1
            self._followed += known and grid.believed
        if known:
            self._bit = int(self.plan.program.moves.bit[self._moves(self._past[-1].where)[1]])
        if self._steps % round(_LEARNS / grid.seconds) == 0:
            grid.refresh()
        if self._steps % round(_OFTEN / grid.seconds) == 0:
            self._put_right(grid)
        self._tell(grid)

    def _listen_for_bits(self, bits: Mapping[int, Fit], seconds: float) -> None:
        share = min(seconds / _BIT_LASTS, 1.0)
        for bit, fit in bits.items():
            last = self._stands.setdefault(bit, fit.stands)
            self._stands[bit] = last + share * (fit.stands - last)

    def _likelier_than(self, bit: int) -> int:
        """Return a bit, or the one that is heard in its place where that is plainly likelier."""
        if bit not in self._stands:
            return bit
        best = max(self._stands, key=lambda other: self._stands[other])
        return best if self._stands[best] > self._stands[bit] + _PLAINLY else bit

    def _tell(self, grid: Grid) -> None:
        """Keep what is asked for with every row, and changes with every step alone."""
        if self._awaited is not None:
            bit = self._turns_instead_of(self._awaited)
            self._tell_bit(bit, guessed=bit != self._awaited)
            return
        if self._is_known(self._past[-1].where):
            self._tell_cut(grid, known=True)
            return
        bit, probably = grid.bit()
        if probably > _SAME_BIT:
            self._bit = bit
            self._tell_cut(grid, known=False)
        else:
            self._tell_bit(self._likelier_than(self._bit), guessed=True)

    def _turns_instead_of(self, bit: int) -> int:
        """Return a bit that was tightened, or another one that is heard to turn."""
        likelier = self._likelier_than(bit)
        return likelier if self._stands.get(likelier, 0.0) > COMB_ON else bit

    def _tell_bit(self, bit: int, *, guessed: bool) -> None:
        """Tell which bit it is, and nothing of what it cuts."""
        self._bit, self._cutting = bit, None
        self._context = Context(bit, LOST, guessed=guessed, asked=self._asked())

    def _tell_cut(self, grid: Grid, *, known: bool) -> None:
        """Tell what one bit cuts: at an unknown place it may be of one kind, wherever it is."""
        probably, down = self._likelihoods(grid)
        surely = min(probably, 1.0 - probably) < _UNSURE
        self._cutting = probably if known or surely else None
        kind, told = family_of(down)
        if not known:
            self._context = Context(self._bit, kind if told else LOST, told=told, asked=self._asked())
            return
        early, _, late = self._moves(self._past[-1].where)
        times = self.plan.times
        between = float(times.begin[early]), float(times.end[late])
        silence = self._silences.longest(*between)
        cuts, stops = probably > _AIR, math.isinf(silence) and self._silences.stops(*between)
        # A place by sound may be wrong where nothing is heard to be cut: it explains no silence.
        explained = math.inf if self._told is None else silence
        self._context = Context(
            self._bit, kind, cuts=cuts, told=told, silence=explained, stops=stops, asked=self._asked()
        )

    def _asked(self) -> tuple[float, float] | None:
        """Return the speeds that the program asks of the bit where it may be, which may be long."""
        where = self._past[-1].where
        if math.isinf(self._unsure(where)):
            return self.plan.asked(self._bit)
        early, _, late = self._moves(where)
        return self.plan.asked(self._bit, early, late)

    def _likelihoods(self, grid: Grid) -> tuple[float, float]:
        """Return how likely the bit is in the wood, and if it is, goes straight down."""
        first, mass = grid.now()
        cells = slice(first, first + len(mass))
        cut = mass * grid.track.wood[cells]
        down = self.plan.down[grid.track.first[cells]]
        return grid.cutting(), float(cut @ down) / max(float(cut.sum()), 1e-300)

    def _note(self, grid: Grid, at: float) -> None:
        self._past.append(_Then(at, _where(*grid.now(), len(grid.track))))

    def _put_right(self, grid: Grid) -> None:
        """Let what was heard since tell where the last steps were, and mark what no longer changes."""
        steps = min(round(_BACK / grid.seconds), grid.remembers)
        recent = self._past[len(self._past) - steps :]
        # As long as nobody knows the place, what came since tells no more.
        if any(self._is_known(then.where) for then in recent):
            for then, where in zip(recent, self._smoothed(grid, steps), strict=True):
                then.where = where
        sure = len(self._past) - steps
        self._mark(self._marks, self._past[max(self._marked - 1, 0) : sure])
        self._marked = max(self._marked, sure)
        self._forget(round(REMEMBERS / grid.seconds))

    @property
    def _steps(self) -> int:
        return self._forgot + len(self._past)

    def _forget(self, keep: int) -> None:
        """Forget steps of long ago, which are marked, some at once: a run may last for a day."""
        old = self._marked - keep
        if old > keep // 4:
            del self._past[:old]
            self._marked -= old
            self._forgot += old

    def _smoothed(self, grid: Grid, steps: int) -> list[_Where]:
        return [_where(first, mass, len(grid.track)) for first, mass in grid.smoothed(steps)]

    def _mark(self, found: marks.Marks, steps: list[_Then]) -> None:
        """Mark, in place, the moves gone over in ``steps``; the first is where the way begins."""
        last: int | None = None
        for then in steps:
            _, now, _ = self._moves(then.where)
            since = now if last is None or not self._is_way(last, now) else last
            if then.marks and self._is_known(then.where):
                found[since : now + 1] |= then.marks & ~marks.DOUBTED
                if then.marks & marks.DOUBTED:
                    # The way may lead from one bit to the next: only one of them is in doubt.
                    found[since : now + 1][self._cut_by(then.bit)[since : now + 1]] |= marks.DOUBTED
            last = now

    def _is_way(self, last: int, now: int) -> bool:
        begin = self.plan.times.begin
        return last <= now and float(begin[now] - self.plan.times.end[last]) < JUMP

    def _marked_to_now(self) -> marks.Marks:
        found = self._marks.copy()
        self._mark(found, self._past[max(self._marked - 1, 0) :])
        return found

    def _where(self, at: float) -> _Where | None:
        """Return where ``at`` was, with all that was heard since within some seconds."""
        if not self._past or self._grid is None or (self._forgot and at < self._past[0].at):
            return None
        index = bisect_left(self._past, at, key=lambda then: then.at)
        index = min(index, len(self._past) - 1)
        if index > 0 and at - self._past[index - 1].at < self._past[index].at - at:
            index -= 1
        ago = len(self._past) - index
        if ago > min(len(self._past), self._grid.remembers):
            return self._past[index].where
        # What came since tells of a moment, and nothing that was before it: mostly it is just past.
        if self._smooth[0] != self._steps or ago > len(self._smooth[1]):
            self._smooth = self._steps, self._smoothed(self._grid, ago)
        return self._smooth[1][-ago]

    def _believed(self, at: float) -> _Where | None:
        """Return where ``at`` was, if the place foresees what is heard well enough to be told."""
        return self._where(at) if self._grid is not None and self._grid.believed else None

    def _about(self, at: float) -> tuple[int, int, int] | None:
        """Return the earliest, the likeliest and the latest move at a moment, if it is known roughly."""
        where = self._believed(at)
        if where is None or self._grid is None:
            return None
        track, unsure = self._grid.track, self._unsure(where)
        if unsure > max(_UNKNOWN, min(_ROUGHLY, _PART * len(track) * track.step)):
            return None
        doubt = int(max(unsure - _SURE, 0.0) / track.step)
        return self._moves(replace(where, early=max(where.early - doubt, 0)))

    def _is_known(self, where: _Where) -> bool:
        return self._unsure(where) <= _UNKNOWN

    def _unsure(self, where: _Where) -> float:
        """Return over how much of the program a place is spread, s; infinite where none has begun."""
        assert self._grid is not None  # noqa: S101 - there is no cell without it
        track = self._grid.track
        if where.likely < track.lead or track.sort[where.likely] == END:
            return math.inf
        waits = int(track.waited[where.late + 1] - track.waited[where.early])
        return (where.late - where.early - waits) * track.step

    def _moves(self, where: _Where) -> tuple[int, int, int]:
        """Return the earliest, the likeliest and the latest move."""
        assert self._grid is not None  # noqa: S101 - there is no cell without it
        track = self._grid.track
        return int(track.first[where.early]), int(track.last[where.likely]), int(track.last[where.late])


def _where(first: int, mass: NDArray[np.float64], cells: int) -> _Where:
    """Return the cells that bound what is likely, from the probability of ``first`` and those after it."""
    total = mass.cumsum()
    early, likely, late = total.searchsorted(_BOUNDS * total[-1]).tolist()
    return _Where(
        max(first + early - _MARGIN, 0),
        min(first + likely, cells - 1),
        min(first + late + _MARGIN, cells - 1),
    )
