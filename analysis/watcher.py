"""
Rows in, events out: the state machine that decides.

``settle`` (no steady cut yet), ``learn`` (the baseline's first seconds), ``listen`` (comparing),
``uneasy`` (a change is building), ``alarm`` (a change is certain), ``deaf`` (nothing usable is heard).

The baseline is frozen once learned. An alarm ends when the sound is again as the baseline was, never
because the watcher got used to the fault.
"""

from collections import deque
from dataclasses import dataclass
from statistics import median

import numpy as np

from analysis.baseline import CHANNELS, Array64, Baseline, Sample, Unfit, channels, learn
from analysis.causes import explain
from analysis.change import budget_rows, threshold_for
from analysis.events import Alarm, Deaf, Event, Heard, State, StateChange
from analysis.health import Health
from analysis.presence import Phase

# How far, dB, each channel must move before the move counts at all.
# Like with like: the same bit in the same kind of cut. Half orders and the once-per-turn swell wander
# with the grain; the level with depth of cut and knots.
LIKE = np.array([3.0, 3.0, 3.0, 4.0, 6.0, 1.5, 2.0])
# Another kind of cut, or a kind that nobody told. From a narrow side cut to a full slot, runout that was
# there all along changes the spindle line against tooth-pass by 6.7 dB (closed form, z = 2).
UNLIKE = np.array([7.0, 7.0, 4.0, 6.0, 10.0, 4.0, 5.0])

# Fewer rows than this tell too little of how much rows scatter.
_LEAST_ROWS = 20


@dataclass(frozen=True)
class Settings:
    """
    What the user may set.

    Attributes
    ----------
    false_alarms, hours
        How many false alarms in how many hours of cutting are bearable.
    learn
        Seconds of cutting from which a baseline is learned.
    shortest
        Seconds of change below which nothing can alarm: a knock, a door, a knot.
    forget
        Seconds of good cutting after which an alarm is over.
    """

    false_alarms: float = 1.0
    hours: float = 20.0
    learn: float = 3.0
    shortest: float = 0.3
    forget: float = 5.0


USUAL = Settings()

# Below this score the sound is good again.
_GOOD = 0.25

# A row this much louder than those before, dB, holds a bang, unless it lasts longer than this, s.
_BANG, _LONGEST_BANG = 5.0, 1.0

# A cut whose once-per-turn swell has faded by this much, dB, is another cut (straight down, say), or is
# covered by another sound: no loose bit does that. One row alone must have faded twice as much. When this
# has lasted for some seconds of cutting it is said.
_COVERED, _COVERED_LONG = 3.0, 3.0

_SWELL = CHANNELS.index("modulation")

# A cut whose level or tooth-pass is this much below the baseline's, dB, is too light to be compared.
_LIGHTER = 9.0

MIXED = 2
"""Rows at either end of a cut that hold air as well."""

# A sum goes up to this many limits: one sign alone needs two.
_MOST_SHARE = 2.0


@dataclass(frozen=True)
class Context:
    """
    What is being cut, as far as the program tells.

    Attributes
    ----------
    bit
        The bit in the spindle.
    kind
        The kind of cut: rows are compared with rows of the same kind.
    cuts
        Whether it is possible that anything is being cut.
    told
        Whether the kind comes from a program; without one every cut looks alike.
    apart
        Whether cut and air were both heard, so that the one can be told from the other.
    """

    bit: int = 0
    kind: str = "cut"
    cuts: bool = True
    told: bool = False
    apart: bool = True


@dataclass(frozen=True, eq=False)
class Moment:
    """
    One row and what goes with it.

    Attributes
    ----------
    at
        When the row was complete, s from the first sample.
    middle
        The middle of its window, s from the first sample.
    sample
        What was heard.
    phase
        What the spindle is doing.
    context
        What is being cut.
    """

    at: float
    middle: float
    sample: Sample
    phase: Phase
    context: Context


@dataclass(frozen=True, eq=False)
class _Test:
    """
    Where one comparison stands.

    Attributes
    ----------
    sums, share
        The running sums, in deviations, and as shares of their limits, shape (len(CHANNELS),).
    since
        Since when each sum is above zero, s from the first sample.
    score
        How near this is to an alarm, which is 1: two signs that agree are as good as one twice as strong.
    """

    sums: Array64
    share: Array64
    since: Array64
    score: float

    @classmethod
    def begin(cls) -> "_Test":
        nothing = np.zeros(len(CHANNELS))
        return cls(nothing, nothing, nothing, 0.0)

    def after(self, step: Array64, limit: Array64, middle_of_row: float) -> "_Test":
        """Return where it stands after one more row, whose steps are in deviations."""
        since = np.where(self.sums > 0.0, self.since, middle_of_row)
        sums = np.clip(self.sums + step, 0.0, _MOST_SHARE * limit)
        share = sums / limit
        return _Test(sums, share, since, float(np.sort(share)[-2:].sum()) / 2.0)


class Watcher:
    """
    Compares rows with the baseline and says what it thinks.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    correlation
        Correlation of a row with the one before.
    settings
        The user's settings.

    Attributes
    ----------
    state
        The present state.
    baselines
        What is normal, by bit and kind of cut.
    """

    def __init__(self, seconds: float, correlation: float, settings: Settings = USUAL) -> None:
        self.state: State = "settle"
        self.baselines: dict[tuple[int, str], Baseline] = {}
        self.score = 0.0
        self._seconds = seconds
        self._correlation = correlation
        self._settings = settings
        self._learning: dict[tuple[int, str], list[Sample]] = {}
        self._tests = {True: _Test.begin(), False: _Test.begin()}
        self._good = 0
        self._rules: dict[tuple[Baseline, bool], tuple[Array64, Array64]] = {}
        self._recent: deque[Array64] = deque(maxlen=max(1, round(0.5 / seconds)))
        self._levels: deque[float] = deque(maxlen=max(1, round(1.0 / seconds)))
        self._bang = 0
        self._covered = 0.0
        self._before: deque[dict[bool, _Test]] = deque(maxlen=MIXED + 1)
        self._waiting: deque[tuple[tuple[int, str], Sample]] = deque()
        self._bit = 0
        self._fresh = 0
        self._said: State | None = None
        self._because = "learning how this cut sounds"
        self._alarmed = False

    def row(self, moment: Moment, health: Health) -> list[Event]:
        """Take in one row, and whether anything can be heard at all."""
        at, context = moment.at, moment.context
        events: list[Event] = []
        if health.changed:
            events.append(Deaf(at, health.reason) if health.deaf else Heard(at, "sound is usable again"))
        if context.bit != self._bit:
            self._change_bit(context.bit)
        alarm = None
        if not health.deaf and health.usable and moment.phase is Phase.CUT and context.cuts:
            alarm = self._cutting(moment)
        else:
            self._leave_cut()
        self.state, because = self._judge(moment, health)
        if self.state != self._said:
            self._said = self.state
            events.append(StateChange(at, self.state, because if alarm is None else alarm.because[0]))
        return events if alarm is None else [*events, alarm]

    @property
    def learned(self) -> frozenset[int]:
        """The bits that have a baseline."""
        return frozenset(bit for bit, _ in self.baselines)

    def silence(self, at: float, health: Health) -> list[Event]:
        """Take in that nothing arrives at all; ``at`` in s from the first sample."""
        if not health.changed:
            return []
        self.state = self._said = "deaf"
        return [Deaf(at, health.reason), StateChange(at, "deaf", health.reason)]

    def forget(self, bit: int) -> None:
        """Drop what was learned of ``bit``: it was not the cut that was heard."""
        for known in (self.baselines, self._learning):
            for key in [key for key in known if key[0] == bit]:
                del known[key]
        self._rules.clear()
        self._begin()

    def _change_bit(self, bit: int) -> None:
        self._bit = bit
        self._begin()

    def _begin(self) -> None:
        """Begin to compare anew."""
        self._tests = {True: _Test.begin(), False: _Test.begin()}
        self._recent.clear()
        self._before.clear()
        self._waiting.clear()
        self._alarmed = False
        self._fresh = self._good = 0
        self._covered = 0.0
        self.score = 0.0

    def _leave_cut(self) -> None:
        """Take back what the last windows of a cut told: they hold air as well."""
        if self._before:
            self._tests = self._before[0]
            self.score = max(test.score for test in self._tests.values())
        self._before.clear()
        self._waiting.clear()
        self._fresh = 0

    def _cutting(self, moment: Moment) -> Alarm | None:
        # The first windows of a cut hold air as well.
        self._fresh += 1
        if self._fresh <= MIXED:
            return None
        self._before.append(dict(self._tests))
        context, sample = moment.context, moment.sample
        key = (context.bit, context.kind)
        baseline = self.baselines.get(key)
        if baseline is None and not self._alarmed and self.score < 0.5:
            self._learn(key, sample)
        main = baseline or self._main(context.bit)
        if main is None or (context.apart and _is_lighter(sample, main.normal)):
            return None
        return self._compare(moment, main, like=context.told and baseline is not None)

    def _is_covered(self) -> bool:
        """Return whether something else in the shop covers the cut: it then swells less than it did."""
        swells = [shift[_SWELL] for shift in self._recent]
        covered = min(median(swells), swells[-1] + _COVERED) < -_COVERED
        self._covered = self._covered + self._seconds if covered else 0.0
        return self._covered > 0.0

    def _is_bang(self, level: float) -> bool:
        """Return whether this row holds a bang: far louder than the last second, but not for long."""
        bang = len(self._levels) > 0 and level > median(self._levels) + _BANG
        self._bang = self._bang + 1 if bang else 0
        if bang and self._bang * self._seconds < _LONGEST_BANG:
            return True
        self._levels.append(level)
        return False

    def _main(self, bit: int) -> Baseline | None:
        return next((known for key, known in self.baselines.items() if key[0] == bit), None)

    def _learn(self, key: tuple[int, str], sample: Sample) -> None:
        self._waiting.append((key, sample))
        if len(self._waiting) <= MIXED:
            return
        key, sample = self._waiting.popleft()
        heard = self._learning.setdefault(key, [])
        heard.append(sample)
        if len(heard) < max(_LEAST_ROWS, self._settings.learn / self._seconds):
            return
        result = learn(heard)
        if isinstance(result, Unfit):
            self._because = f"not fit for a baseline, learning on: {result.because}"
            del heard[: len(heard) // 2]
        else:
            self.baselines[key] = result
            del self._learning[key]
            self._waiting.clear()

    def _rule(self, baseline: Baseline, *, like: bool) -> tuple[Array64, Array64]:
        """Return what is taken off each channel's shift, dB, and each sum's limit, in deviations."""
        known = self._rules.get((baseline, like))
        if known is None:
            dead = (LIKE if like else UNLIKE) + 2.0 * baseline.error(self._correlation)
            wanted = self._settings
            rows = budget_rows(wanted.false_alarms, wanted.hours, 1.0 / self._seconds, len(CHANNELS))
            references = np.clip(dead / baseline.scale, 1.0, 4.0).tolist()
            limits = [threshold_for(rows, k, correlation=self._correlation) for k in references]
            known = self._rules[(baseline, like)] = dead, np.array(limits)
        return known

    def _compare(self, moment: Moment, baseline: Baseline, *, like: bool) -> Alarm | None:
        sample = moment.sample
        dead, limit = self._rule(baseline, like=like)
        if self._is_bang(sample.level):
            return None
        shift = channels(sample, baseline.normal) - baseline.centre
        self._recent.append(shift)
        if moment.context.apart and self._is_covered():
            return None
        most = limit / max(3.0, self._settings.shortest / self._seconds)
        step = np.clip((shift - dead) / baseline.scale, -most, most)
        test = self._tests[like] = self._tests[like].after(step, limit, moment.middle)
        self.score = max(test.score for test in self._tests.values())
        if self._alarmed:
            self._good = self._good + 1 if self.score < _GOOD else 0
            self._alarmed = self._good * self._seconds < self._settings.forget
            return None
        if test.score < 1.0:
            return None
        self._alarmed, self._good = True, 0
        return self._alarm(moment.at, test, limit)

    def _alarm(self, at: float, test: _Test, limit: Array64) -> Alarm:
        worst = int(test.share.argmax())
        cause = explain(np.median(self._recent, axis=0))
        return Alarm(
            at=at,
            onset=float(test.since[test.share > 0.5].min()),
            cause=cause.name,
            confidence=cause.confidence,
            because=cause.because,
            score=float(test.sums[worst]),
            threshold=float(limit[worst]),
        )

    def _judge(self, moment: Moment, health: Health) -> tuple[State, str]:
        if health.deaf:
            return "deaf", health.reason
        if self._alarmed:
            return "alarm", "the sound has changed"
        if moment.phase is Phase.OFF:
            return "settle", "no spindle is heard"
        heard = f"the spindle is heard at {60.0 * moment.sample.speed:.0f} rpm"
        if self._main(moment.context.bit) is None:
            return self._judge_unlearned(moment, heard)
        return self._judge_learned(heard)

    def _judge_unlearned(self, moment: Moment, heard: str) -> tuple[State, str]:
        begun = any(bit == moment.context.bit for bit, _ in self._learning)
        if moment.phase is Phase.AIR and not begun:
            return "settle", f"nothing is being cut yet, {heard}"
        return "learn", f"{self._because}, {heard}"

    def _judge_learned(self, heard: str) -> tuple[State, str]:
        if self._covered > _COVERED_LONG:
            return "settle", "another sound covers the cut: nothing can be compared"
        if self.score > 0.5 or (self.state == "uneasy" and self.score > _GOOD):
            return "uneasy", "a change is building"
        return "listen", f"comparing with the baseline, {heard}"


def _is_lighter(sample: Sample, normal: Sample) -> bool:
    return min(sample.teeth - normal.teeth, sample.level - normal.level) < -_LIGHTER
