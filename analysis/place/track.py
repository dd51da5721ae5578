"""The program as a row of cells, each a piece of its clock, with what is to be heard there."""

import dataclasses
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.locate import Plan
from analysis.program import Kind, schedule

LEVELS = 8
"""How finely it is told whether the feed or the machine limits a move; 0 is the machine alone."""

TIMED, WAIT = LEVELS, LEVELS + 1
"""Sorts of cells after those: a dwell lasts what it says; a wait lasts as long as it lasts."""

WAITS = 4
"""Cells of a wait: no step is longer, so none can pass over it."""

END = WAIT + WAITS
"""The program is over: nothing follows."""

# Whether the spindle turns where a person may switch it at any time.
_EITHER = 0.5
# A spindle takes time to start and stop, and to be heard doing it, s: what it does then tells nothing.
_START, _STOP = 1.2, 1.6
# dB that a cut is louder for ten times the material removed.
_PER_DECADE = 8.0
# cm³/min: cuts are compared with this one, and less than the second is no cut.
_USUAL, _LEAST = 10.0, 0.02


@dataclass(frozen=True, eq=False)
class Track:
    """
    n cells in the order in which they are passed.

    A wait lies before each stint, and one after the last; and where nobody knows how long a dwell lasts.

    Attributes
    ----------
    step
        s of the program's clock in a cell.
    first, last
        (n,) earliest and latest move that belongs to a cell: the same, but in a wait.
    sort
        (n,) how fast it is passed: 0 to ``LEVELS`` - 1 by what limits the move, ``TIMED``, ``WAIT`` and on.
    turns
        (n,) whether the spindle can be heard to turn: 1 it turns, 0 it stands, a half where a person switches
        it and it does what is heard, NaN it cannot be told.
    extra
        (n,) dB that a cut here should be louder than one of 10 cm³/min; NaN in air.
    fresh
        (n,) whether another bit may be in the spindle from here on.
    share
        (n,) of its time that the feed limits, 0 to 1.
    begins
        (n,) whether a move has just begun.
    bit
        (n,) T number of the bit that turns; -1 in a wait between stints, and while the spindle stops.
    """

    step: float
    first: NDArray[np.intp]
    last: NDArray[np.intp]
    sort: NDArray[np.uint8]
    turns: NDArray[np.float64]
    extra: NDArray[np.float64]
    fresh: NDArray[np.bool_]
    share: NDArray[np.float64]
    begins: NDArray[np.bool_]
    bit: NDArray[np.intp]

    def __len__(self) -> int:
        """Return how many cells there are."""
        return len(self.sort)

    @cached_property
    def wood(self) -> NDArray[np.bool_]:
        """Whether the bit is in the wood, shape (n,)."""
        return ~np.isnan(self.extra)

    @cached_property
    def bits(self) -> NDArray[np.intp]:
        """The T numbers of the bits that turn, each once."""
        return np.unique(self.bit[self.bit >= 0])

    @cached_property
    def turning(self) -> NDArray[np.bool_]:
        """Whether the spindle is surely to be heard turning, shape (n,)."""
        return np.asarray(self.turns == 1.0)

    @cached_property
    def standing(self) -> NDArray[np.bool_]:
        """Whether the spindle is surely to be heard standing, shape (n,)."""
        return np.asarray(self.turns == 0.0)

    @cached_property
    def either(self) -> NDArray[np.bool_]:
        """Whether the spindle turns or stands as a person likes, shape (n,)."""
        return np.asarray(self.turns == _EITHER)

    @cached_property
    def lead(self) -> int:
        """Before which cell nothing tells that the program has begun."""
        return int(np.argmin((self.sort >= WAIT) | self.either))

    @cached_property
    def waited(self) -> NDArray[np.intp]:
        """How many cells before each are those of waits, shape (n + 1,)."""
        return np.concatenate(([0], np.cumsum(self.sort >= WAIT)))

    @classmethod
    def of(cls, plan: Plan, step: float) -> "Track":
        """Return the track of a plan, ``step`` seconds a cell."""
        shares = feed_shares(plan)
        last_move = max(len(plan.program.moves) - 1, 0)
        before = [0, *(last for _, last in plan.stints)]
        after = [*(first for first, _ in plan.stints), last_move]
        pieces = []
        for number, (left, right) in enumerate(zip(before, after, strict=True)):
            pieces.append(_wait(plan, left, right, over=number == len(plan.stints)))
            if number < len(plan.stints):
                pieces.append(_stint(plan, number, shares, step))
        return cls(step, *(np.concatenate(arrays) for arrays in zip(*pieces, strict=True)))


_Piece = tuple[NDArray[Any], ...]


def feed_shares(plan: Plan) -> NDArray[np.float64]:
    """Return how much of a change of the feed shows in the time each move takes, shape (n,), 0 to 1."""
    moves, more = plan.program.moves, 1.1
    faster = schedule(dataclasses.replace(moves, feed=moves.feed * more), plan.machine)
    takes, then = plan.times.end - plan.times.begin, faster.end - faster.begin
    moving = (takes > 0) & (then > 0) & (moves.length > 0)
    ratio = np.divide(takes, then, out=np.ones(len(takes)), where=moving)
    return np.asarray(np.clip(np.log(ratio) / np.log(more), 0.0, 1.0))


def _wait(plan: Plan, before: int, after: int, *, over: bool) -> _Piece:
    """Return the wait between two moves: before the first stint, at a bit change or pause, at the end."""
    stands = over or before == 0 or not plan.program.moves.spun[before : after + 1].all()
    sort = np.full(WAITS, END) if over else np.arange(WAIT, WAIT + WAITS)
    return (
        np.full(WAITS, before),
        np.full(WAITS, after),
        sort.astype(np.uint8),
        np.full(WAITS, _EITHER if plan.by_hand else 0.0 if stands else np.nan),
        np.full(WAITS, np.nan),
        np.full(WAITS, stands),
        np.zeros(WAITS),
        np.zeros(WAITS, dtype=np.bool_),
        np.full(WAITS, -1),
    )


def _stint(plan: Plan, number: int, shares: NDArray[np.float64], step: float) -> _Piece:
    times, moves = plan.times, plan.program.moves
    first, last = plan.stints[number]
    begin, end = float(times.begin[first]), float(times.end[last])
    clock = begin + step * (np.arange(max(1, round((end - begin) / step))) + 0.5)
    # Moves that take no time are passed over: of those that begin together the last one lasts.
    move = np.searchsorted(times.begin[first : last + 1], clock, side="right") - 1 + first
    tail = 0 if plan.by_hand else round(_STOP / step)
    stops = np.arange(len(move) + tail) >= len(move)
    move = np.concatenate((move, np.full(tail, last)))
    clock = np.concatenate((clock, np.full(tail, end)))
    cuts = plan.cuts[move] & (clock >= plan.cut_begin[move]) & ~stops
    rate = np.maximum(plan.met.rate[move], _LEAST)
    sort = np.round(shares[move] * (LEVELS - 1)).astype(np.uint8)
    sort[(moves.kind[move] == Kind.DWELL) | stops] = TIMED
    turns = np.where(stops, np.nan, 1.0)
    if plan.by_hand:
        # Whoever switches it may do so while the bit is on its way to the first cut, or back from the last.
        turns = np.where(_in_between(cuts), 1.0, _EITHER)
    else:
        turns[: round(_START / step)] = np.nan
    extra = np.where(cuts, _PER_DECADE * np.log10(rate / _USUAL), np.nan)
    same, bit = np.zeros(len(move), dtype=np.bool_), np.where(stops, -1, moves.bit[move])
    piece = move, move, sort, turns, extra, same, shares[move], _begins(move), bit
    return _with_waits(piece, first + np.flatnonzero(plan.perhaps_longer[first : last + 1]), ~stops)


def _with_waits(piece: _Piece, dwells: NDArray[np.intp], goes: NDArray[np.bool_]) -> _Piece:
    """Put a wait in place of each of some dwells, where it ``goes`` on, shape (n,): no cell for its time."""
    move = piece[0]
    at = np.searchsorted(move, dwells)
    stays = np.flatnonzero(~(np.isin(move, dwells) & goes))
    where = np.repeat(np.searchsorted(stays, at), WAITS)
    cells = np.insert(stays, where, np.repeat(at, WAITS))
    waits = np.insert(np.zeros(len(stays), dtype=np.bool_), where, values=True)
    columns = [column[cells] for column in piece]
    columns[0][waits] = np.repeat(dwells, WAITS)
    columns[1] = columns[0]
    columns[2][waits] = np.tile(np.arange(WAIT, WAIT + WAITS), len(dwells))
    columns[4][waits] = np.nan
    return tuple(columns)


def _begins(move: NDArray[np.intp]) -> NDArray[np.bool_]:
    changed = np.diff(move, prepend=-1) != 0
    return np.asarray(changed | np.roll(changed, 1) | np.roll(changed, 2))


def _in_between(some: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which cells are some, or lie between some, shape (n,)."""
    return np.asarray(np.maximum.accumulate(some) & np.maximum.accumulate(some[::-1])[::-1])
