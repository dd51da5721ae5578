"""
Line numbers from outside, where a machine's controller can be made to tell them.

The file holds one JSON object a line::

    {"at": 12.5, "line": 47}
    {"at": 12.9, "word": 480}

``at`` is in seconds from the first sample. ``line`` is the line of the program's file, counted from 1;
``word`` is the number of its N-word. They are two different things.
"""

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis.errors import ChipsongError

_LARGEST_WORD = 99999  # NISTIR 6556, 3.3
_LONGEST = 1e9  # s, some thirty years: a time of day in place of a time from the first sample


@dataclass(frozen=True)
class LineReport:
    """
    Where the machine said it was.

    Attributes
    ----------
    at
        When, s from the first sample.
    file_line
        The line of the program's file, counted from 1; ``None`` when it was not told.
    word
        The number of the N-word; ``None`` when it was not told.
    """

    at: float
    file_line: int | None
    word: int | None


@dataclass(frozen=True)
class LineFeed:
    """
    All that the machine said.

    Attributes
    ----------
    reports
        In the order of their time.
    garbled
        How many lines could not be understood.
    """

    reports: tuple[LineReport, ...]
    garbled: int


def read_feed(path: Path) -> LineFeed:
    """
    Read a file of line reports, passing over those that cannot be understood.

    Raises
    ------
    ChipsongError
        When there is no such file, or not one report in it.
    """
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        raise ChipsongError(
            f"cannot read the line numbers in {path} ({error.strerror}): check its name"
        ) from error
    lines = [line for line in text.splitlines() if line.strip()]
    reports = [report for report in map(_report, lines) if report is not None]
    if not reports:
        raise ChipsongError(
            f"{path} has no line numbers: each line must read like "
            '{"at": 12.5, "line": 47} or {"at": 12.5, "word": 470}'
        )
    return LineFeed(tuple(sorted(reports, key=lambda report: report.at)), len(lines) - len(reports))


def _report(line: str) -> LineReport | None:
    """Return what one line says, ``None`` when it is garbled."""
    try:
        said: Any = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not isinstance(said, dict):
        return None
    at, file_line, word = _time(said.get("at")), said.get("line"), said.get("word")
    told = file_line is not None or word is not None
    if (
        at is None
        or not told
        or not _is_whole(file_line, 1, math.inf)
        or not _is_whole(word, 0, _LARGEST_WORD)
    ):
        return None
    return LineReport(at, file_line, word)


def _time(value: object) -> float | None:
    """Return seconds from the first sample, ``None`` when the value is nothing of the kind."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < _LONGEST:
        return None
    return float(value)


def _is_whole(value: object, least: float, most: float) -> bool:
    """Return whether a value is a whole number within its bounds, or was not told."""
    return value is None or (type(value) is int and least <= value <= most)
