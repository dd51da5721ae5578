"""
A swell of the hiss that comes every second turn, in step with the spindle, and lasts.

No tight bit has that, and little else in a shop: what a voice or another machine swells at is seldom within a
part in a hundred of half the spindle's frequency, and more seldom of three halves as well. So it needs no
baseline, and tells of a slip that is too slight for a single row. Both orders must swell, for a few seconds
or more deeply for a shorter time: over seconds chance and strangers cancel out. And the shorter it lasts the
more it must stand out of what usually swells there.
"""

import math
from collections import deque
from itertools import pairwise
from typing import NamedTuple

from analysis.change import independent_share
from analysis.features import Array32


class Bar(NamedTuple):
    """
    What a swell must reach.

    Attributes
    ----------
    lasts
        Over how many rows, counted as far as they are independent of one another.
    deep
        Mean squared depth of both orders, in step, dB re full.
    usual
        So many times what usually swells there, in step or not: where a telephone cuts sound up chance is as
        deep as a slip elsewhere.
    share
        Of all that swells there the share that must be in step: of chance alone none is, on the average.
    """

    lasts: float
    deep: float
    usual: float
    share: float


BARS = (
    Bar(4.0, -13.0, 2.0, 0.35),
    Bar(8.0, -16.5, 1.4, 0.35),
    Bar(16.0, -22.0, 0.7, 0.35),
    Bar(32.0, -24.0, 0.35, 0.3),
)
"""
Judgements: in 17 h of development runs one tight bit had so much, with a compressor in step; no other had it,
nor 1.5 dB less.
"""

# Over so many s it is learned what is usual. While the score is higher than this nothing is: a slip may last.
_USUALLY, _QUIET = 15.0, 0.25

# As good as no swell, dB re full: chance makes as much over some seconds.
_NONE = -30.0

# What was heard before a pause in the comparison, s, tells no more of what comes after.
_PAUSE = 3.0

# What began counts from where it was half as deep as an alarm.
_BEGUN = 0.5


class _Row(NamedTuple):
    """The middle of a row's window, s, and sums over all rows so far: in step and all, of both orders."""

    middle: float
    steps: tuple[float, float]
    whole: tuple[float, float]


class InStep:
    """
    Follows how deep the hiss swells in step with every second turn.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    correlation
        Of a row with the one before: the long windows that slow spindles need overlap by more.

    Attributes
    ----------
    score
        How near that is to an alarm: 1 is one.
    contrary
        Whether it is surely not in step: what swells every second turn is then something else.
    """

    def __init__(self, seconds: float, correlation: float) -> None:
        independent = independent_share(correlation)
        self._bars = [(max(2, round(bar.lasts / independent)), bar) for bar in BARS]
        self._shortest, longest = self._bars[0][0], self._bars[-1][0]
        self._rows: deque[_Row] = deque(maxlen=longest + 1)
        self._share = seconds / _USUALLY
        self._lately: deque[float] = deque(maxlen=longest)
        self.begin()

    def begin(self) -> None:
        """Begin anew."""
        self._rows.clear()
        self._lately.clear()
        self._usual, self._learned = 0.0, 0
        self.score = 0.0
        self.contrary = False
        self._needed, self._more = 0.0, 1.0

    def row(self, middle: float, steps: Array32, more: float) -> None:
        """
        Take in one row.

        Parameters
        ----------
        middle
            Of its window, s from the first sample.
        steps
            Squared depths at orders 0.5 and 1.5: in step with the spindle, and all of it, shape (2, 2).
        more
            How many times as much as usual it must be: such a swell may be normal for this bit.
        """
        if not self._rows or middle - self._rows[-1].middle > _PAUSE:
            self._rows.clear()
            self._rows.append(_Row(middle, (0.0, 0.0), (0.0, 0.0)))
        self._more = more
        last = self._rows[-1]
        (low, high), (all_low, all_high) = steps.tolist()
        self._learn(0.5 * (all_low + all_high))
        together = (last.steps[0] + low, last.steps[1] + high)
        whole = (last.whole[0] + all_low, last.whole[1] + all_high)
        self._rows.append(_Row(middle, together, whole))
        self.score = 0.0
        self.contrary = len(self._rows) > self._shortest
        for rows, bar in self._bars:
            if rows < len(self._rows):
                self._look(rows, bar)

    def _learn(self, whole: float) -> None:
        """Learn what usually swells, squared, from rows that are too old to be looked at."""
        if len(self._lately) == self._lately.maxlen and self.score < _QUIET:
            self._learned += 1
            self._usual += max(self._share, 1.0 / self._learned) * (self._lately[0] - self._usual)
        self._lately.append(whole)

    def _look(self, rows: int, bar: Bar) -> None:
        """Take in what the last rows tell together."""
        now, then = self._rows[-1], self._rows[-1 - rows]
        steps = [(end - begin) for end, begin in zip(now.steps, then.steps, strict=True)]
        whole = [(end - begin) for end, begin in zip(now.whole, then.whole, strict=True)]
        if any(part < bar.share * total for part, total in zip(steps, whole, strict=True)):
            return
        self.contrary = False
        deep = max(10.0 ** (bar.deep / 10.0) * self._more, bar.usual * self._usual)
        score = min(steps) / (rows * deep)
        if score > self.score:
            self.score, self._needed = score, deep

    @property
    def rise(self) -> float:
        """How much deeper it swells than a tight bit, which hardly does, dB; 0 where it does not."""
        return max(10.0 * math.log10(max(self.score * self._needed / self._more, 1e-9)) - _NONE, 0.0)

    @property
    def since(self) -> tuple[float, float]:
        """Since when it swells so, and when it last did not, s from the first sample."""
        rows = list(self._rows)
        ends = [0.0]
        for before, row in pairwise(rows):
            step = min(end - begin for end, begin in zip(row.steps, before.steps, strict=True))
            ends.append(ends[-1] + step - _BEGUN * self._needed)
        begun = min(range(len(ends)), key=ends.__getitem__)
        return rows[min(begun + 1, len(rows) - 1)].middle, rows[begun].middle
