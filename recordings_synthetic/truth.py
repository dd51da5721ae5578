"""What was really so in a simulated recording, to compare with what was heard."""

import json
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.events import Cause


class Turning(NamedTuple):
    """
    A stretch of time in which the spindle was on.

    Attributes
    ----------
    on, off
        When it was switched on and off, s.
    speed
        How fast it really turned once it had spun up, rpm (median).
    bit
        T number in it.
    """

    on: float
    off: float
    speed: float
    bit: int


@dataclass(frozen=True, eq=False)
class Truth:
    """
    The truth of a simulated recording, line by line.

    Attributes
    ----------
    rate
        Samples a second.
    begin, end
        (n,) s, when each move of the program really began and ended.
    file_line, word
        (n,) the line of the program's file, counted from 1, and its N-word, -1 when it has none.
    cutting
        (n,) whether the bit met material in that move, for more than a tenth of its time.
    spindle
        When the spindle was on, and how fast it turned.
    cause
        What is wrong, as an alarm should call it; ``None`` when there is no fault.
    onset, onset_line
        When the fault began to be in the sound, s, and the file line that was being cut; ``None`` when
        there is no fault.
    half
        When half of what the fault changes in this recording was reached while cutting, s.
    over
        When the fault was over, s: the bit was changed, or the recording ended.
    spoiled
        Names of the parts that were cut, any of it, while the fault lasted, or would have been.
    """

    rate: int
    begin: NDArray[np.float64]
    end: NDArray[np.float64]
    file_line: NDArray[np.int32]
    word: NDArray[np.int32]
    cutting: NDArray[np.bool_]
    spindle: tuple[Turning, ...]
    cause: Cause | None
    onset: float | None
    onset_line: int | None
    half: float | None
    over: float | None
    spoiled: tuple[str, ...]

    def to_json(self) -> str:
        """Return the truth as JSON; ``"invented": true`` says what the recording is."""
        moves = [
            {"begin": b, "end": e, "file_line": f, "word": w, "cutting": c}
            for b, e, f, w, c in zip(
                np.round(self.begin, 6).tolist(),
                np.round(self.end, 6).tolist(),
                self.file_line.tolist(),
                self.word.tolist(),
                self.cutting.tolist(),
                strict=True,
            )
        ]
        return json.dumps(
            {
                "invented": True,
                "note": "Simulated sound, computed from a seed; nothing here was recorded.",
                "rate": self.rate,
                "cause": self.cause,
                "onset": self.onset,
                "onset_line": self.onset_line,
                "half": self.half,
                "over": self.over,
                "spoiled": list(self.spoiled),
                "spindle": [turning._asdict() for turning in self.spindle],
                "moves": moves,
            },
            indent=1,
        )

    @classmethod
    def from_json(cls, text: str) -> "Truth":
        """Return the truth that ``to_json`` wrote (times to the microsecond)."""
        kept = json.loads(text)
        moves = kept["moves"]
        return cls(
            rate=kept["rate"],
            begin=np.array([move["begin"] for move in moves], dtype=np.float64),
            end=np.array([move["end"] for move in moves], dtype=np.float64),
            file_line=np.array([move["file_line"] for move in moves], dtype=np.int32),
            word=np.array([move["word"] for move in moves], dtype=np.int32),
            cutting=np.array([move["cutting"] for move in moves], dtype=np.bool_),
            spindle=tuple(Turning(**turning) for turning in kept["spindle"]),
            cause=kept["cause"],
            onset=kept["onset"],
            onset_line=kept["onset_line"],
            half=kept["half"],
            over=kept["over"],
            spoiled=tuple(kept["spoiled"]),
        )
