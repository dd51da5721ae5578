"""
The filter: how likely each cell of the program and each pace is, from step to step.

A hidden Markov model that goes from left to right, kept on the cells that are likely at all: they move
along with the place.
"""

import statistics
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.place import levels
from analysis.place.paces import PACES, REACH, UNKNOWN, Learned, Paces
from analysis.place.track import TIMED, WAITS, Track

Floats = NDArray[np.float64]

# Probability, at either end, that is left out.
_FORGOTTEN = 1e-6
# Seconds within which the past is still put right by what comes after.
_BACK = 10.0
# How likely the listening began in the middle, and that it did so while the spindle stood.
_MIDDLE, _STANDING = 0.1, 0.005
# Seconds of the machine's own pace that what was assumed of it is worth.
_WORTH = 20.0
# Paces beyond which no machine was learned but the place was lost.
_POSSIBLE = 0.5, 2.0
# Seconds from which the scatter of levels is taken, how many steps are too few, and its bounds, dB.
_LATELY, _FEW, _LEAST, _MOST = 6.0, 8, 0.5, 2.5
# Seconds over which the place is tried, what it must foresee better than somebody without a program, by
# the logarithm of each step; how much of what was thought is kept when all is looked at again.
_TRIED, _LOST, _KEEP = 12.0, -0.35, 0.5
# What the place must foresee better, by the logarithm of each step, to be believed beside what a controller
# tells. A judgement: on development seeds the interval then held the true line in 99.7 % of noisy runs.
_SURE = -0.08
# How far off, s of the program, a line that a person marks, or a controller tells, may be.
_ABOUT = 2.0
# How likely a step elsewhere than a controller tells is beside one there: it may be wrong for a moment.
_ELSEWHERE = 0.3
# Cells that are laid ready ahead.
_AHEAD = 256


@dataclass(frozen=True, eq=False)
class Step:
    """
    What was thought after a step, before what came later.

    Attributes
    ----------
    first
        The first cell.
    heap
        (paces + 1, n) probability of each pace and cell.
    fits
        (2, n) how well each cell fitted what was heard: held, and not.
    """

    first: int
    heap: NDArray[np.float32]
    fits: Floats


class Grid:
    """
    A probability for each cell and pace.

    Parameters
    ----------
    track
        The program.
    seconds
        From one step to the next; ``USUALLY`` cells of the track.
    learned
        What is known of the machine.
    """

    def __init__(self, track: Track, seconds: float, learned: Learned = UNKNOWN) -> None:
        self.track = track
        self.seconds = seconds
        self._given = learned
        self._paces = Paces.of(seconds, learned)
        self._first = 0
        self._heap = self._paces.prior[:, np.newaxis] * _anywhere(track)
        self._state = levels.unheard(len(track))
        # Of each place's own past: seconds that machine and feed took, and what the program gave them.
        self._spent = np.zeros((4, len(track)))
        self._ready = 0, np.empty((REACH + 1, len(PACES) + 1, 0))
        self._level, self._usual = 0.0, _MOST
        self._gain = self._tried = 0.0
        self._changes: deque[float] = deque(maxlen=round(_LATELY / seconds))
        self._past: deque[Step] = deque(maxlen=max(2, round(_BACK / seconds)))

    @property
    def learned(self) -> Learned:
        """What the run so far tells of the machine."""
        mass = self._heap.sum(axis=0)
        machine, planned, fed, asked = (self._spent * (mass / mass.sum())).sum(axis=1)
        feeds = (asked + _WORTH * self._given.feeds) / (fed + _WORTH)
        rapids = (planned + _WORTH * self._given.rapids) / (machine + _WORTH)
        return Learned(*(float(np.clip(pace, *_POSSIBLE)) for pace in (feeds, rapids)))

    @property
    def remembers(self) -> int:
        """How many steps back ``smoothed`` can go."""
        return len(self._past)

    def now(self) -> tuple[int, Floats]:
        """Return the first cell that is likely, and how likely it and those after it are, shape (n,)."""
        return self._first, self._heap.sum(axis=0)

    def cutting(self) -> float:
        """Return how likely it is that the bit is in the wood."""
        extra = self.track.extra[self._first : self._first + self._heap.shape[1]]
        return float(self._heap[1:, ~np.isnan(extra)].sum())

    @property
    def sure(self) -> bool:
        """Whether what is heard is hardly foreseen better without a program, and that was tried for long."""
        return self._tried >= _TRIED and self._gain > _SURE

    def step(self, level: float | None, *, turns: bool, told: tuple[int, int] | None = None) -> None:
        """
        Take one step, in which the spindle was heard to turn or not, at a level in dBFS if at any.

        ``told`` are the first and the last move that it may be by what the controller tells.
        """
        self._go_on()
        change = None if level is None else level - self._level
        fits = self._fits(level, turns=turns)
        if told is not None:
            cells = self._first + np.arange(fits.shape[1])
            fits *= np.where(self._near(cells, *told), 1.0, _ELSEWHERE)
        self._heap[0] *= fits[0]
        self._heap[1:] *= fits[1]
        total = float(self._heap.sum())
        self._heap /= total
        self._past.append(Step(self._first, self._heap.astype(np.float32), fits))
        self._narrow()
        self._doubt(total, change)

    def pass_time(self) -> None:
        """Take one step in which nothing was heard."""
        self._go_on()
        ones = np.ones((2, self._heap.shape[1]))
        self._past.append(Step(self._first, self._heap.astype(np.float32), ones))
        self._narrow()

    def refresh(self) -> None:
        """Put what was learned of the machine to use from now on."""
        learned = self.learned
        self._paces = Paces.of(self.seconds, Learned(self._given.feeds, learned.rapids))
        self._ready = 0, np.empty((REACH + 1, len(PACES) + 1, 0))

    def smoothed(self, steps: int) -> list[tuple[int, Floats]]:
        """Return the first cell, and the probability of it and those after, for the last ``steps`` steps."""
        past = list(self._past)[-steps:]
        if not past or not steps:
            return []
        found: list[tuple[int, Floats]] = []
        ahead, first = np.ones_like(past[-1].heap, dtype=np.float64), past[-1].first
        for step, after in zip(reversed(past), [None, *reversed(past[1:])], strict=True):
            if after is not None:
                ahead, first = self._before(after, ahead, step), step.first
            mass = (step.heap * ahead).sum(axis=0)
            found.append((first, mass / max(float(mass.sum()), 1e-300)))
        return found[::-1]

    def _before(self, after: Step, ahead: Floats, step: Step) -> Floats:
        """Return what is ahead of ``step``, shape (paces + 1, n), from what is ahead of the one after it."""
        seen = ahead.copy()
        seen[0] *= after.fits[0]
        seen[1:] *= after.fits[1]
        seen = self._paces.unstir(seen, self._wood(after.first, seen.shape[1]))
        cells = step.heap.shape[1]
        room = np.zeros((len(seen), cells + REACH))
        shift = after.first - step.first
        there = min(seen.shape[1], cells + REACH - shift)
        room[:, shift : shift + there] = seen[:, :there]
        weights = self._weights(step.first, cells)
        found = sum(weights[far] * room[:, far : far + cells] for far in range(REACH + 1))
        return np.asarray(found / max(float(np.max(found)), 1e-300))

    def _wood(self, first: int, cells: int) -> NDArray[np.bool_]:
        return ~np.isnan(self.track.extra[first : first + cells])

    def _weights(self, first: int, cells: int) -> Floats:
        begin, ready = self._ready
        if first < begin or first + cells > begin + ready.shape[2]:
            begin = max(0, first - _AHEAD)
            sorts = self.track.sort[begin : first + cells + _AHEAD]
            ready = np.ascontiguousarray(np.moveaxis(self._paces.weights[sorts], 0, -1))
            self._ready = begin, ready
        return ready[:, :, first - begin : first - begin + cells]

    def _go_on(self) -> None:
        self._move()
        self._heap = self._paces.stir(self._heap, self._wood(self._first, self._heap.shape[1]))

    def _move(self) -> None:
        cells = self._heap.shape[1]
        end = min(self._first + cells + REACH, len(self.track))
        heap = np.zeros((len(PACES) + 1, cells + REACH))
        state = np.zeros((levels.ROWS, cells + REACH))
        spent = np.zeros((4, cells + REACH))
        weights = self._weights(self._first, cells)
        gone, asked = self._time(cells)
        for far in range(REACH + 1):
            flow = weights[far] * self._heap
            heap[:, far : far + cells] += flow
            mass = flow.sum(axis=0)
            state[:, far : far + cells] += mass * self._state
            # A hold of the feed tells nothing of the machine.
            spent[:, far : far + cells] += mass * self._spent + (mass - flow[0]) * (gone + far * asked)
        total = np.maximum(heap.sum(axis=0), 1e-300)
        keep = end - self._first
        self._heap = heap[:, :keep]
        self._state = (state / total)[:, :keep]
        self._spent = (spent / total)[:, :keep]

    def _time(self, cells: int) -> tuple[Floats, Floats]:
        """Return what a step in each cell, and a cell further, adds to the times spent, shape (4, cells)."""
        here = slice(self._first, self._first + cells)
        fed = self.track.share[here]
        counts = (self.track.sort[here] < TIMED).astype(np.float64)
        none = np.zeros(cells)
        machine, feed = (1.0 - fed) * counts, fed * counts
        gone = self.seconds * np.stack((machine, none, feed, none))
        asked = self.track.step * np.stack((none, machine, none, feed))
        return gone, asked

    def _fits(self, level: float | None, *, turns: bool) -> Floats:
        here = slice(self._first, self._first + self._heap.shape[1])
        known = self.track.turns[here]
        fresh = self.track.fresh[here]
        if fresh.any():
            levels.other_bit(self._state, fresh)
        fits = levels.hear_turning(self._state, known, self.seconds, heard=turns)
        if level is None:
            return np.stack((fits, fits))
        amazed = self._state[levels.AMAZED].copy()
        turning, stands = known == 1.0, known == 0.0
        now = levels.Heard(level, self._scatter(level), self.seconds)
        # While the spindle starts or stops no level can be foreseen.
        held, heard = np.full((2, len(known)), levels.unforeseeable())
        held[turning] = levels.in_air(self._state[:, turning], now)
        for where, hear in ((turning, self._hear), (stands, self._hear_still)):
            if where.any():
                state = self._state[:, where]
                heard[where] = hear(state, where, now)
                self._state[:, where] = state
        # That the shop changes just while the feed is held explains everything, and is hardly ever so.
        changed = turning & (amazed > 0.0) & (self._state[levels.AMAZED] == 0.0)
        held[changed] *= levels.HARDLY
        held[stands] = heard[stands]
        return np.asarray(fits * np.stack((held, heard)) ** levels.INDEPENDENT)

    def _doubt(self, foreseen: float, change: float | None) -> None:
        """Look everywhere again when somebody without a program would foresee what is heard better."""
        if change is None:
            return
        gain = np.log(foreseen) - levels.INDEPENDENT * np.log(levels.free(change, self._usual))
        self._gain += self.seconds / _TRIED * (float(gain) - self._gain)
        self._tried += self.seconds
        if self._gain < _LOST and self._tried > _TRIED:
            self._look_everywhere()

    def mark(self, first: int, last: int) -> None:
        """Take in that a person says that one of these moves is being cut now, give or take some seconds."""
        # A person looks at a line, and presses a key when it may be the next.
        near = self._near(np.arange(len(self.track)), first, last)
        self._lay(near / near.sum(), keep=0.0)

    def _near(self, cells: NDArray[np.intp], first: int, last: int) -> NDArray[np.bool_]:
        """Return which cells are those of some moves, or near them."""
        about = round(_ABOUT / self.track.step)
        begin = np.searchsorted(self.track.last, first) - about
        end = np.searchsorted(self.track.first, last, side="right") + about
        return np.asarray((cells >= begin) & (cells < end))

    def _look_everywhere(self) -> None:
        """Give all of the program a chance, and what was thought so far as much."""
        self._lay(_anywhere(self.track, begun=True), keep=_KEEP)

    def _lay(self, anywhere: Floats, *, keep: float) -> None:
        """Think again where it is: ``anywhere`` as likely, but for a share of what was thought so far."""
        cells = len(self.track)
        here = slice(self._first, self._first + self._heap.shape[1])
        mass = self._heap.sum(axis=0)
        heap = (1.0 - keep) * self._paces.prior[:, np.newaxis] * anywhere
        heap[:, here] += keep * self._heap
        state, spent = levels.afresh(self._state, cells, self._level), np.zeros((4, cells))
        spent[:] = (self._spent * mass).sum(axis=1, keepdims=True)
        state[:, here], spent[:, here] = self._state, self._spent
        self._heap, self._state, self._spent, self._first = heap, state, spent, 0
        self._tried = self._gain = 0.0
        # What was thought before does not lead here.
        self._past.clear()
        self._narrow()

    def _scatter(self, level: float) -> float:
        """Return how much levels differ from step to step where nothing begins or ends, dB."""
        self._changes.append(abs(level - self._level))
        self._level = level
        usual = 1.6 * statistics.median(self._changes) if len(self._changes) > _FEW else _MOST
        self._usual = min(max(usual, _LEAST), _MOST)
        return self._usual

    def _hear(self, state: Floats, where: NDArray[np.bool_], now: levels.Heard) -> Floats:
        here = slice(self._first, self._first + len(where))
        extra, begins = self.track.extra[here][where], self.track.begins[here][where]
        return levels.hear(state, extra, begins, now)

    def _hear_still(self, state: Floats, where: NDArray[np.bool_], now: levels.Heard) -> Floats:
        begun = self._first + np.flatnonzero(where) >= WAITS
        return levels.hear_still(state, begun, now)

    def _narrow(self) -> None:
        mass = self._heap.sum(axis=0)
        left = int(np.searchsorted(np.cumsum(mass), _FORGOTTEN))
        right = int(np.searchsorted(np.cumsum(mass[::-1]), _FORGOTTEN))
        if left + right:
            here = slice(left, len(mass) - right)
            self._heap, self._state, self._spent = (
                np.ascontiguousarray(part[:, here]) for part in (self._heap, self._state, self._spent)
            )
            self._heap /= self._heap.sum()
            self._first += left


def _anywhere(track: Track, *, begun: bool = False) -> Floats:
    """Return how likely each cell is before anything was heard, or when all was lost, shape (n,)."""
    waits = track.sort > TIMED
    middle, standing = (0.9, 0.1) if begun else (_MIDDLE, _STANDING)
    found = np.where(waits, standing / waits.sum(), middle / max(int((~waits).sum()), 1))
    found[0] += 1.0 - middle - standing
    return np.asarray(found / found.sum())
