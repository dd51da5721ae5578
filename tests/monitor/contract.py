"""What other programs may rely on, ``--json`` and exit statuses, and shipped recordings to try it on."""

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

SHIPPED = Path(__file__).parents[2] / "recordings_synthetic"

# recordings_synthetic/make.py: the compression bit, as a person would say it.
BIT = ("--rpm", "18000", "--flutes", "2", "--diameter", "6mm")

STATES = {"settle", "learn", "listen", "uneasy", "alarm", "deaf"}
CAUSES = {"loose", "chatter", "broken", "dull", "stalled", "spindle", "unknown"}
VERDICTS = {"good", "suspect", "unheard"}
ALARM = {"onset", "cause", "confidence", "because", "score", "threshold", "line", "resume"}
KEYS = {
    "state": {"state", "because"},
    "alarm": ALARM,
    "deaf": {"because"},
    "heard": {"because"},
    "checked": {"against", "verdict", "because"},
    "summary": {"alarms", "heard_s", "cut_s", "compared_s", "lines_seen", "parts"},
}


@dataclass(frozen=True)
class Ended:
    """How the command ended: its exit status, and all that it wrote."""

    status: int
    out: str
    err: str

    @property
    def events(self) -> list[dict[str, Any]]:
        """What it wrote as JSON, checked against the contract."""
        return checked(self.out)

    def of(self, name: str) -> list[dict[str, Any]]:
        """Return the events of one name."""
        return [event for event in self.events if event["event"] == name]


def shipped(name: str) -> list[str]:
    """Return the words that replay a shipped recording with its program and its bit, as JSON."""
    return [
        "replay",
        str(SHIPPED / f"{name}.flac"),
        "--program",
        str(SHIPPED / f"{name}.ngc"),
        *BIT,
        "--json",
    ]


def truth(name: str) -> dict[str, Any]:
    """Return what was really so in a shipped recording."""
    told: dict[str, Any] = json.loads((SHIPPED / f"{name}.json").read_text())
    return told


def sound(name: str) -> tuple[NDArray[np.float32], int]:
    """Return the samples of a shipped recording, and how many there are a second."""
    samples, rate = soundfile.read(SHIPPED / f"{name}.flac", dtype="float32")
    return samples, rate


def checked(text: str) -> list[dict[str, Any]]:
    """Return the events that were written, after a look at each against the contract."""
    events = [json.loads(line, parse_constant=_no_json) for line in text.splitlines()]
    assert text.endswith("\n")
    for event in events:
        assert event.keys() == {"event", "at"} | KEYS[event["event"]]
        assert _is_seconds(event["at"])
        if "state" in event:
            assert event["state"] in STATES
        if event["event"] == "checked":
            assert event["verdict"] in {"tight", "doubtful", "loose"}
            assert all(event["because"])
        elif "because" in event and event["event"] != "alarm":
            assert isinstance(event["because"], str)
            assert event["because"]
    assert [event["at"] for event in events] == sorted(event["at"] for event in events)
    assert [event["event"] for event in events].count("summary") == 1
    alarms = [event for event in events if event["event"] == "alarm"]
    for alarm in alarms:
        _check_alarm(alarm)
    _check_summary(events[-1], len(alarms))
    return events


def _no_json(word: str) -> None:
    raise AssertionError(f"{word} is not JSON")


def _is_seconds(value: object) -> bool:
    return isinstance(value, float) and math.isfinite(value) and value >= 0.0


def _is_line(value: object) -> bool:
    return type(value) is int and value >= 1


def _is_word(value: object) -> bool:
    return value is None or (type(value) is int and value >= 0)


def _check_alarm(alarm: dict[str, Any]) -> None:
    assert _is_seconds(alarm["onset"])
    assert alarm["onset"] <= alarm["at"]
    assert alarm["cause"] in CAUSES
    assert 0.0 <= alarm["confidence"] <= 1.0
    assert alarm["because"]
    assert all(isinstance(sentence, str) and sentence for sentence in alarm["because"])
    assert alarm["score"] >= alarm["threshold"] > 0.0
    if (line := alarm["line"]) is not None:
        assert line.keys() == {"file", "word", "from", "to", "source"}
        assert all(_is_line(line[key]) for key in ("file", "from", "to"))
        assert line["from"] <= line["file"] <= line["to"]
        assert _is_word(line["word"])
        assert line["source"] in {"sound", "lines"}
    if (resume := alarm["resume"]) is not None:
        assert resume.keys() == {"file", "word"}
        assert _is_line(resume["file"])
        assert _is_word(resume["word"])


def _check_summary(summary: dict[str, Any], alarms: int) -> None:
    assert summary["event"] == "summary"
    assert summary["alarms"] == alarms
    assert 0.0 <= summary["compared_s"] <= summary["cut_s"] <= summary["heard_s"] <= summary["at"] + 0.01
    assert type(summary["lines_seen"]) is int
    for part in summary["parts"]:
        assert part.keys() == {"name", "from", "to", "verdict"}
        assert _is_line(part["from"])
        assert part["from"] <= part["to"]
        assert part["verdict"] in VERDICTS
