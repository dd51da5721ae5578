"""What the watcher says, and how it is written down for other programs."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

State = Literal["settle", "learn", "listen", "uneasy", "alarm", "deaf"]
Cause = Literal["loose", "chatter", "broken", "dull", "stalled", "spindle", "unknown"]
Verdict = Literal["good", "suspect", "unheard"]
Tightness = Literal["tight", "doubtful", "loose"]
Against = Literal["before", "reference", "physics"]

OTHER_FAULTS: frozenset[Cause] = frozenset({"chatter", "broken", "dull", "stalled", "spindle"})
"""Causes that tell nothing of whether the bit is tight."""

# Seconds by which a change may have begun before it seems to have.
_LATE = 2.0
# A bit that works loose slowly may have begun to so many times as long before as it took to be sure of it, up
# to so many s: on development runs 3 of 64 began still earlier; 14 of 64 with once the time it took.
_CREPT, _CREPT_MOST = 8.0, 15.0


@dataclass(frozen=True)
class Place:
    """
    Where in the program a moment of sound belongs.

    Attributes
    ----------
    file
        Likeliest line of the file, counted from 1.
    word
        N-word of that line; ``None`` when it has none.
    first, last
        Earliest and latest line it may be.
    source
        Where this was taken from: ``sound``, or ``lines`` from outside.
    """

    file: int
    word: int | None
    first: int
    last: int
    source: str


@dataclass(frozen=True)
class ResumeLine:
    """The line to start again from: of the file, and its N-word when it has one."""

    file: int
    word: int | None


@dataclass(frozen=True)
class StateChange:
    """The watcher changed its state."""

    at: float
    state: State
    because: str


@dataclass(frozen=True)
class Alarm:
    """
    A change is certain.

    Attributes
    ----------
    at
        When it became certain, s from the first sample.
    onset
        When it began, s from the first sample.
    cause, confidence
        The likeliest cause, and how sure that is, 0 to 1.
    because
        The evidence, a sentence each.
    score, threshold
        The sequential test's sum and its limit.
    line, resume
        The line being cut at the onset and the line to start again from; ``None`` when the place is
        unknown.
    good_until
        Until when the sound was heard to be good, s from the first sample, where that is known: before the
        onset for as long as nothing could be compared. It is not written down.
    """

    at: float
    onset: float
    cause: Cause
    confidence: float
    because: tuple[str, ...]
    score: float
    threshold: float
    line: Place | None = None
    resume: ResumeLine | None = None
    good_until: float | None = field(default=None, compare=False)

    @property
    def last_good(self) -> float:
        """
        Until when the cut was surely good, s.

        A weak change is noticed late, and a covered one not; what took long to be sure of may have crept in
        for as long before anything was heard of it, and a bit that works loose slowly for far longer.
        """
        took = self.at - self.onset
        crept = min(_CREPT * took, _CREPT_MOST) if self.cause == "loose" else took
        surely = self.onset - max(_LATE, took, crept)
        return surely if self.good_until is None else min(surely, self.good_until)


@dataclass(frozen=True)
class Deaf:
    """Nothing usable is being heard."""

    at: float
    because: str


@dataclass(frozen=True)
class Heard:
    """Hearing again after having been deaf."""

    at: float
    because: str


@dataclass(frozen=True)
class Checked:
    """
    The first seconds of cutting were compared with a good sound.

    Attributes
    ----------
    at
        s from the first sample.
    against
        With what: ``before`` (this run's own good sound from before the bit was tightened), ``reference``
        (cuts that were accepted), or ``physics`` (what a tight bit cannot have) where there is neither.
    verdict
        Whether the bit is tight.
    because
        The evidence, a sentence each.
    """

    at: float
    against: Against
    verdict: Tightness
    because: tuple[str, ...]

    @property
    def accuses(self) -> bool:
        """
        Whether it speaks against the bit.

        Beside cuts of other runs a doubt only says that nothing is sure: mostly it is a tight bit in another
        cut. Physics doubts what no tight bit can have; and one that was tightened sounds as it did before in
        this run.
        """
        return self.verdict == "loose" or (self.verdict == "doubtful" and self.against != "reference")


@dataclass(frozen=True)
class PartVerdict:
    """What is thought of one part, with its first and last line of the file."""

    name: str
    first: int
    last: int
    verdict: Verdict


@dataclass(frozen=True)
class Summary:
    """
    The whole run, at its end.

    Attributes
    ----------
    at
        Length of the run, s.
    alarms
        How many alarms there were.
    heard_s, cut_s
        Seconds in which something usable was heard; seconds of these in which it was cutting.
    lines_seen
        How many different lines of the file the place has passed over.
    parts
        Verdict of each part of the program.
    compared_s
        Seconds of the cutting that were compared with what is normal; ``None`` in a run of long ago.
    """

    at: float
    alarms: int
    heard_s: float
    cut_s: float
    lines_seen: int
    parts: tuple[PartVerdict, ...] = field(default=())
    compared_s: float | None = None


Event = StateChange | Alarm | Deaf | Heard | Checked | Summary


def to_dict(event: Event) -> dict[str, object]:
    """
    Return an event as the plain objects that ``--json`` writes, one a line.

    The names and their meaning are a contract with other programs.
    """
    match event:
        case StateChange(at, state, because):
            return {"event": "state", "at": _seconds(at), "state": state, "because": because}
        case Alarm():
            return _alarm(event)
        case Deaf(at, because):
            return {"event": "deaf", "at": _seconds(at), "because": because}
        case Heard(at, because):
            return {"event": "heard", "at": _seconds(at), "because": because}
        case Checked(at, against, verdict, because):
            checked = {"against": against, "verdict": verdict, "because": list(because)}
            return {"event": "checked", "at": _seconds(at), **checked}
        case Summary():
            return _summary(event)


def _seconds(value: float) -> float:
    return round(value, 4)


def _alarm(alarm: Alarm) -> dict[str, object]:
    line, resume = alarm.line, alarm.resume
    return {
        "event": "alarm",
        "at": _seconds(alarm.at),
        "onset": _seconds(alarm.onset),
        "cause": alarm.cause,
        "confidence": round(alarm.confidence, 2),
        "because": list(alarm.because),
        "score": round(alarm.score, 2),
        "threshold": round(alarm.threshold, 2),
        "line": line
        and {
            "file": line.file,
            "word": line.word,
            "from": line.first,
            "to": line.last,
            "source": line.source,
        },
        "resume": resume and {"file": resume.file, "word": resume.word},
    }


def _summary(summary: Summary) -> dict[str, object]:
    return {
        "event": "summary",
        "at": _seconds(summary.at),
        "alarms": summary.alarms,
        "heard_s": round(summary.heard_s, 2),
        "cut_s": round(summary.cut_s, 2),
        **({} if summary.compared_s is None else {"compared_s": round(summary.compared_s, 2)}),
        "lines_seen": summary.lines_seen,
        "parts": [
            {"name": part.name, "from": part.first, "to": part.last, "verdict": part.verdict}
            for part in summary.parts
        ],
    }


def from_dict(body: Mapping[str, Any]) -> Event:
    """
    Return the event that :func:`to_dict` made ``body`` of, as exact as it was written down.

    Raises
    ------
    ValueError
        When ``body`` is no event, or one that only a newer program knows.
    """
    values = dict(body)
    name = values.pop("event", None)
    make = _MAKERS.get(str(name))
    try:
        if make is not None:
            return make(values)
    except (KeyError, TypeError) as error:
        raise ValueError(f"event '{name}' does not hold what it should: {error}") from error
    raise ValueError(f"'{name}' is no event that is known here: update chipsong")


def _alarm_from(values: dict[str, Any]) -> Alarm:
    line, resume = values.pop("line"), values.pop("resume")
    return Alarm(
        because=tuple(values.pop("because")),
        line=line and Place(line["file"], line["word"], line["from"], line["to"], line["source"]),
        resume=resume and ResumeLine(resume["file"], resume["word"]),
        **values,
    )


def _summary_from(values: dict[str, Any]) -> Summary:
    parts = values.pop("parts", ())  # a shop's last event comes without them
    told = (PartVerdict(part["name"], part["from"], part["to"], part["verdict"]) for part in parts)
    return Summary(parts=tuple(told), **values)


_MAKERS: Mapping[str, Callable[[dict[str, Any]], Event]] = {
    "state": lambda values: StateChange(**values),
    "alarm": _alarm_from,
    "deaf": lambda values: Deaf(**values),
    "heard": lambda values: Heard(**values),
    "checked": lambda values: Checked(**{**values, "because": tuple(values["because"])}),
    "summary": _summary_from,
}
