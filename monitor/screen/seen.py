"""What there is to be seen, as plain values: made by the loop that listens, drawn by another thread."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.events import Alarm, Cause, Checked, Deaf, Event, Place, State, StateChange
from analysis.events import Heard as HeardAgain
from analysis.listener import COLUMNS, Listener, Step
from analysis.presence import Phase
from analysis.program.parts import Part
from monitor.controls import Press
from monitor.words import CAUSES, clock, event_text, found_text

_LEVEL, _TOOTH = COLUMNS.index("level"), COLUMNS.index("tooth")

# s of sound that levels are the mean of.
_MEAN_OF = 1.0


@dataclass(frozen=True)
class Levels:
    """Level of the whole sound and of its tooth-pass lines, dBFS."""

    whole: float
    tooth: float


@dataclass(frozen=True)
class Heard:
    """
    What is being heard.

    Attributes
    ----------
    at
        s from the first sample.
    state, phase
        What the watcher does, and the spindle.
    score
        Where the comparison stands; 1 is an alarm.
    speed
        rpm; ``None`` while no spindle is heard.
    place, part
        Where the cut is, and the name of that part; ``None`` where that is unknown.
    now, normal
        Levels now, and of the baseline; ``None`` where there are none.
    bit
        T number of the bit.
    because
        Why the state is so now.
    """

    at: float
    state: State
    phase: Phase
    score: float
    speed: float | None = None
    place: Place | None = None
    part: str | None = None
    now: Levels | None = None
    normal: Levels | None = None
    bit: int = 0
    because: str = ""


@dataclass(frozen=True)
class Seen:
    """
    All that is to be seen.

    Attributes
    ----------
    title
        What is listened to, and with what.
    heard
        What is being heard; ``None`` before anything was.
    because, since
        Why the state is what it is, and since when, s from the first sample.
    last
        The last thing that happened, in words, a line each.
    accused
        For what the bit is to be looked at, in words, a line each, until it is found tight or a person
        settles it.
    of
        The bit that is to be looked at, once something was heard of it.
    tight
        That the bit was found tight, in words, a line each.
    alarm
        The alarm that lasts.
    behind
        The alarm after which one carries on: until the bit is found tight, or it is said to be nothing.
    done, refused
        What was done at it, in words, and whether that was to find that there is no restart program.
    checking
        Whether the bit was said to be tightened, and that has not been checked yet.
    deaf
        That nobody listens now, until something is heard again: also where what is heard is old.
    mute
        Whether nothing usable comes from the microphone; what is old is usable.
    hung
        For how many s nothing has been taken in, though the listening has not ended.
    over
        Whether the listening is over, and what is left is being done.
    question
        What the person is asked.
    trouble
        What just went wrong, or was refused.
    keys
        Whether there are keys to press.
    press
        How else a person says that the bit was tightened; empty where that can't be said.
    start
        What was told at the start, a line each.
    info
        Whether that is to be shown.
    """

    title: str
    heard: Heard | None = None
    because: str = "listening begins"
    since: float = 0.0
    last: tuple[str, ...] = ()
    accused: tuple[str, ...] = ()
    of: int | None = None
    tight: tuple[str, ...] = ()
    alarm: Alarm | None = None
    behind: Alarm | None = None
    done: str = ""
    refused: bool = False
    checking: bool = False
    deaf: Deaf | None = None
    mute: bool = False
    hung: float = 0.0
    over: bool = False
    question: str = ""
    trouble: str = ""
    keys: bool = False
    press: str = ""
    start: tuple[str, ...] = ()
    info: bool = False


# Faults that speak against no bit once they are over.
_PASSING: frozenset[Cause] = frozenset({"chatter", "stalled", "spindle"})


# What a person said, as it is told back; which line was marked tells a remark.
_TOLD = {"nothing": "you said that it was nothing", "tightened": "you said that the bit is tightened"}


def after(seen: Seen, event: Event) -> Seen:
    """Return what is to be seen after an event."""
    match event:
        case StateChange(at, state, because):
            lasts = state in ("alarm", "deaf")
            passed = seen.alarm and not lasts and seen.alarm.cause in _PASSING
            return replace(
                seen,
                because=because,
                since=at,
                alarm=seen.alarm if lasts else None,
                mute=state == "deaf",
                accused=() if passed else seen.accused,
                behind=None if passed else seen.behind,
                checking=seen.checking and state in ("settle", "learn", "deaf"),
            )
        case Alarm(at):
            last = (f"{clock(at)} alarm: {CAUSES[event.cause].lower()}", *event.because)
            told = replace(seen, last=last, accused=last, of=None, alarm=event, behind=event)
            return replace(told, done="", refused=False)
        case Checked(at):
            last = (f"{clock(at)} {found_text(event)}", *event.because)
            if event.verdict == "tight":
                return replace(seen, last=last, accused=(), tight=last, behind=None, checking=False)
            accused, of = (last, None) if event.accuses else (seen.accused, seen.of)
            return replace(seen, last=last, accused=accused, of=of, checking=False)
        case _:
            return replace(seen, last=(" ".join(event_text(event).split()),), deaf=_deaf(seen, event))


def _deaf(seen: Seen, event: Event) -> Deaf | None:
    if isinstance(event, Deaf):
        return event
    return None if isinstance(event, HeardAgain) else seen.deaf


def state_now(seen: Seen) -> State:
    """Return the state to be shown: nobody listens where the loop hangs, is over, or hears what is old."""
    state = seen.heard.state if seen.heard else "settle"
    return "deaf" if seen.over or seen.hung or (seen.deaf and state != "alarm") else state


def looked(seen: Seen, heard: Heard) -> Seen:
    """Return what is to be seen after a look; that a bit was found tight says nothing of the next one."""
    changed = seen.heard is not None and seen.heard.bit != heard.bit
    last = () if changed and seen.last == seen.tight else seen.last
    seen = replace(seen, heard=heard, last=last, because=heard.because or seen.because)
    return of_bit(seen, heard.bit, heard.state, known=heard.place is not None)


def of_bit(seen: Seen, bit: int, state: State, *, known: bool) -> Seen:
    """
    Return what is to be seen while ``bit`` turns, if that is ``known`` by the place.

    To stop and look is asked for no longer once another bit than the one that is meant is heard to be well.
    """
    if seen.accused and seen.of is None:
        return replace(seen, of=bit)
    is_over = known and bit != seen.of and state in ("settle", "learn", "listen")
    return replace(seen, accused=(), behind=None) if seen.accused and is_over else seen


def cuts(seen: Seen) -> bool:
    """Return whether a cut is heard: of what nobody listens to, nobody knows."""
    heard = seen.heard
    return heard is not None and heard.phase is Phase.CUT and state_now(seen) != "deaf"


def said_by_hand(seen: Seen, press: Press) -> Seen:
    """
    Return what is to be seen after a person said something of the bit: that settles what was in doubt.

    It comes after the events that it led to, of which the reason for the state tells what came of it.
    """
    if press.kind not in _TOLD:
        return seen
    at = f"{clock(seen.heard.at)} " if seen.heard else ""
    return replace(
        seen,
        last=(f"{at}{_TOLD[press.kind]}", seen.because),
        checking=seen.checking or press.kind == "tightened",
        # While it is deaf no state tells that the alarm is answered.
        alarm=None,
        accused=(),
        behind=None if press.kind == "nothing" else seen.behind,
    )


class Looking:
    """
    Looks at what a listener hears.

    Parameters
    ----------
    parts
        The parts of the program.
    """

    def __init__(self, parts: Sequence[Part] = ()) -> None:
        self._parts = parts
        self._levels: deque[tuple[float, float, float]] = deque()

    def take(self, step: Step) -> None:
        """Note the levels of what was just heard."""
        for at, row in zip(step.at.tolist(), step.table[:, (_LEVEL, _TOOTH)].tolist(), strict=True):
            self._levels.append((at, *row))
        while self._levels and self._levels[0][0] < self._levels[-1][0] - _MEAN_OF:
            self._levels.popleft()

    def look(self, listener: Listener) -> Heard:
        """Return what is being heard."""
        place = listener.locator.place(listener.at)
        usable = listener.watcher.state != "deaf"
        turns = usable and listener.phase is not Phase.OFF
        return Heard(
            at=listener.at,
            state=listener.watcher.state,
            phase=listener.phase,
            score=listener.watcher.score,
            speed=60.0 * listener.speed if turns else None,
            place=place,
            part=self._part(place),
            now=self._now() if usable else None,
            normal=_normal(listener),
            bit=listener.locator.context.bit,
            because=listener.watcher.because,
        )

    def _now(self) -> Levels | None:
        if not self._levels:
            return None
        _, whole, tooth = np.mean(np.array(self._levels), axis=0).tolist()
        return Levels(whole, tooth)

    def _part(self, place: Place | None) -> str | None:
        if place is None:
            return None
        inside = (part.name for part in self._parts if part.first_line <= place.file <= part.last_line)
        return next(inside, None)


def _normal(listener: Listener) -> Levels | None:
    """Return the levels of the baseline that the cut is compared with."""
    context, known = listener.locator.context, listener.watcher.baselines
    baseline = known.get((context.bit, context.kind)) or next(
        (baseline for (bit, _), baseline in known.items() if bit == context.bit), None
    )
    return Levels(baseline.normal.level, baseline.normal.teeth) if baseline else None
