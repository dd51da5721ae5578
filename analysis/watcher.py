"""
Rows in, events out: the state machine that decides.

``settle`` (no steady cut yet), ``learn`` (the baseline's first seconds), ``listen`` (comparing),
``uneasy`` (a change is building), ``alarm`` (a change is certain), ``deaf`` (nothing usable is heard).

The baseline is frozen once learned. An alarm ends when the sound is again as the baseline was, never
because the watcher got used to the fault.
"""

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from analysis.air import LEAST_OWN
from analysis.baseline import SIGNS, Array64, Baseline, Sample, Unfit, channels, learn
from analysis.causes import explain
from analysis.change import budget_rows, independent_share
from analysis.events import Alarm, Deaf, Event, Heard, State, StateChange
from analysis.evidence import Weights
from analysis.health import Health
from analysis.presence import Phase

FAMILIES = ("down", "across")
"""Cuts that are compared with one another: straight down, and all others."""

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

PATHS = (0.8, 0.25)
"""What is sought, as shares of a slip that matters: a fast path, and a slow one for what is slight."""
_TESTS = len(PATHS) + 1

# How much quieter, dB, what is compared for its colour may be.
_QUIETER = 4.0

# Somebody talks, or a radio plays, where foreign tones are this far above noise, dB, or were so many s ago:
# more than a cut ever has of its own. They may fall on the lines that tell, so nothing is told then.
_MOST_FOREIGN, _TALK_LASTS = 4.0, 0.2

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
    shortest: float = 0.2
    forget: float = 5.0


USUAL = Settings()

# Below this score the sound is good again.
_GOOD = 0.25

# Noise louder by this much, dB, than in the baseline hides what is compared. When this has lasted for some
# seconds of cutting it is said.
_COVERED, _COVERED_LONG = 6.0, 3.0

# A baseline is learned from rows of whose hiss the cut's own share is at least this: not from its ends.
_LEARNED_FROM = 0.5


LOST = "any"
"""The kind of a cut at an unknown place of a program."""


@dataclass(frozen=True)
class Context:
    """
    What is being cut, as far as the program tells.

    Attributes
    ----------
    bit
        The bit in the spindle.
    kind
        The kind of cut: rows are compared with rows of the same kind. ``LOST`` where there is a program and
        nobody knows the place in it.
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


@dataclass(frozen=True)
class _Test:
    """
    Where the comparison stands.

    Attributes
    ----------
    sum
        The running sum of evidence, nats, never below 0.
    since
        Since when it is above zero, s from the first sample.
    """

    sum: float = 0.0
    since: float = 0.0

    def after(self, step: float, most: float, middle_of_row: float) -> "_Test":
        """Return where it stands after one more row."""
        since = self.since if self.sum > 0.0 else middle_of_row
        return _Test(min(max(self.sum + step, 0.0), most), since)


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
        self._independent = independent_share(correlation)
        self._limit = math.log(budget_rows(settings.false_alarms, settings.hours, 1.0 / seconds, _TESTS))
        self._most = self._limit / max(3.0, settings.shortest / seconds)
        self._weights = {
            single: [Weights.of(correlation, single=single, share=share) for share in PATHS]
            for single in (False, True)
        }
        self._learning: dict[tuple[int, str], list[Sample]] = {}
        self._tests: tuple[_Test, ...] = (_Test(),) * _TESTS
        self._good = 0
        self._recent: deque[Array64] = deque(maxlen=max(1, round(0.5 / seconds)))
        self._tones: deque[float] = deque(maxlen=max(1, round(_TALK_LASTS / seconds)))
        self._covered = 0.0
        self._bit = 0
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
            self._covered = 0.0
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
        self._begin()

    def _change_bit(self, bit: int) -> None:
        self._bit = bit
        self._begin()

    def _begin(self) -> None:
        """Begin to compare anew."""
        self._tests = (_Test(),) * _TESTS
        self._recent.clear()
        self._alarmed = False
        self._good = 0
        self._covered = 0.0
        self.score = 0.0

    def _cutting(self, moment: Moment) -> Alarm | None:
        context, sample = moment.context, moment.sample
        if sample.own < LEAST_OWN or self._is_talked_over(sample):
            self._covered += self._seconds
            return None
        key = (context.bit, context.kind)
        baseline = self.baselines.get(key)
        if baseline is None and self._may_learn(context, sample):
            self._learn(key, sample)
        main = baseline or self._main(context.bit)
        if main is None:
            self._covered = 0.0
            return None
        return self._compare(moment, main, _margins(context, like=baseline is not None))

    def _may_learn(self, context: Context, sample: Sample) -> bool:
        """Return whether a row is surely of its kind of cut, and of a sound that nothing speaks against."""
        surely = context.told or context.kind in ("cut", LOST)
        return surely and sample.own >= _LEARNED_FROM and not self._alarmed and self.score < 0.5

    def _is_talked_over(self, sample: Sample) -> bool:
        """Return whether a row, or one shortly before, has more foreign tones than any cut."""
        self._tones.append(sample.foreign)
        return max(self._tones) > _MOST_FOREIGN

    def _note_cover(self, sample: Sample, normal: Sample) -> None:
        """Note for how long something else in the shop has been far louder over the cut than it was."""
        louder = min(sample.hiss - normal.hiss, sample.noise - normal.noise) > _COVERED
        self._covered = self._covered + self._seconds if louder else 0.0

    def _main(self, bit: int) -> Baseline | None:
        return next((known for key, known in self.baselines.items() if key[0] == bit), None)

    def _learn(self, key: tuple[int, str], sample: Sample) -> None:
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

    def _steps(self, moment: Moment, baseline: Baseline, shift: Array64, held: Array64) -> Array64:
        """Return how strongly a row speaks for a loose bit, and for a sound of another colour, nats."""
        doubt = baseline.error(self._correlation)
        away = (shift[:SIGNS] - held - doubt[:SIGNS]) / baseline.scale[:SIGNS]
        loose = [path.evidence(away) for path in self._weights[bool(baseline.normal.single)]]
        # A cut that has ended has another colour too.
        quieter = moment.sample.level < baseline.normal.level - _QUIETER
        if moment.context.apart or moment.context.kind != "cut" or quieter:
            return np.array([*loose, -self._limit])
        faded = shift[SIGNS] - baseline.centre[SIGNS] - FADED - 2.0 * doubt[SIGNS]
        other = min(float(faded / baseline.scale[SIGNS]), _MOST)
        return np.array([*loose, self._independent * SHIFT * (other - SHIFT / 2.0)])

    def _compare(self, moment: Moment, baseline: Baseline, held: Array64) -> Alarm | None:
        sample = moment.sample
        shift = channels(sample, baseline.normal)
        self._recent.append(shift)
        self._note_cover(sample, baseline.normal)
        steps = self._steps(moment, baseline, shift, held)
        self._tests = tuple(
            test.after(float(np.clip(step, -self._most, self._most)), 1.5 * self._limit, moment.middle)
            for test, step in zip(self._tests, steps, strict=True)
        )
        self.score = self._worst.sum / self._limit
        if self._alarmed:
            self._good = self._good + 1 if self.score < _GOOD else 0
            self._alarmed = self._good * self._seconds < self._settings.forget
            return None
        if self.score < 1.0:
            return None
        self._alarmed, self._good = True, 0
        return self._alarm(moment.at)

    @property
    def _worst(self) -> _Test:
        return max(self._tests, key=lambda test: test.sum)

    def _alarm(self, at: float) -> Alarm:
        since = max(1, round((at - self._worst.since) / self._seconds))
        cause = explain(np.median(list(self._recent)[-since:], axis=0))
        return Alarm(
            at=at,
            onset=self._worst.since,
            cause=cause.name,
            confidence=cause.confidence,
            because=cause.because,
            score=self._worst.sum,
            threshold=self._limit,
        )

    def _judge(self, moment: Moment, health: Health) -> tuple[State, str]:
        if health.deaf:
            return "deaf", health.reason
        if self._alarmed:
            return "alarm", "the sound has changed"
        if moment.phase is Phase.OFF:
            return "settle", "no spindle is heard"
        if self._covered > _COVERED_LONG:
            return "settle", "another sound covers the cut: nothing can be compared"
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
        if self.score > 0.5 or (self.state == "uneasy" and self.score > _GOOD):
            return "uneasy", "a change is building"
        return "listen", f"comparing with the baseline, {heard}"


def _margins(context: Context, *, like: bool) -> Array64:
    """Return how far signs must move to count; ``like``: whether the baseline is of the likely kind."""
    if context.told and like:
        return LIKE
    # In doubt the cut may be of the other family than the baseline's, which is of the likelier one.
    perhaps = _OTHER.get(context.kind) if like else context.kind
    return UNLIKE.get(perhaps or "", UNTOLD)
