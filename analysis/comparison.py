"""
Whether the sound has moved away from the baseline for good, row by row.

Running sums of evidence: some for a bit that has come loose, plainly or slightly, some for a bit that only
runs out of true, and one for a sound that has changed its colour. What the sums mean is told in
`analysis.evidence`. Beside them stand what swells every second turn in step, of `analysis.in_step`, and
runout that has grown within a cut, of `analysis.sudden`.
"""

import math
from collections import deque
from typing import NamedTuple

import numpy as np

from analysis.air import LEAST_OWN
from analysis.baseline import SIGNS, TRUE_ENOUGH, Array64, Baseline, channels
from analysis.change import independent_share
from analysis.cut import FAMILIES, Context, Moment
from analysis.evidence import ALL, ASTRAY, SINGLE, SWELL, Weights
from analysis.in_step import InStep
from analysis.sudden import Sudden

# How far signs must move before the move counts, dB: in the same kind of cut, though in another direction,
# depth or width, nearer to the microphone or farther from it;
LIKE = np.zeros(SIGNS)
# straight down as compared with across, and the other way round (straight down the hiss hardly swells);
UNLIKE: dict[str, Array64] = dict(
    zip(FAMILIES, np.array([[4.0, 4.0, 3.0, 2.0, 2.0], [4.0, 4.0, 3.0, 10.0, 4.0]]), strict=True)
)
_OTHER = dict(zip(FAMILIES, reversed(FAMILIES), strict=True))
# any cut as compared with any, when nobody told which.
UNTOLD = np.array([3.0, 3.0, 2.0, 4.0, 2.0])

# How far colour must lie above the baseline's, dB; the change of it that is looked for, in deviations, and
# how many a row may count for. It differs between cuts, so it is compared in one steady sound only.
FADED = 0.5
SHIFT, _MOST = 2.0, 5.0

PATHS = (0.8, 0.4, 0.2)
"""What is sought, as shares of a slip that matters: a fast path, and slower ones for what is slight."""

# A bit that does not rock as it slips only runs out of true, as any does a little. So that counts by itself
# only where the spindle line and the swell once per turn have both risen by so many dB above the most that
# any of the bit's cuts has, in a cut that is at most so many dB quieter or louder than normal, and once so
# many s of it had nothing of the kind. The swell alone differs between cuts: it counts from so many dB on,
# and only where colour does. Judgements, by development runs.
_BEYOND_ALL, _SWELLS = 3.5, 4.0
_BOTH = np.flatnonzero(ASTRAY)
_LIGHTER, _HEAVIER, _TRUE_FOR = 4.0, 7.0, 5.0

_SUMS = len(PATHS) + 3
TESTS = _SUMS + 2
"""
How many there are: sums of the paths, of runout alone, of its swell, and of colour; the swell in step; runout
that has grown.
"""

# How much quieter, dB, what is compared for its colour may be.
_QUIETER = 4.0

# Rows of whose hiss the cut's own share is less than this count for less, the less it is.
_MOSTLY_OWN = 0.5

# From so many dB on by which a cut is louder than the baseline's, it is another one: what turns with the
# spindle may rise by this share of what is more, up to so many dB.
_LOUDER, _MORE, _AT_MOST = 4.0, 0.5, 4.0
_TURNS = np.array([1.0, 1.0, 0.0, 1.0, 0.0])

# Runout is any bit's, and another cut may show more of it: what does not tell by itself counts as no more
# deviations than so many beyond the mean of those that do, over so many s at most.
_BY_ITSELF = np.array([0.0, 0.0, math.inf, 0.0, math.inf])
_BEYOND, _BEYOND_FOR = 0.5, 0.5

# Half orders and rocking; how many deviations they must have risen on the average, for a whole slip, over at
# most so many s.
_CORROBORATED, _CORROBORATED_FOR = 0.6, 2.0

# From so many deviations on half orders are plain.
_HALF_ORDERS = 1.0

# From so many deviations on runout has risen, too.
_RUNS_OUT = 1.0

# The limit, nats, at which a swell in step alarms where it is as deep as `analysis.in_step` says, and runout
# that has grown by as much as `analysis.sudden` does: about that of one false alarm in 20 h.
_NATS = 17.0

# How much deeper, dB, that must be with a single flute: whatever differs from tooth to tooth comes but once a
# turn then, and another machine that swells half as often is soon in step with it.
_ALONE = 6.0

# From this share of the limit on a sum agrees with that.
_AGREES = 0.25

# Over so many s the last rows say how far signs have moved; a sum rises to so many limits.
_RECENT, _HIGHEST = 0.5, 1.5


class _Telling(NamedTuple):
    """By how many deviations half orders, rocking, and the most of what tells of runout have risen."""

    half: float
    rocking: float
    runout: float


class Test(NamedTuple):
    """
    Where the comparison stands.

    Attributes
    ----------
    sum
        The running sum of evidence, nats, never below 0.
    since
        Since when it is above zero, s from the first sample.
    good
        When it was last at zero, s: until then nothing spoke for a change. Before ``since`` by a row, or by
        as long as nothing could be compared.
    """

    sum: float = 0.0
    since: float = 0.0
    good: float = 0.0

    def after(self, step: float, most: float, middle_of_row: float) -> "Test":
        """Return where it stands after one more row."""
        since = self.since if self.sum > 0.0 else middle_of_row
        higher = min(max(self.sum + step, 0.0), most)
        return Test(higher, since, self.good if higher > 0.0 else middle_of_row)


class Comparison:
    """
    Compares rows with a baseline and adds up what speaks for a change.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    correlation
        Correlation of a row with the one before.
    """

    def __init__(self, seconds: float, correlation: float) -> None:
        self._seconds = seconds
        self._correlation = correlation
        self._independent = independent_share(correlation)
        self._weights = {
            single: [Weights.of(correlation, counts=counts, share=share) for share in PATHS]
            for single, counts in ((False, ALL), (True, SINGLE))
        }
        self._for_runout, self._for_its_swell = (
            Weights.of(correlation, counts=counts, share=PATHS[0]) for counts in (ASTRAY, SWELL)
        )
        self._true = 0.0
        self._telling: deque[_Telling] = deque(maxlen=max(1, round(_CORROBORATED_FOR / seconds)))
        self._beyond_rows = max(1, round(_BEYOND_FOR / seconds))
        self._shifts: deque[Array64] = deque(maxlen=max(1, round(_RECENT / seconds)))
        self._in_step = InStep(seconds, correlation)
        self._sudden = Sudden(seconds)
        self._worst: Test | None = None
        self.limit, self._most = math.inf, math.inf
        self._stand([Test()] * _SUMS)

    def set(self, limit: float, shortest: float) -> None:
        """Set the limit that is an alarm, nats, and the seconds below which none comes."""
        self.limit = limit
        self._most = limit / max(3.0, shortest / self._seconds)
        self._sudden.certain = min(limit / _NATS, 1.0)

    def begin(self) -> None:
        """Begin anew."""
        self._in_step.begin()
        self._sudden.begin()
        self._stand([Test()] * _SUMS)
        self._telling.clear()
        self._shifts.clear()
        self._true = 0.0

    def stood(self) -> None:
        """
        Take in that the spindle has stood: another bit may turn, and nothing from before adds up with it.

        Until when nothing spoke for a change is still known, and so is that the cut was heard to be true.
        """
        self._sudden.begin()
        self._stand([Test(good=test.good) for test in self._tests])
        self._telling.clear()
        self._shifts.clear()

    def find(self, since: float) -> None:
        """Take for found, since ``since`` s, what was found in another way: it must be heard to be over."""
        self._stand([Test(_HIGHEST * self.limit, since, since), *self._tests[1:]])

    def _stand(self, tests: list[Test]) -> None:
        """Take in where the tests stand."""
        self._tests = tests
        self._loosest = max(tests[: len(PATHS)], key=_sum)
        self._worst = None

    @property
    def worst(self) -> Test:
        """What stands highest."""
        # Rows change it more often than anybody asks.
        if self._worst is None:
            self._worst = self._highest()
        return self._worst

    def _highest(self) -> Test:
        highest = max(self._tests[:-1], key=_sum)
        if self._grown > highest.sum:
            highest = Test(self._grown, self._sudden.since, self._sudden.good)
        if self._swells > highest.sum:
            highest = self._began()
        # Another colour may stand for long: what else is certain is not hidden by it.
        return highest if highest.sum >= self.limit else max(highest, self._tests[-1], key=_sum)

    @property
    def _swells(self) -> float:
        """Where the swell in step stands, nats: as if it were a sum, so that a stricter limit needs more."""
        return self._as_a_sum(self._in_step.score)

    @property
    def _grown(self) -> float:
        """Where runout that has grown stands, nats, in the same way."""
        return self._as_a_sum(self._sudden.score)

    def _as_a_sum(self, score: float) -> float:
        return min(score * _NATS, _HIGHEST * self.limit)

    def _began(self) -> Test:
        """Return the swell in step as a test; it began where the first of what agrees with it did."""
        agree = [test for test in self._tests[: len(PATHS)] if test.sum > _AGREES * self.limit]
        since, good = self._in_step.since
        first, last_good = (
            min((since, *(test.since for test in agree))),
            min((good, *(test.good for test in agree))),
        )
        return Test(self._swells, first, last_good)

    def in_step(self, moment: Moment, held: Array64, ever: Array64) -> None:
        """
        Take in what of a row needs no baseline, and is heard beside talk, too: what swells in step.

        Parameters
        ----------
        moment
            The row.
        held, ever
            As in :meth:`row`.
        """
        if moment.besides.steps is not None:
            deeper = _ALONE if moment.sample.single else 0.0
            more = 10.0 ** (float(ever[-1] - TRUE_ENOUGH[-1] + held[-1] + deeper) / 10.0)
            self._in_step.row(moment.middle, moment.besides.steps, more)
            self._worst = None

    def within(self, moment: Moment, held: Array64, ever: Array64) -> None:
        """
        Take in what of a row needs no baseline, but a clear cut of a bit that is known: its runout.

        Parameters
        ----------
        moment
            The row.
        held, ever
            As in :meth:`row`.
        """
        context, sample = moment.context, moment.sample
        if not (context.guessed or sample.single or context.kind == FAMILIES[0]):
            self._sudden.row(moment.middle, sample, ever + held)
            self._worst = None

    def row(
        self, moment: Moment, baseline: Baseline, held: Array64, ever: Array64, *, faded: float = 0.0
    ) -> None:
        """
        Take in one row that can be compared.

        Parameters
        ----------
        moment, baseline
            The row, and what is normal.
        held
            From where on signs count, dB, shape (SIGNS,).
        ever
            The most of each sign that is normal in any cut of this bit, dB, shape (SIGNS,).
        faded
            How much of its colour the sound may have lost, dB.
        """
        shift = channels(moment.sample, baseline.normal)
        self._shifts.append(shift)
        colour = self._faded(moment, baseline, float(shift[SIGNS]) - faded)
        steps = [*self._steps(moment, baseline, shift, held, ever), colour]
        most, highest = self._most, _HIGHEST * self.limit
        self._stand(
            [
                test.after(min(max(step, -most), most), highest, moment.middle)
                for test, step in zip(self._tests, steps, strict=True)
            ]
        )

    @property
    def score(self) -> float:
        """How near that is to an alarm: 1 is one."""
        return self.worst.sum / self.limit

    @property
    def has_faded(self) -> bool:
        """Whether it is certain that the colour is another, whatever else."""
        return self._tests[-1].sum >= self.limit

    def is_loose(self, at: float) -> bool:
        """Return whether at ``at`` s a change is certain, the colour aside."""
        alone = max(map(_sum, self._tests[len(PATHS) : -1]))
        if max(alone, self._swells, self._grown) >= self.limit:
            return True
        return self._loosest.sum >= self.limit and self._is_corroborated(at)

    def moved(self, at: float) -> Array64:
        """Return how far each channel has moved of late, but not before the onset, dB, (len(CHANNELS),)."""
        middle = np.zeros(SIGNS + 1)
        if self._shifts:
            middle = np.median(list(self._shifts)[-self._rows_since(self.worst, at) :], axis=0)
        if self.worst not in self._tests:
            middle[:SIGNS] = np.maximum(middle[:SIGNS], self._sudden.rise)
            middle[SIGNS - 1] = max(middle[SIGNS - 1], self._in_step.rise)
        return middle

    def risen(self) -> Array64:
        """Return how far signs have moved of late, dB, shape (SIGNS,)."""
        middle = np.median(list(self._shifts), axis=0)[:SIGNS] if self._shifts else np.zeros(SIGNS)
        middle[-1] = max(middle[-1], self._in_step.rise)
        return middle

    def faded(self) -> float:
        """Return how much of its colour the sound has lost of late, dB."""
        return float(np.median([shift[SIGNS] for shift in self._shifts])) if self._shifts else 0.0

    def _rows_since(self, test: Test, at: float) -> int:
        return max(1, round((at - test.since) / self._seconds))

    def _steps(
        self, moment: Moment, baseline: Baseline, shift: Array64, held: Array64, ever: Array64
    ) -> list[float]:
        """Return how strongly a row speaks for each of what is sought, nats, but for the colour."""
        error = baseline.error(self._correlation)
        louder = moment.sample.level - baseline.normal.level
        held = held + min(max(_MORE * (louder - _LOUDER), 0.0), _AT_MOST) * _TURNS + error[:SIGNS]
        away = (shift[:SIGNS] - held) / baseline.scale[:SIGNS]
        single = bool(baseline.normal.single)
        spindle, between, half, modulation, rocking = away.tolist()
        # A single flute shows no runout.
        runout = -math.inf if single else max(spindle, between, modulation)
        self._telling.append(_Telling(*(min(max(each, -1.0), 3.0) for each in (half, rocking, runout))))
        away = np.minimum(away, self._believed(moment.middle) + _BY_ITSELF)
        plainly = min((moment.sample.own - LEAST_OWN) / (_MOSTLY_OWN - LEAST_OWN), 1.0)
        loose = [plainly * path.evidence(away) for path in self._weights[single]]
        # Another cut tells nothing of runout: nor does it end an alarm.
        astray = [0.0 if test.sum >= self.limit else -self.limit for test in self._tests[len(PATHS) : -1]]
        if -_LIGHTER <= louder <= _HEAVIER and not single:
            rise, scale = moment.sample.plain - ever - held, baseline.scale[:SIGNS]
            found = self._runout(rise, scale, steady=_is_steady(moment.context))
            astray = self._once_true([plainly * step for step in found])
        return [*loose, *astray]

    def _runout(self, rise: Array64, scale: Array64, *, steady: bool) -> list[float]:
        """Return how strongly runout alone, by how many dB it has risen, and its swell alone speak, nats."""
        both = np.full(SIGNS, ((rise - _BEYOND_ALL) / scale)[_BOTH].min())
        swell = self._for_its_swell.evidence((rise - _SWELLS) / scale) if steady else -self.limit
        return [self._for_runout.evidence(both), swell]

    def _once_true(self, steps: list[float]) -> list[float]:
        """Return what a row says of runout alone: nothing, until enough of the cut had none."""
        if max(steps) <= 0.0:
            self._true += self._seconds
        return steps if self._true >= _TRUE_FOR else [-self.limit] * len(steps)

    def _faded(self, moment: Moment, baseline: Baseline, shift: float) -> float:
        """Return how strongly a row whose colour is off by ``shift`` dB speaks for another one, nats."""
        # A cut that has ended has another colour too.
        quieter = moment.sample.level < baseline.normal.level - _QUIETER
        if quieter or not _is_steady(moment.context):
            return -self.limit
        error = baseline.error(self._correlation)[SIGNS]
        faded = shift - baseline.centre[SIGNS] - FADED - 2.0 * error
        other = min(float(faded / baseline.scale[SIGNS]), _MOST)
        return self._independent * SHIFT * (other - SHIFT / 2.0)

    def _believed(self, middle: float) -> float:
        """Return how many deviations runout may count for, by what since the onset tells of a loose bit."""
        rows = 1 + self._rows_since(self._loosest, middle) if self._loosest.sum > 0.0 else 1
        told = self._told(min(rows, self._beyond_rows))
        return max((told.half + told.rocking) / 2.0 + _BEYOND, 0.0)

    def _told(self, rows: int) -> _Telling:
        """Return the mean of the last rows."""
        lately = list(self._telling)[-rows:]
        return _Telling(*(sum(each) / len(lately) for each in zip(*lately, strict=True)))

    def _is_corroborated(self, at: float) -> bool:
        """
        Return whether half orders and rocking, which no tight bit has, have risen as well since the onset.

        All else may turn out of true with another cut, or with another machine that turns as fast. What is
        slight must not be half orders alone: a line of the shop may fall on one. And what swells every second
        turn out of step is no bit's, unless half orders are plain.
        """
        share = PATHS[self._tests.index(self._loosest)]
        told = self._told(self._rows_since(self._loosest, at))
        if self._in_step.contrary and told.half < _HALF_ORDERS:
            return False
        if share < PATHS[0] and told.rocking < 0.0 and told.runout < _RUNS_OUT:
            return False
        return (told.half + told.rocking) / 2.0 >= _CORROBORATED * share


def _sum(test: Test) -> float:
    return test.sum


def _is_steady(context: Context) -> bool:
    """Return whether one steady sound is all that was ever heard."""
    return context.kind == "cut" and not context.apart


def margins(context: Context, *, like: bool) -> Array64:
    """Return how far signs must move to count; ``like``: whether the baseline is of the likely kind."""
    if context.told and like:
        return LIKE
    # In doubt the cut may be of the other family than the baseline's, which is of the likelier one.
    perhaps = _OTHER.get(context.kind) if like else context.kind
    return UNLIKE.get(perhaps or "", UNTOLD)
