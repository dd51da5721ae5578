"""What came of one recording: a line of JSON in the file of outcomes."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field

from analysis.events import Alarm
from hearing.episodes import Series


@dataclass(frozen=True)
class Said:
    """
    An alarm, as far as it is judged.

    Attributes
    ----------
    at, onset
        When it came, and since when it said that things had changed, s.
    cause
        What it called it.
    lines
        The first and last line of the file that the onset may have been on.
    resume
        The line of the file to carry on from.
    """

    at: float
    onset: float
    cause: str
    lines: tuple[int, int] | None = None
    resume: int | None = None

    @classmethod
    def of(cls, alarm: Alarm) -> "Said":
        """Return an alarm's own words."""
        line, resume = alarm.line, alarm.resume
        return cls(
            round(alarm.at, 3),
            round(alarm.onset, 3),
            alarm.cause,
            None if line is None else (line.first, line.last),
            None if resume is None else resume.file,
        )


@dataclass(frozen=True)
class Fate:
    """
    What was really wrong.

    Attributes
    ----------
    cause
        Its cause.
    onset, line
        When it began to be in the sound, s, and the line of the file that was being cut.
    half
        When half of its final change was there, s; the onset for what comes all at once.
    louder
        What it changes in the level of the cutting, dB, against the same run without it.
    stands
        How much louder the cutting is than the spindle in the air, with all else in the shop, dB, over the
        minute before; NaN where the one or the other was not to be heard then.
    """

    cause: str
    onset: float
    line: int
    half: float
    louder: float
    stands: float


@dataclass(frozen=True)
class Outcome:
    """
    What came of one recording.

    Attributes
    ----------
    case
        The name of its case.
    condition, fault
        Their numbers; ``fault`` is ``None`` for a recording without one.
    cutting, compared
        Seconds that were cut, and how many of these chipsong compared with a baseline.
    deaf
        How often chipsong said that it hears nothing usable.
    said
        Chipsong's alarms.
    fate
        What was really wrong, if anything.
    before
        Chipsong's state when that began.
    scores
        The rivals' scores, packed.
    sound, took
        Seconds of sound that were heard, and of one core's time that simulating and hearing them took.
    failed
        Why there is no outcome at all.
    """

    case: str
    condition: int
    fault: int | None
    cutting: float = 0.0
    compared: float = 0.0
    deaf: int = 0
    said: tuple[Said, ...] = ()
    fate: Fate | None = None
    before: str = ""
    scores: Mapping[str, dict[str, object]] = field(default_factory=dict)
    sound: float = 0.0
    took: float = 0.0
    failed: str | None = None

    def series(self, rival: str) -> Series:
        """Return a rival's score over time."""
        return Series.unpack(self.scores[rival])

    def to_json(self) -> dict[str, object]:
        """Return what JSON holds."""
        return asdict(self)

    @classmethod
    def from_json(cls, kept: dict[str, object]) -> "Outcome":
        """Return what was kept."""
        said = tuple(
            Said(**{**alarm, "lines": alarm["lines"] and tuple(alarm["lines"])})
            for alarm in kept["said"]  # type: ignore[attr-defined]
        )
        fate = kept["fate"] and Fate(**kept["fate"])  # type: ignore[arg-type]
        return cls(**{**kept, "said": said, "fate": fate})  # type: ignore[arg-type]
