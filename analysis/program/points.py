"""
Whole numbers with a decimal point, as ``X200.``, or without.

Many controls, as they are delivered, take a length without a point in their least increment, thousandths of a
millimetre mostly, and programs for them write points. With one a length means the same everywhere, so all
lengths are written with one here. Not everywhere may F and P of a wait have one, and where they may it makes
minutes of milliseconds: those are written as the program itself writes them. Common practice of the trade.
"""

import re
from collections.abc import Sequence
from typing import NamedTuple

# Possessive, and both cases spelt out: long programs are searched from end to end.
_WITH = r"[-+ \t]*+[0-9]++\.0*+(?![0-9])"
_WITHOUT = r"[-+ \t]*+0*+[1-9][0-9]*+(?!\.)"
_LENGTH = "[XYZIJKRQxyzijkrq]"
_LENGTH_WITH, _LENGTH_WITHOUT = re.compile(_LENGTH + _WITH), re.compile(_LENGTH + _WITHOUT)
_FEED = re.compile(f"[Ff]{_WITH}")
_WAIT = re.compile(rf"[Gg][ \t]*0?4(?![0-9.])[^\n(;]*?[Pp]{_WITH}")


class Points(NamedTuple):
    """Which whole numbers a program writes with a point: those of F, and those of P in waits (G4)."""

    feeds: bool = False
    waits: bool = False


class Mixed(NamedTuple):
    """Whole lengths of a program, as written: the first one `without` a point, and one `with_point`."""

    without: str
    with_point: str
    line: int
    column: int

    def __str__(self) -> str:
        """Return what is odd about it, in one line."""
        return (
            f"{self.without} has no decimal point and {self.with_point} has one; some controls count lengths "
            "without in thousandths: write a point in each"
        )


def points_of(lines: Sequence[str]) -> Points:
    """Return where a program, given by its lines, writes whole numbers with a point."""
    text = "\n".join(lines)
    return Points(_first(_FEED, text) is not None, _first(_WAIT, text) is not None)


def mixed(lines: Sequence[str]) -> Mixed | None:
    """
    Return whole lengths with and without a point, where a program has both; else ``None``.

    0 is the same in either reading, and a fraction can't be written without a point: neither tells anything.
    """
    text = "\n".join(lines)
    pointed = _first(_LENGTH_WITH, text)
    bare = _first(_LENGTH_WITHOUT, text) if pointed else None
    if pointed is None or bare is None:
        return None
    begin = text.rfind("\n", 0, bare.start()) + 1
    at = text.count("\n", 0, begin) + 1
    return Mixed(_plain(bare), _plain(pointed), at, bare.start() - begin + 1)


def mixed_in_words(lines: Sequence[str]) -> tuple[str, ...]:
    """Return what to say in the head of what is written where a program mixes whole lengths."""
    found = mixed(lines)
    return () if found is None else (f"file line {found.line}: {found}, or know that yours does not.",)


def number(value: float, decimals: int, *, point: bool = False) -> str:
    """Write a number without what it does not need, but with a point if that is asked for."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    text = "0" if text in ("-0", "") else text
    return f"{text}." if point and "." not in text else text


def length(value: float, decimals: int) -> str:
    """Write a length, in whatever unit is in force."""
    return number(value, decimals, point=True)


def _first(pattern: re.Pattern[str], text: str) -> re.Match[str] | None:
    """Return the first place of a text that is not in a comment."""
    return next((found for found in pattern.finditer(text) if not _is_said(text, found.start())), None)


def _is_said(text: str, at: int) -> bool:
    """Whether a place lies in a comment."""
    before = text[text.rfind("\n", 0, at) + 1 : at]
    return ";" in before or before.rfind("(") > before.rfind(")")


def _plain(found: re.Match[str]) -> str:
    return "".join(found[0].split()).upper()
