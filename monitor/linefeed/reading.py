"""What a line of text says: a line number as JSON, or found by a pattern of the user's own."""

import json
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import regex

from analysis.errors import ChipsongError

# Of either: programs number by tens beyond the five digits of NISTIR 6556, 3.3.
_LARGEST = 10**9
_LONGEST = 2000  # characters of a line that are looked at
# s of the processor's time that a line may take. Nearly all take a thousandth of it, but some patterns could
# try ways for years, and Python's own `re` then lets nothing else of the process run.
_PATIENCE = 0.05
_GROUPS = ("line", "word", "time")
_CLOCK = re.compile(r"(\d{1,2}):(\d\d):(\d\d(?:[.,]\d+)?)")
# A number of seconds larger than this counts milliseconds: since 1970 it is the year 5138.
_MILLISECONDS = 1e11


@dataclass(frozen=True)
class Said:
    """
    What somebody said of the place.

    Attributes
    ----------
    line
        The line of the program's file, counted from 1; ``None`` when it was not told.
    word
        The number of the N-word; ``None`` when it was not told.
    time
        When it was said by the clock of whoever said it, s; it is good only beside others of its kind.
    after
        How many lines after the N-word it is.
    """

    line: int | None
    word: int | None
    time: float | None = None
    after: int = 0


class PatternError(ChipsongError):
    """A pattern takes too long in a line; the text says which, and what to change."""


Reader = Callable[[str], Said | None]
"""Returns what a line of text says, ``None`` when it cannot be understood; may raise `PatternError`."""


def reader_for(pattern: str | None) -> Reader:
    """
    Return what reads lines: by a regular expression where one is given, as JSON otherwise.

    Parameters
    ----------
    pattern
        Has a named group ``line`` or ``word``, and may have one ``time``: a number of seconds, or hours,
        minutes and seconds as in 14:05:09.25.

    Raises
    ------
    ValueError
        When it is no regular expression, or has none of these groups.
    """
    if pattern is None:
        return read_json
    try:
        compiled = regex.compile(pattern)
    except regex.error as error:
        raise ValueError(f"'{pattern}' is no regular expression: {error}") from error
    if not {"line", "word"} & set(compiled.groupindex):
        raise ValueError(
            rf"'{pattern}' has no group that is named line or word, as in 'at line (?P<line>\d+)'"
        )
    return lambda text: _found(compiled, text)


def _found(pattern: regex.Pattern[str], text: str) -> Said | None:
    try:
        match = pattern.search(text[:_LONGEST], timeout=_PATIENCE)
    except TimeoutError as error:
        raise PatternError(
            "the pattern takes too long in some lines: repeat nothing in it that itself fits in several "
            f"ways, as in '(a|aa)+': {pattern.pattern}"
        ) from error
    if match is None:
        return None
    line, word, time = (match[name] if name in pattern.groupindex else None for name in _GROUPS)
    return _said(_digits(line), _digits(word), _clock(time))


def _digits(text: str | None) -> object:
    """Return a whole number that stands alone or behind an N; whatever else it is is no number."""
    if text is None:
        return None
    bare = text.strip().lstrip("Nn")
    return int(bare) if bare.isascii() and bare.isdigit() and len(bare) < 12 else text


def _clock(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        return _seconds(float(text))
    except ValueError:
        found = _CLOCK.search(text)
    if found is None:
        return None
    return 3600.0 * int(found[1]) + 60.0 * int(found[2]) + float(found[3].replace(",", "."))


def read_json(text: str) -> Said | None:
    """Return what ``{"line": 47}`` or ``{"word": 470}`` says, at ``"at"`` or ``"time"`` if it has either."""
    try:
        said: Any = json.loads(text)
    except (ValueError, RecursionError):
        return None
    if not isinstance(said, dict):
        return None
    return _said(said.get("line"), said.get("word"), _seconds(said.get("at", said.get("time"))))


def _said(line: object, word: object, time: float | None) -> Said | None:
    told = Said(_whole(line, 1, _LARGEST), _whole(word, 0, _LARGEST), time)
    # Where one of the two is no number that it can be, the other is not believed either.
    if (told.line, told.word) == (None, None) or (told.line, told.word) != (line, word):
        return None
    return told


def _whole(value: object, least: int, most: int) -> int | None:
    """Return a whole number within its bounds, ``None`` in place of anything else."""
    return value if type(value) is int and least <= value <= most else None


def _seconds(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < math.inf:
        return None
    return value / 1000.0 if value > _MILLISECONDS else float(value)
