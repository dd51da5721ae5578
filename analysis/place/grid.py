"""
The filter: how likely each cell of the program and each pace is, from step to step.

A hidden Markov model that goes from left to right, kept on the cells that are likely at all: they move
along with the place.
"""

import math
import statistics
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.pace import LEAST, MOST, UNKNOWN, Learned
from analysis.place import levels
from analysis.place.halts import Halts, Thought
from analysis.place.paces import PACES, REACH, STIRRED, Floats, Paces, Short
from analysis.place.track import TIMED, WAITS, Track
from analysis.which_bit import BITES, Fit

# Probability, at either end, that is left out.
_FORGOTTEN = 1e-6
# Seconds within which the past is still put right by what comes after.
_BACK = 10.0
# How likely the listening began in the middle, and that it did so while the spindle stood.
_MIDDLE, _STANDING = 0.1, 0.005
# Seconds of the machine's own pace that what was assumed of it is worth.
_WORTH = 20.0
# Seconds from which the scatter of levels is taken, how many steps are too few, and its bounds, dB; and from
# how many steps while the spindle stands.
_LATELY, _FEW, _LEAST, _MOST, _JUST_NOW = 6.0, 8, 0.5, 2.5, 9
# Share of a new idea of how much louder a spindle is that turns, and how probably it must turn to have one.
_ANOTHER, _SURELY = 0.03, 0.9
# Seconds over which the place is tried, what it must foresee better than somebody without a program, by
# the logarithm of each step; how much of what was thought is kept when all is looked at again.
_TRIED, _LOST, _KEEP = 12.0, -0.35, 0.5
# By how many dB another bit must stand out, and for how long, s, or how long something must be heard to cut
# where nothing is cut, until all is looked at again; and for how long it is not done once more.
_PLAINLY, _OTHER_FOR, _NOT_AGAIN = 1.0, 10.0, 20.0
# What the place must foresee better, by the logarithm of each step, to be believed beside what a controller
# tells. A judgement: on development seeds the interval then held the true line in 99.7 % of noisy runs.
_SURE = -0.08
# As much to be told at all, where nobody else tells the line, a judgement; and when all is looked at again.
_BELIEVED, _ANEW = -0.2, -0.3
# The gain at which what is heard counts least, how much more it takes to count in full, and the least.
_WORTHLESS, _WORTHY, _LEAST_TRUST = -0.25, 0.2, 0.5
# The gain from which on what is heard is mostly foreseen, whatever is odd now.
_FORESEEN = -0.15
# How far off, s of the program, a line that a person marks, or a controller tells, may be.
_ABOUT = 2.0
# How likely somebody goes on from elsewhere than he was told: so little that the place is the one that he was
# told until something else is heard.
_CHOSEN = 0.005
# Where the spindle was stopped and the program does not stop it: how likely it goes on from elsewhere, and
# from anywhere else; and how probably the feed is still held when it is heard again. Judgements.
_NOT_THERE, _ANYWHERE, _STILL_HELD = 0.25, 0.1, 0.8
# How likely a step elsewhere than a controller tells is beside one there: it may be wrong for a moment.
_ELSEWHERE = 0.3
# As likely as any cell and pace is at the least.
_LEAST_LIKELY = np.float32(1e-25)
# Rows of the times that are kept of each cell's past.
_SPENT = 4
# Cells that are thought possible at once, twenty minutes of the program: else what a step costs would grow
# with the program. In a longer one the place is not found that is farther from where it was thought to be,
# unless somebody tells.
_MOST_CELLS = 12_000
# Cells that are laid ready ahead.
_AHEAD = 256
# Up to so many cells all ways from them are worked out together; of more they would not stay in the cache.
_FEW_CELLS = 256


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
    stirred
        Whether it was thought of what may happen to the pace.
    """

    first: int
    heap: Short
    fits: Short
    stirred: bool


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
        anywhere = _anywhere(track)
        here = _likeliest(anywhere)
        self._first = here.start
        self._heap = _short(self._paces.prior[:, np.newaxis] * (anywhere[here] / anywhere[here].sum()))
        # How likely each cell is, whatever the pace: summed once a step, for all who ask.
        self._mass = _whole(self._heap)
        # Of each place's own past: what was heard, then seconds that machine and feed took, and what the
        # program gave them.
        cells = self._heap.shape[1]
        self._own = _short(np.concatenate((levels.unheard(cells), np.zeros((_SPENT, cells)))))
        self._ready = self._nothing_ready()
        self._level, self._usual, self._still = 0.0, _MOST, _MOST
        self._surest = levels.as_sure_as_can_be(seconds)
        self._louder: float | None = None
        self._gain = self._fair = self._tried = self._otherwise = 0.0
        self._unstirred = 0
        self._halts = Halts(track, seconds)
        self._changes: deque[float] = deque(maxlen=round(_LATELY / seconds))
        self._past: deque[Step] = deque(maxlen=max(2, round(_BACK / seconds)))

    @property
    def _state(self) -> Short:
        return self._own[: levels.ROWS]

    @property
    def _spent(self) -> Short:
        return self._own[levels.ROWS :]

    @property
    def learned(self) -> Learned:
        """What the run so far tells of the machine."""
        mass = self._mass
        machine, planned, fed, asked = (self._spent * (mass / mass.sum())).sum(axis=1)
        feeds = (asked + _WORTH * self._given.feeds) / (fed + _WORTH)
        rapids = (planned + _WORTH * self._given.rapids) / (machine + _WORTH)
        return Learned(*(float(np.clip(pace, LEAST, MOST)) for pace in (feeds, rapids)))

    @property
    def remembers(self) -> int:
        """How many steps back ``smoothed`` can go."""
        return len(self._past)

    def now(self) -> tuple[int, Floats]:
        """Return the first cell that is likely, and how likely it and those after it are, shape (n,)."""
        return self._first, self._mass

    def cutting(self) -> float:
        """Return how likely it is that the bit is in the wood."""
        return float((self._mass - self._heap[0]) @ self._wood(self._first, len(self._mass)))

    @property
    def believed(self) -> bool:
        """Whether what is heard is foreseen well enough that the place may be told."""
        return self._fair > _BELIEVED

    @property
    def _trust(self) -> float:
        """
        How much what is heard counts: less where it is foreseen badly.

        Where a model does not hold, its evidence is worth less than it says (Grünwald 2012, the safe
        learning rate): else the place would soon be sure of what is wrong.
        """
        return min(max((self._gain - _WORTHLESS) / _WORTHY, _LEAST_TRUST), 1.0)

    def bit(self) -> tuple[int, float]:
        """
        Return the bit that is most probably in the spindle, by T number, and how probably.

        Where the program has but one it is that one. Where it has several none turns while the program waits
        or is over: of what is then left no bit may be told.
        """
        if len(self.track.bits) == 1:
            return int(self.track.bits[0]), 1.0
        first, mass = self.now()
        shares = np.bincount(self.track.bit[first : first + len(mass)] + 1, weights=mass)[1:]
        if not len(shares):
            return -1, 0.0
        best = int(np.argmax(shares))
        return best, float(shares[best])

    @property
    def sure(self) -> bool:
        """Whether what is heard is hardly foreseen better without a program, and that was tried for long."""
        return self._tried >= _TRIED and self._fair > _SURE

    def step(
        self,
        level: float | None,
        *,
        turns: bool,
        told: tuple[int, int] | None = None,
        bits: Mapping[int, Fit] = {},
    ) -> None:
        """
        Take one step, in which the spindle was heard to turn or not, at a level in dBFS if at any.

        ``bits`` is how well each bit, by T number, fits what is heard.

        ``told`` are the first and the last move that it may be by what the controller tells.
        """
        before = self._halts.hear(level, turns=turns, thought=self._turns_probably())
        if before is not None:
            self._go_on_from(before)
        self._go_on()
        if told is not None and self._is_out_of_sight(*told):
            self._lay(self._told(*told), keep=0.0)
        change = None if level is None else level - self._level
        fits = self._fits(level, turns=turns)
        if bits:
            self._hear_bit(fits, bits)
        if told is not None:
            cells = self._first + np.arange(fits.shape[1])
            fits *= np.where(self._near(cells, *told), 1.0, _ELSEWHERE)
        foreseen = float(self._heap[0] @ fits[0] + (self._mass - self._heap[0]) @ fits[1])
        worth = _short(fits**self._trust)
        self._heap[0] *= worth[0]
        self._heap[1:] *= worth[1]
        self._weigh()
        self._learn_louder()
        self._past.append(Step(self._first, self._heap.copy(), worth, self._unstirred == 0))
        self._narrow()
        self._halts.think(Thought(self._first, self._mass, self._own))
        self._doubt(foreseen, change)

    def pass_time(self) -> None:
        """Take one step in which nothing was heard."""
        self._go_on()
        self._share_out()
        ones = np.ones((2, self._heap.shape[1]), dtype=np.float32)
        self._past.append(Step(self._first, self._heap.copy(), ones, self._unstirred == 0))
        self._narrow()

    def refresh(self) -> None:
        """Put what was learned of the machine to use from now on."""
        learned = self.learned
        self._paces = Paces.of(self.seconds, Learned(self._given.feeds, learned.rapids))
        self._ready = self._nothing_ready()

    def smoothed(self, steps: int) -> list[tuple[int, Floats]]:
        """Return the first cell, and the probability of it and those after, for the last ``steps`` steps."""
        past = list(self._past)[-steps:]
        if not past or not steps:
            return []
        found: list[tuple[int, Floats]] = []
        ahead, first = np.ones_like(past[-1].heap), past[-1].first
        for step, after in zip(reversed(past), [None, *reversed(past[1:])], strict=True):
            if after is not None:
                ahead, first = self._before(after, ahead, step), step.first
            mass = _whole(step.heap * ahead)
            found.append((first, mass / max(float(mass.sum()), 1e-300)))
        return found[::-1]

    def _before(self, after: Step, ahead: Short, step: Step) -> Short:
        """Return what is ahead of ``step``, shape (paces + 1, n), from what is ahead of the one after it."""
        cells, shift = step.heap.shape[1], after.first - step.first
        room = np.zeros((len(ahead), cells + REACH), dtype=np.float32)
        there = min(ahead.shape[1], cells + REACH - shift)
        seen = room[:, shift : shift + there]
        np.multiply(ahead[0, :there], after.fits[0, :there], out=seen[0])
        np.multiply(ahead[1:, :there], after.fits[1, :there], out=seen[1:])
        if after.stirred:
            self._paces.unstir(seen, self._wood(after.first, there))
        weights, _ = self._ways(step.first, cells)
        found: Short = weights[0] * room[:, :cells]
        flow = np.empty_like(found)
        for far in range(1, REACH + 1):
            found += np.multiply(weights[far], room[:, far : far + cells], out=flow)
        found /= max(float(found.max()), 1e-30)
        return found

    def _wood(self, first: int, cells: int) -> NDArray[np.bool_]:
        return self.track.wood[first : first + cells]

    def _nothing_ready(self) -> tuple[int, Short, Short]:
        weights, times = (_short(np.empty((REACH + 1, rows, 0))) for rows in (len(PACES) + 1, _SPENT))
        return 0, weights, times

    def _ways(self, first: int, cells: int) -> tuple[Short, Short]:
        """Return how likely each way is from some cells, and what it adds to the times that are kept."""
        begin, weights, times = self._ready
        if first < begin or first + cells > begin + weights.shape[2]:
            begin = max(0, first - _AHEAD)
            here = slice(begin, first + cells + _AHEAD)
            ways = np.moveaxis(self._paces.weights[self.track.sort[here]], 0, -1)
            weights, times = _short(np.ascontiguousarray(ways)), _short(self._times(here))
            self._ready = begin, weights, times
        here = slice(first - begin, first - begin + cells)
        return weights[:, :, here], times[:, :, here]

    def _times(self, here: slice) -> Floats:
        """Return what steps of 0, 1, ... cells add to the times spent, shape (REACH + 1, _SPENT, cells)."""
        fed = self.track.share[here]
        counts = (self.track.sort[here] < TIMED).astype(np.float64)
        none = np.zeros(len(fed))
        machine, feed = (1.0 - fed) * counts, fed * counts
        gone = self.seconds * np.stack((machine, none, feed, none))
        asked = self.track.step * np.stack((none, machine, none, feed))
        return gone + np.arange(REACH + 1)[:, np.newaxis, np.newaxis] * asked

    def _go_on(self) -> None:
        self._move()
        self._unstirred = (self._unstirred + 1) % STIRRED
        if self._unstirred:
            return
        # What happens to the pace leaves each cell as likely as it was.
        self._heap = self._paces.stir(self._heap, self._mass, self._wood(self._first, len(self._mass)))

    def _move(self) -> None:
        paces, cells = self._heap.shape
        moved = np.zeros((paces + len(self._own), cells + REACH), dtype=np.float32)
        weights, times = self._ways(self._first, cells)
        together = REACH + 1 if cells <= _FEW_CELLS else 1
        flow = np.empty((together, len(moved), cells), dtype=np.float32)
        for nearest in range(0, REACH + 1, together):
            some = slice(nearest, nearest + together)
            self._flow(weights[some], times[some], flow)
            for far, gone in enumerate(flow, nearest):
                moved[:, far : far + cells] += gone
        keep = min(cells + REACH, len(self.track) - self._first)
        # Numbers too small to be exact take long to reckon with.
        self._heap = np.maximum(moved[:paces, :keep], _LEAST_LIKELY)
        mass = self._heap.sum(axis=0)
        self._own = moved[paces:, :keep] / mass
        self._mass = mass.astype(np.float64)

    def _flow(self, weights: Short, times: Short, flow: Short) -> None:
        """Write into ``flow`` how much goes each of some ways, and what it has with it."""
        heap, own = flow[:, : len(self._heap)], flow[:, len(self._heap) :]
        np.multiply(weights, self._heap, out=heap)
        mass = heap.sum(axis=1)
        np.multiply(mass[:, np.newaxis], self._own, out=own)
        # A hold of the feed tells nothing of the machine.
        own[:, levels.ROWS :] += (mass - heap[:, 0])[:, np.newaxis] * times

    def _fits(self, level: float | None, *, turns: bool) -> Floats:
        here = slice(self._first, self._first + self._heap.shape[1])
        surely, stands, state = self.track.turning[here], self.track.standing[here], self._state
        # Where a person switches the spindle, that it is heard to turn or not tells nothing but what it does.
        either = self.track.either[here]
        turning, standing = (surely | either, stands) if turns else (surely, stands | either)
        # Nobody puts another bit into one that turns.
        fresh = self.track.fresh[here] & ~turning
        if fresh.any():
            levels.other_bit(state, fresh)
        wrong = standing if turns else turning
        fits = levels.hear_turning(state, wrong, self.seconds)
        if level is None:
            return np.stack((fits, fits))
        now = levels.Heard(level, self._scatter(level), self.seconds, sure=self._gain > _FORESEEN)
        if turning.all():
            foreseen = self._foreseen(state, turning, now)
        else:
            foreseen = self._foreseen_in_part(turning, standing, now)
        foreseen **= levels.INDEPENDENT
        foreseen *= fits
        if self._louder is not None:
            foreseen *= levels.hear_silence(state, surely, level, self._louder)
        return foreseen

    def _weigh(self) -> None:
        """Make the whole probability 1."""
        self._mass = _whole(self._heap)
        self._share_out()

    def _share_out(self) -> None:
        total = float(self._mass.sum())
        self._heap /= total
        # A new one, for the old one was told to others.
        self._mass = self._mass / total

    def _learn_louder(self) -> None:
        """Learn how much louder a spindle is that turns, where it surely does and its air is known."""
        state = self._state
        turns = self.track.turning[self._first : self._first + len(self._mass)]
        mass = self._mass * (turns & levels.knows_air(state))
        if mass.sum() > _SURELY:
            louder = float(mass @ (state[levels.AIR] - state[levels.STILL]) / mass.sum())
            last = louder if self._louder is None else self._louder
            self._louder = last + _ANOTHER * (louder - last)

    def _hear_bit(self, fits: Floats, bits: Mapping[int, Fit]) -> None:
        """Let, in place, what is heard to turn and to cut tell what fits."""
        here = slice(self._first, self._first + self._heap.shape[1])
        best, bites = max(fit.stands for fit in bits.values()), max(fit.bites for fit in bits.values())
        cells, unlike = self.track.bit[here], np.zeros(self._heap.shape[1])
        for bit, fit in bits.items():
            unlike[cells == bit] = best - fit.stands
        bitten = np.where(self.track.wood[here], 0.0, bites)
        if self._mass @ unlike > _PLAINLY or self._mass @ bitten > BITES:
            self._otherwise += self.seconds
        else:
            self._otherwise = min(self._otherwise, max(self._otherwise - self.seconds, 0.0))
        fits *= levels.hear_bit(self._state, unlike, bitten, self.seconds)
        fits[0] *= levels.hear_bites(bites, self.seconds)

    def _foreseen(self, state: Short, where: NDArray[np.bool_], now: levels.Heard) -> Floats:
        """Learn, in place, where the spindle turns; return how well that was foreseen, held and not."""
        before = state.copy()
        held = levels.in_air(state, now)
        heard = self._hear(state, where, now)
        # Nothing is cut while the feed is held: no cut is learned from that.
        stays = self._is_held(where, held, heard)
        state[:, stays] = before[:, stays]
        # That the shop changes just while the feed is held explains everything, and is hardly ever so.
        changed = (before[levels.AMAZED] > 0.0) & (state[levels.AMAZED] == 0.0)
        held[changed] *= levels.HARDLY
        return np.stack((held, heard))

    def _is_held(
        self, where: NDArray[np.bool_], held: levels.Floats, heard: levels.Floats
    ) -> NDArray[np.bool_]:
        """Return in which of some cells the feed is probably held in the wood, by how well that fits."""
        still = self._heap[0][where]
        goes = self._mass[where] - still
        likelier = still * held**levels.INDEPENDENT > goes * heard**levels.INDEPENDENT
        return np.asarray(likelier & self._wood(self._first, len(where))[where])

    def _foreseen_in_part(
        self, turning: NDArray[np.bool_], stands: NDArray[np.bool_], now: levels.Heard
    ) -> Floats:
        """Return the same where the spindle turns in some cells, and stands in others."""
        # While the spindle starts or stops no level can be foreseen.
        found = np.full((2, len(turning)), levels.unforeseeable())
        for where, hear in ((turning, self._foreseen), (stands, self._hear_still)):
            if where.any():
                state = self._state[:, where]
                found[:, where] = hear(state, where, now)
                self._state[:, where] = state
        return found

    def _doubt(self, foreseen: float, change: float | None) -> None:
        """Look everywhere again when somebody without a program would foresee what is heard better."""
        if change is None:
            return
        gain = fair = _better(foreseen, change, self._usual)
        # Who knows the last level foresees what is steadier than any place does: that is no sign of a wrong
        # one. But what is odd in such a sound stays so, step by step, and counts too often.
        if self._usual < self._surest:
            fair = _better(foreseen, change, self._surest)
        share = self.seconds / _TRIED
        self._gain += share * (gain - self._gain)
        self._fair += share * (fair - self._fair)
        self._tried += self.seconds
        other = self._otherwise > _OTHER_FOR
        if (self._gain < _LOST or other) and self._tried > _TRIED:
            self._otherwise = -_NOT_AGAIN
            self._look_everywhere()

    def begin(self, first: int, last: int) -> None:
        """
        Take in that the cut that begins now is most likely one of these moves, give or take some seconds.

        Who was told where to go on may have chosen another place: then sound is to find it.
        """
        anywhere = _anywhere(self.track, begun=True)
        self._halts.forget()
        self._lay((1.0 - _CHOSEN) * self._told(first, last) + _CHOSEN * anywhere, keep=0.0)

    def mark(self, first: int, last: int, *, known: bool = False) -> None:
        """
        Take in that a person says that one of these moves is being cut now, give or take some seconds.

        Where it is ``known`` by sound, and that was tried for long, sound is believed as much until what is
        heard tells who is right: a person may mistake a line, or the key.
        """
        # A person looks at a line, and presses a key when it may be the next.
        heard = known and self.believed and self._tried >= _TRIED
        self._halts.forget()
        self._lay(self._told(first, last), keep=_KEEP if heard else 0.0)

    def _told(self, first: int, last: int) -> Floats:
        """Return how likely each cell is where it is told that it is one of some moves, shape (n,)."""
        near = self._near(np.arange(len(self.track)), first, last)
        return np.asarray(near / near.sum())

    def _near(self, cells: NDArray[np.intp], first: int, last: int) -> NDArray[np.bool_]:
        """Return which cells are those of some moves, or near them."""
        about = round(_ABOUT / self.track.step)
        begin = np.searchsorted(self.track.last, first) - about
        end = np.searchsorted(self.track.first, last, side="right") + about
        return np.asarray((cells >= begin) & (cells < end))

    def _is_out_of_sight(self, first: int, last: int) -> bool:
        """Return whether the place is unknown yet and some moves are farther away than is looked."""
        cells = self._first + np.arange(self._heap.shape[1])
        return len(cells) >= _MOST_CELLS and not self._near(cells, first, last).any()

    def _look_everywhere(self) -> None:
        """Give all of the program a chance, and what was thought so far as much."""
        self._lay(_anywhere(self.track, begun=True), keep=_KEEP)
        self._gain = self._fair = _ANEW

    def _turns_probably(self) -> bool:
        """Return whether it is mostly thought to be where the spindle turns."""
        turning = self.track.turning[self._first : self._first + len(self._mass)]
        return float(self._mass @ turning) > 0.5

    def _go_on_from(self, before: Thought) -> None:
        """Take in that the spindle turns again where it was stopped, and the program does not stop it."""
        there = self._halts.goes_on(before, len(self.track))
        anywhere = (1.0 - _ANYWHERE) * there + _ANYWHERE * _anywhere(self.track, begun=True)
        self._lay(anywhere, keep=_NOT_THERE, before=before, held=_STILL_HELD)

    def _lay(
        self, anywhere: Floats, *, keep: float, before: Thought | None = None, held: float = 0.0
    ) -> None:
        """
        Think again where it is: ``anywhere`` as likely, but for a share of what was thought so far.

        The feed may be ``held``. What places had learned ``before`` the spindle stood they know again.
        """
        now, mass = slice(self._first, self._first + self._heap.shape[1]), self._mass
        thought = (1.0 - keep) * anywhere
        thought[now] += keep * mass
        here = _likeliest(thought)
        old, new = _both(now, here)
        paces = (1.0 - held) * self._paces.prior
        paces[0] += held
        heap = (1.0 - keep) * paces[:, np.newaxis] * anywhere[here]
        heap[:, new] += keep * self._heap[:, old]
        cells = heap.shape[1]
        spent = np.repeat((self._spent * mass).sum(axis=1, keepdims=True), cells, axis=1)
        afresh = levels.afresh(self._state, cells, self._level)
        own = np.concatenate((afresh, spent))
        own[:, new] = self._own[:, old]
        if before is not None:
            old, new = _both(before.cells, here)
            own[:, new] = before.own[:, old]
            own[levels.STILL : levels.STILL_VAR + 1] = afresh[levels.STILL : levels.STILL_VAR + 1]
        self._heap, self._own, self._first = _short(heap), _short(own), here.start
        self._weigh()
        self._tried = self._gain = self._fair = 0.0
        # What was thought before does not lead here.
        self._past.clear()
        self._narrow()

    def _scatter(self, level: float) -> float:
        """Return how much levels differ from step to step where nothing begins or ends, dB."""
        self._changes.append(abs(level - self._level))
        self._level = level
        usual = 1.6 * statistics.median(self._changes) if len(self._changes) > _FEW else _MOST
        self._usual = min(max(usual, _LEAST), _MOST)
        just_now = 1.6 * statistics.median(list(self._changes)[-_JUST_NOW:])
        self._still = min(max(just_now, _LEAST), self._usual)
        return self._usual

    def _hear(self, state: Short, where: NDArray[np.bool_], now: levels.Heard) -> levels.Floats:
        here = slice(self._first, self._first + len(where))
        extra, begins = self.track.extra[here][where], self.track.begins[here][where]
        return levels.hear(state, extra, begins, now)

    def _hear_still(self, state: Short, where: NDArray[np.bool_], now: levels.Heard) -> levels.Floats:
        begun = self._first + np.flatnonzero(where) >= WAITS
        # A spindle that stands is as steady as the shop, whatever the cut was.
        return levels.hear_still(state, begun, replace(now, scatter=self._still))

    def _narrow(self) -> None:
        """Leave out what is hardly likely at either end."""
        before = self._mass.cumsum()
        left, right = before.searchsorted((_FORGOTTEN, before[-1] - _FORGOTTEN)).tolist()
        here = _likeliest(self._mass[left : right + 1])
        if here.stop - here.start < len(self._mass):
            here = slice(left + here.start, left + here.stop)
            self._heap, self._own = self._heap[:, here], self._own[:, here]
            self._mass = self._mass[here]
            self._first += here.start
            self._share_out()


def _better(foreseen: float, change: float, scatter: float) -> float:
    """Return how much better, nats, a level was foreseen than by who knows the last, ``change`` dB off."""
    return math.log(foreseen) - levels.INDEPENDENT * math.log(levels.free(change, scatter))


def _both(one: slice, other: slice) -> tuple[slice, slice]:
    """Return which cells two rows of cells share, as part of the one, and of the other."""
    first = max(one.start, other.start)
    last = max(first, min(one.stop, other.stop))
    return slice(first - one.start, last - one.start), slice(first - other.start, last - other.start)


def _short(values: Floats) -> Short:
    """Return values in half the memory, which is worked through in half the time."""
    return values.astype(np.float32)


def _whole(heap: Short) -> Floats:
    """Return how likely each cell is, whatever the pace, from what is likely of each pace and cell."""
    return np.asarray(heap.sum(axis=0), dtype=np.float64)


def _likeliest(mass: Floats) -> slice:
    """Return in which cells, at most `_MOST_CELLS` in a row, it most probably is."""
    if len(mass) <= _MOST_CELLS:
        return slice(0, len(mass))
    before = np.cumsum(np.concatenate(([0.0], mass)))
    first = int(np.argmax(before[_MOST_CELLS:] - before[:-_MOST_CELLS]))
    return slice(first, first + _MOST_CELLS)


def _anywhere(track: Track, *, begun: bool = False) -> Floats:
    """Return how likely each cell is before anything was heard, or when all was lost, shape (n,)."""
    waits = (track.sort > TIMED) & (track.bit < 0)
    middle, standing = (0.9, 0.1) if begun else (_MIDDLE, _STANDING)
    found = np.where(waits, standing / waits.sum(), middle / max(int((~waits).sum()), 1))
    found[0] += 1.0 - middle - standing
    return np.asarray(found / found.sum())
