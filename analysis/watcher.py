"""
Rows in, events out: the state machine that decides.

``settle`` (no steady cut, or none that can be compared: covered, unlike what was learned, or of a speed that
is not known), ``learn`` (the baseline's first seconds), ``listen`` (comparing), ``uneasy`` (a change is
building, or the bit is in doubt), ``alarm`` (a change is certain), ``deaf`` (nothing usable is heard).

The baseline is frozen once learned. An alarm ends when the sound is again as the baseline was, when a person
says so, or when the spindle has stood since and another bit cuts (any, where no good sound is proved): never
because the watcher got used to the fault, nor because it is thought now that another bit turns.
"""

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.air import LEAST_OWN
from analysis.allowed import Allowed
from analysis.baseline import TRUE_ENOUGH, Array64, Baseline, Sample
from analysis.causes import explain
from analysis.change import budget_rows
from analysis.checks import Checks
from analysis.comparison import TESTS, Comparison, margins
from analysis.cut import FAMILIES, MIXED, Context, Moment
from analysis.events import (
    Alarm,
    Cause,
    Checked,
    Deaf,
    Event,
    Heard,
    State,
    StateChange,
)
from analysis.faults import Others
from analysis.first_seconds import Clear, FirstSeconds, is_surely_cut
from analysis.health import Health
from analysis.hindrance import Hindrance
from analysis.lessons import Lessons
from analysis.normals import Key, Normals
from analysis.presence import Phase
from analysis.reference import SURE, Finding, Known, Reference
from analysis.since_alarm import STOOD, SinceAlarm


@dataclass(frozen=True)
class Settings:
    """
    When it alarms and when that is over: the user sets the bearable false alarms, and has the factor tuned.

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
    factor
        What the limit that follows from the budget is multiplied by: tuned from what really happened.
    """

    false_alarms: float = 1.0
    hours: float = 20.0
    learn: float = 3.0
    shortest: float = 0.2
    forget: float = 5.0
    factor: float = 1.0


USUAL = Settings()

GOOD = 0.25
"""Below this score the sound is good again."""

# A baseline that was learned less than so many s before an onset is no proof that the cut was good till then.
_FRESH = 1.0

# A baseline is learned from rows of whose hiss the cut's own share is at least this: not from its ends.
_LEARNED_FROM = 0.3

# After so many s without a cut it is said that none is heard: one that should be heard is missed.
_NO_CUT = 6.0
# What is heard now is what was heard in the last so many s of a clear cut.
_NOW = 0.5


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
    references
        How bits sound when they are tight, by T number.
    settings_of
        Settings of single bits, by T number; ``settings`` are those of all others.
    speeds
        How fast each bit is to turn, rpm, by T number, where somebody said it.

    Attributes
    ----------
    state, because
        The present state, and why it is so now; an alarm's reason is the one for which it began.
    baselines
        What is normal, by bit and kind of cut.
    compared
        Whether the last row was compared with what is normal.
    """

    def __init__(  # noqa: PLR0913 - what is known beforehand, all of it mostly left out
        self,
        seconds: float,
        correlation: float,
        settings: Settings = USUAL,
        references: Mapping[int, Reference] = {},
        *,
        settings_of: Mapping[int, Settings] = {},
        speeds: Mapping[int, float | None] = {},
    ) -> None:
        self.state: State = "settle"
        self.because = ""
        self.score = 0.0
        self.compared = False
        self._normals = Normals()
        self.baselines = self._normals.baselines
        self._allowed = Allowed()
        self._checks = Checks(correlation, references, self._normals, self._allowed)
        self._lessons = Lessons(seconds)
        self._hindrance = Hindrance(seconds)
        self._comparison = Comparison(seconds, correlation)
        self._others = Others(seconds)
        self._clear = Clear(seconds)
        self._first = FirstSeconds(seconds, correlation, references)
        self._seconds = seconds
        self._usual = settings
        self._settings_of = settings_of
        self._speeds = speeds
        self._set(settings_of.get(0, settings))
        self._bit = 0
        # What a row brought besides an alarm, how strong signs are now, and what was said last.
        self._found: list[Event] = []
        self._now: deque[Array64] = deque(maxlen=max(1, round(_NOW / seconds)))
        self._said: State | None = None
        self._why_deaf = self._why_alarmed = ""
        # For how long it has turned without cutting, and for how long no spindle is heard now, s.
        self._idle = self._stands = 0.0
        # An alarm: whether it lasts, whether no good sound is proved that could end it, and whether nobody
        # has said anything of it, be it over or not; of which bit; and, where it is none of a loose bit, what
        # it is for: another fault, or the colour alone.
        self._alarmed = self._unproved = self._unanswered = False
        self._accused = 0
        self._other: Cause | Literal["colour"] | None = None
        self._since_alarm = SinceAlarm(seconds, self._accused)
        # How far signs had risen, and how much of its colour the sound had lost, dB, when it began; how
        # strong signs may be when the bit is tight, where it is one of a loose bit; and how many rows it has
        # been good since.
        self._risen: Array64 | float = 0.0
        self._lost = 0.0
        self._tight: Array64 | None = None
        self._good = 0

    def row(self, moment: Moment, health: Health) -> list[Event]:
        """Take in one row, and whether anything can be heard at all."""
        at, context = moment.at, moment.context
        self.compared = False
        events: list[Event] = []
        if health.changed:
            events.append(Deaf(at, health.reason) if health.deaf else Heard(at, "sound is usable again"))
        if context.bit != self._bit:
            self._change_bit(context.bit)
        alarm = None
        usable = not health.deaf and health.usable
        if usable:
            self._look_whether_it_stands(moment)
        if self._alarmed and usable:
            self._look_for_another(moment)
        usable = usable and not context.either
        if usable and moment.phase is Phase.CUT and context.cuts:
            alarm = self._cutting(moment)
        self._idle = self._idle + self._seconds if moment.phase is Phase.AIR else 0.0
        if usable and alarm is None:
            alarm = self._look_for_slip(moment) or self._hear_others(moment)
        events.extend(self._found)
        self._found.clear()
        if alarm is not None:
            self._why_alarmed = alarm.because[0]
        self.state, self.because = self._judge(moment, health)
        if self.state != self._said:
            self._said = self.state
            events.append(StateChange(at, self.state, self.because))
        return events if alarm is None else [*events, alarm]

    def nothing(self, at: float) -> list[Event]:
        """
        Take in, at ``at`` s, that the person says that the alarm was nothing.

        As it sounds now counts as normal from here on, for this bit: else it would alarm at once again. Of
        another fault than a loose bit it is not told again: that says nothing of a doubt of the bit. One that
        is over is taken back, and that is all.
        """
        bit = self.meant
        if self.takes_back and not self._alarmed:
            self._unanswered = False
            return self._turn(at, self.state, "said to be nothing: the alarm that is over is taken back")
        if not (self._alarmed or bit in self._checks.doubts):
            return []
        self._unanswered = self._unanswered and not self._alarmed
        if self._another is not None:
            return self._bear(bit, self._another, at)
        self._checks.doubts.pop(bit, None)
        self._first.over(bit)
        if not self._alarmed:
            return self._turn(at, self.state, "said to be nothing: the bit is in doubt no more")
        self._allowed.allow_colour(bit, max(self._lost, self._comparison.faded()))
        if self._other != "colour":
            plain = np.median(list(self._now), axis=0) if self._now else None
            self._allowed.allow(bit, np.maximum(self._comparison.risen(), self._risen), plain)
        self._begin()
        return self._turn(at, "listen", "said to be nothing: what is heard now counts as normal from here on")

    def _bear(self, bit: int, cause: Cause, at: float) -> list[Event]:
        """Tell another fault of a bit no more: whether it is tight was not asked."""
        self._allowed.allow_fault(bit, cause)
        self._begin()
        state: State = "uneasy" if self._checks.accuse(bit) else "listen"
        return self._turn(at, state, "said to be nothing: it is not told again of this bit in this run")

    def tightened(self, at: float) -> list[Event]:
        """
        Take in, at ``at`` s, that the person has tightened the bit and carries on.

        The first seconds of cutting are compared with the good sound from before, and said to be `Checked`;
        where that was in doubt, or there is none, they are learned and checked by what else is known.
        """
        bit = self.meant
        self._first.over(bit)
        # What was said to be normal of it was heard while it was not tight.
        self._allowed.no_more(bit)
        if self._checks.was_never_good(bit) or (self._alarmed and self._unproved):
            self._normals.drop(self._normals.of(bit))
        self._begin()
        self._unanswered = False
        self._lessons.forget(bit)
        said = "tightened: the first seconds of cutting will be checked"
        if not self._checks.tightened(bit):
            said = (
                "tightened: no good sound from before is known; the first seconds will be checked without it"
            )
        return self._turn(at, "settle", said)

    @property
    def meant(self) -> int:
        """The bit that a person speaks of: the one that has alarmed, if any, else the one that turns."""
        return self._accused if self._alarmed else self._bit

    def _turn(self, at: float, state: State, because: str) -> list[Event]:
        if self.state == "deaf":  # nothing that a person says makes it hear again
            state, because = "deaf", f"{because}; {self._why_deaf}"
        self.state = self._said = state
        self.because = because
        return [StateChange(at, state, because)]

    @property
    def _another(self) -> Cause | None:
        """Which fault than a loose bit there is an alarm of, that lasts or can be taken back."""
        return None if not self.takes_back or self._other == "colour" else self._other

    @property
    def has_another_fault(self) -> bool:
        """Whether there is an alarm that tells nothing of whether the bit is tight."""
        return self._another is not None

    @property
    def takes_back(self) -> bool:
        """
        Whether "nothing" is said of an alarm.

        Of one that lasts; or of one that is over, and that nobody has answered, of the bit that turns, unless
        that is in doubt.
        """
        is_meant = self._bit == self._accused and not self._checks.accuse(self._bit)
        return self._alarmed or (self._unanswered and is_meant)

    @property
    def alarmed(self) -> bool:
        """Whether there is an alarm, also where nothing is heard."""
        return self._alarmed

    @property
    def learned(self) -> frozenset[int]:
        """The bits that have a baseline."""
        return frozenset(bit for bit, _ in self.baselines)

    def silence(self, at: float, health: Health) -> list[Event]:
        """Take in that nothing arrives at all; ``at`` in s from the first sample."""
        if not health.changed:
            return []
        self._why_deaf = health.reason
        self.state = self._said = "deaf"
        self.because = health.reason
        return [Deaf(at, health.reason), StateChange(at, "deaf", health.reason)]

    def forget(self, bit: int, since: float) -> None:
        """
        Drop what was learned of ``bit`` since ``since`` s: it was not the cut that was heard.

        An alarm that was judged by that lasts: nothing is left that could show that all is well.
        """
        self._normals.drop(self._normals.learned_since(bit, since))
        self._lessons.forget(bit)
        if not self._alarmed:
            self._begin()

    def _change_bit(self, bit: int) -> None:
        self._bit = bit
        self._set(self._settings_of.get(bit, self._usual))
        # As long as the spindle has not stood the bit that has alarmed is in it, whatever is thought now.
        if not self._alarmed:
            self._begin()

    def _look_for_another(self, moment: Moment) -> None:
        """End an alarm where, since the spindle stood, another bit cuts, or one of no known good sound."""
        cuts = self._since_alarm.row(moment)
        if cuts == "another":
            self._begin()
        elif cuts == "perhaps" and self._unproved:
            self._normals.drop(self._normals.of(self._accused))
            self._lessons.forget(self._accused)
            self._begin()

    def _look_whether_it_stands(self, moment: Moment) -> None:
        """Begin the sums anew where the spindle has stood: what was heard before tells of no cut after."""
        if moment.phase is Phase.OFF:
            self._stands += self._seconds
        else:
            if self._stands >= STOOD:
                self._hindrance.begin()
                if not self._alarmed:
                    self._comparison.stood()
                    self.score = self._comparison.score
            self._stands = 0.0

    def _set(self, settings: Settings) -> None:
        rows = budget_rows(settings.false_alarms, settings.hours, 1.0 / self._seconds, TESTS)
        self._settings = settings
        self._comparison.set(settings.factor * math.log(rows), settings.shortest)

    def _begin(self) -> None:
        """Begin to compare anew."""
        self._comparison.begin()
        self._others.begin()
        self._alarmed = False
        self._good = 0
        self._risen = self._lost = 0.0
        self._now.clear()
        self._hindrance.begin()
        self.score = 0.0

    def _raise(self, other: Cause | Literal["colour"] | None = None, *, proved: bool = True) -> None:
        """Begin an alarm of the bit that turns; without a good sound that is ``proved`` none can end it."""
        self._alarmed = self._unanswered = True
        self._other, self._good = other, 0
        self._tight = None
        self._accused, self._unproved = self._bit, not proved
        self._since_alarm = SinceAlarm(self._seconds, self._accused)

    def _cutting(self, moment: Moment) -> Alarm | None:
        context, sample = moment.context, moment.sample
        clear = self._clear.row(sample)
        # Where neither comb nor teeth are heard it is noise that is as loud as a cut; and two flutes that run
        # out of true sound, at half the speed, as a single one does that is loose.
        unheard = not moment.besides.hears or (context.guessed and sample.single)
        if not clear or unheard or sample.own < LEAST_OWN:
            self._hindrance.is_covered()
        if unheard or sample.own < LEAST_OWN:
            return None
        if clear:
            return self._cutting_clearly(moment)
        # How much usually swells must be known where somebody talks, or a radio plays.
        if self._normals.main_like(context.bit, sample) is None:
            return None
        self._hear_in_step(moment)
        return self._weigh_hidden(moment.at)

    def _cutting_clearly(self, moment: Moment) -> Alarm | None:
        """Learn from a row of cutting, or compare it."""
        context, sample = moment.context, moment.sample
        key, both = (context.bit, context.kind), (context.bit, MIXED)
        rechecks = self._checks.is_checked_anew(context.bit)
        self._now.append(sample.plain)
        self._hear_in_step(moment)
        if rechecks and self._may_recheck(moment):
            told = both if both in self.baselines else key
            alarm = self._learn(told, moment)
            # A bit that is loose may shake so that it is no steady cut: then it is compared meanwhile.
            if alarm is not None or not self._lessons.is_unfit(told):
                self._hindrance.begin()
                return alarm
        may_learn = not rechecks and self._may_learn(context, sample)
        self._comparison.within(moment, self._allowed.risen(context.bit), self._normals.ever(context.bit))
        baseline = self._normals.like(key, sample)
        if baseline is None and may_learn and not self._normals.is_doubted(key, sample):
            alarm = self._learn(key, moment)
            if alarm is not None:
                return alarm
        if self._normals.main(context.bit) is None and self._may_learn_both(moment):
            alarm = self._learn(both, moment)
            if alarm is not None:
                return alarm
        if self._normals.main(context.bit) is None:
            self._hindrance.is_clear()
            return self._weigh(moment.at)
        main = baseline or self._normals.main_like(context.bit, sample)
        if main is None:
            self._hindrance.is_unlike(learns=may_learn and not self._normals.is_doubted(key, sample))
            return self._weigh_hidden(moment.at)
        return self._compare(moment, main, margins(context, like=baseline is not None))

    def _may_recheck(self, moment: Moment) -> bool:
        """Return whether a row tells of a bit that was tightened whether it is tight."""
        if (moment.context.bit, MIXED) in self.baselines:
            return self._may_learn_both(moment)
        return self._may_learn(moment.context, moment.sample)

    def _hear_in_step(self, moment: Moment) -> None:
        bit = moment.context.bit
        self._comparison.in_step(moment, self._allowed.risen(bit), self._normals.ever(bit))

    def _may_learn(self, context: Context, sample: Sample) -> bool:
        """Return whether a row is surely of its kind of cut, and of a sound that nothing speaks against."""
        return is_surely_cut(context) and self._teaches(sample)

    def _teaches(self, sample: Sample) -> bool:
        return sample.own >= _LEARNED_FROM and not self._alarmed and self.score < 0.5

    def _may_learn_both(self, moment: Moment) -> bool:
        """Return whether a row is surely of a cut, by place and sound, though perhaps not of which kind."""
        context = moment.context
        is_known = context.kind in FAMILIES and context.apart and not context.guessed
        return is_known and moment.besides.sounds is Phase.CUT and self._teaches(moment.sample)

    def _learn(self, key: Key, moment: Moment) -> Alarm | None:
        """Take in a row of the first seconds; return an alarm when these are found to be of a loose bit."""
        is_known = key in self.baselines
        lesson = self._lessons.row(key, moment, self._settings.learn, one_speed=is_known)
        if lesson is None:
            return None
        context = moment.context
        if is_known and not self._checks.is_checked_anew(key[0]):
            is_good = self._checks.is_good_at_another_speed(key, lesson.fresh, context.asked)
            self._normals.keep_at_another_speed(key, lesson.fresh, good=is_good)
            return None
        outcome = self._checks.check(key, lesson.fresh, context, moment.at)
        if outcome.said is not None:
            self._found.append(outcome.said)
        if outcome.loose is not None:
            found, known = outcome.loose
            return self._refuse(key, known, found, lesson.fresh, since=lesson.since, at=moment.at)
        if outcome.is_good:
            self._normals.freeze(key, lesson.fresh, lesson.since, moment.at)
        return None

    def _refuse(  # noqa: PLR0913 - all that is known of it
        self,
        key: Key,
        known: Known,
        found: Finding,
        fresh: Baseline,
        *,
        since: float,
        at: float,
    ) -> Alarm:
        """Return the alarm of a bit that is loose already; what it is compared with is the good sound."""
        # It is looser than what was said to be nothing: that would end the alarm with the bit still loose.
        self._allowed.no_more(key[0])
        self._now.clear()
        self._now.append(fresh.normal.plain)
        tight = np.maximum(known.baseline.normal.plain, TRUE_ENOUGH)
        self._risen = fresh.normal.plain - tight
        rechecked = self._checks.is_checked_anew(key[0])
        if not rechecked:
            self._normals.lend(key, known, fresh.normal.speed, since, at)
        self._first.over(key[0])
        good_until = since if rechecked else min(since, self._first.good_until(key[0]))
        self._checks.over(key[0])
        self._raise()
        self._tight = tight
        self._comparison.find(since)
        self.score = self._comparison.score
        return Alarm(at, since, "loose", 0.7, found.because, found.nats, SURE, good_until=good_until)

    def _look_for_slip(self, moment: Moment) -> Alarm | None:
        """Return the alarm of a bit that is loose from the first second on, found early."""
        slip = self._first.row(moment)
        if slip is None or self._alarmed or self._checks.is_checked_anew(moment.context.bit):
            return None
        bit, at = moment.context.bit, moment.at
        # What was learned meanwhile is how the loose bit sounds.
        self._normals.drop(self._normals.of(bit))
        self._lessons.forget(bit)
        self._found.append(Checked(at, "reference", slip.finding.verdict, slip.finding.because))
        key = (bit, slip.kind)
        return self._refuse(key, slip.known, slip.finding, slip.fresh, since=slip.since, at=at)

    def _hear_others(self, moment: Moment) -> Alarm | None:
        """Return the alarm of another fault than a loose bit; where one builds up, it goes first."""
        main = self._normals.main(moment.context.bit)
        found = self._others.row(moment, None if main is None else main.normal)
        if found is None or self._alarmed or self.score > 0.5 or self._allowed.bears(self._bit, found.cause):
            return None
        self._raise(found.cause)
        return Alarm(
            at=moment.at,
            onset=found.since,
            cause=found.cause,
            confidence=found.confidence,
            because=found.because,
            score=found.score,
            threshold=found.threshold,
        )

    def _compare(self, moment: Moment, baseline: Baseline, held: Array64) -> Alarm | None:
        self.compared = True
        self._hindrance.is_compared(moment.sample, baseline.normal)
        bit = moment.context.bit
        held, faded = held + self._allowed.risen(bit), self._allowed.faded(bit)
        self._comparison.row(moment, baseline, held, self._normals.ever(bit), faded=faded)
        return self._weigh(moment.at)

    def _weigh_hidden(self, at: float) -> Alarm | None:
        """Return the alarm that comes though nothing can be compared: none ends by what is heard then."""
        return None if self._alarmed else self._weigh(at)

    def _weigh(self, at: float) -> Alarm | None:
        """Return the alarm that the comparison calls for; end one where it has been good for long."""
        self.score = self._comparison.score
        # A bit that has come loose is said whatever else is wrong.
        if (not self._alarmed or self._other is not None) and self._comparison.is_loose(at):
            return self._alarm(at)
        if not self._alarmed and self._comparison.has_faded:
            return self._alarm(at, colour=True)
        if self._alarmed:
            is_calm = self.score < GOOD and self._others.found is None
            is_good = is_calm and self._may_be_good and not self._is_as_found
            self._good = self._good + 1 if is_good else 0
            self._alarmed = self._good * self._seconds < self._settings.forget
        return None

    @property
    def _is_as_found(self) -> bool:
        """
        Whether a bit that was found loose still sounds so: nearer to that than to the good sound.

        A check, and what has grown within a cut, count runout by itself; the sums hardly do without half
        orders or rocking: by them alone it would soon be over. Asked of all signs that had risen more than a
        third as much as the most: of that one alone another kind of cut may show nothing, as of the swell
        straight down.
        """
        if self._tight is None or not self._now:
            return False
        risen, now = np.asarray(self._risen), np.median(list(self._now), axis=0) - self._tight
        return bool((now > 0.5 * risen)[risen > risen.max() / 3.0].any())

    @property
    def _may_be_good(self) -> bool:
        """Whether it is the bit that has alarmed, and a good sound of it is known if it may be loose."""
        known = self._normals.main(self._bit) is not None and not self._unproved
        return self._bit == self._accused and (known or self._other not in (None, "colour"))

    def _alarm(self, at: float, *, colour: bool = False) -> Alarm:
        """Begin an alarm of what stands highest, perhaps of the ``colour`` alone, and return it."""
        worst, known = self._comparison.worst, self._normals.main(self._bit) is not None
        cause = explain(self._comparison.moved(at), known=known)
        just_learned = self._normals.learned_first(self._bit, worst.since - _FRESH)
        proved = not (self._never_good() or just_learned)
        if not just_learned:
            # What was learned of another kind of cut meanwhile may be how the loose bit sounds.
            self._normals.drop(self._normals.learned_since(self._bit, worst.since - _FRESH))
        self._raise("colour" if colour and cause.name == "unknown" else None, proved=proved)
        self._risen, self._lost = self._comparison.risen(), self._comparison.faded()
        if cause.name == "loose" and known and proved:
            self._tight = self._normals.ever(self._bit)
        return Alarm(
            at=at,
            onset=worst.since,
            cause=cause.name,
            confidence=cause.confidence,
            because=cause.because,
            score=worst.sum,
            threshold=self._comparison.limit,
            good_until=min([worst.good, *self._never_good(), *just_learned]),
        )

    def _never_good(self) -> list[float]:
        """Return since when a bit turns of which no good sound is known: it may never have been tight."""
        return [self._first.good_until(self._bit)] if self._normals.main(self._bit) is None else []

    def _judge(self, moment: Moment, health: Health) -> tuple[State, str]:
        if health.deaf:
            self._why_deaf = health.reason if self.state != "deaf" else self._why_deaf
            return "deaf", self._why_deaf
        if self._alarmed:
            return "alarm", self._why_alarmed
        if moment.phase is Phase.OFF or moment.context.either:
            return "settle", self._unheard(moment)
        if self._hindrance.covers(settled=self.state == "settle"):
            return "settle", self._hidden(moment)
        return self._judge_heard(moment)

    def _unheard(self, moment: Moment) -> str:
        if moment.phase is not Phase.OFF:
            return _unclear(moment.context.either)
        return self._no_spindle()

    def _hidden(self, moment: Moment) -> str:
        if not moment.besides.hears:
            return self._no_spindle()
        return "another sound covers the cut: nothing can be compared"

    def _no_spindle(self) -> str:
        speed = self._speeds.get(self._bit)
        return "no spindle is heard" if speed is None else f"no spindle is heard near {speed:.0f} rpm"

    def _judge_heard(self, moment: Moment) -> tuple[State, str]:
        heard = f"the spindle is heard at {60.0 * moment.sample.speed:.0f} rpm"
        is_unlike = self._hindrance.turns_otherwise and self._idle <= _NO_CUT
        if is_unlike and self._hindrance.learns:
            return "learn", f"learning how the bit sounds at another speed, {heard}"
        if is_unlike:
            return "settle", f"{heard}, unlike what was learned of this bit: nothing can be compared"
        if self._checks.is_checked_anew(moment.context.bit) or self._normals.main(moment.context.bit) is None:
            return self._judge_unlearned(moment, heard)
        return self._judge_learned(heard)

    def _judge_unlearned(self, moment: Moment, heard: str) -> tuple[State, str]:
        bit = moment.context.bit
        if moment.phase is Phase.AIR and not self._lessons.have_begun(bit):
            return "settle", f"nothing is being cut yet, {heard}"
        rechecking = self._checks.is_checked_anew(bit)
        because = "comparing with the good sound" if rechecking else self._lessons.because
        return "learn", f"{because}, {heard}"

    def _judge_learned(self, heard: str) -> tuple[State, str]:
        if self.score > 0.5 or (self.state == "uneasy" and self.score > GOOD):
            return "uneasy", "a change is building"
        if self._checks.accuse(self._bit):
            was_tight = self._checks.doubts[self._bit].against == "before"
            since = "since it was tightened" if was_tight else "from the start"
            return "uneasy", f"the bit was in doubt {since}: look at it"
        if self._idle > _NO_CUT:
            return "settle", f"nothing is being cut, {heard}"
        return "listen", f"comparing with the baseline, {heard}"


def _unclear(speeds: tuple[float, ...]) -> str:
    told = " or ".join(f"{speed:.0f}" for speed in speeds)
    return f"place and sound do not tell whether the bit turns at {told} rpm: nothing can be compared"
