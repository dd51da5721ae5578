"""
A line of a program, taken apart into words (NISTIR 6556, section 3.3).

Letters may be written in any case and blanks may stand anywhere outside comments, even inside a number:
``g0x +0. 12 34y 7`` is ``g0 x+0.1234 y7``.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from analysis.errors import ProgramError
from analysis.program.expressions import evaluate
from analysis.program.notes import Notes

_WORD = re.compile(
    r"[ \t]*([A-Za-z])[ \t]*([-+]?[ \t]*(?:[0-9][0-9 \t]*(?:\.[0-9 \t]*)?|\.[ \t]*[0-9][0-9 \t]*))"
)
_NAME = re.compile(r"[ \t]*[Nn][ \t]*([0-9][0-9 \t]*+)(?!\.)")
"""An N-word that stands first, without the point that it may have."""
_BLANK = re.compile(r"[ \t]*")
_FORMULA = re.compile(
    r"[ \t]*[-+]?[ \t]*(?:[#\[]|(?:ABS|ACOS|ASIN|ATAN|COS|EXP|FIX|FUP|LN|ROUND|SIN|SQRT|TAN)[ \t]*\[)",
    re.IGNORECASE,
)
_CALLS = re.compile(r"[oO][ \t]*(?:<[^>]*>|[0-9]+)[ \t]*[a-zA-Z]")
"""A subprogram, a loop or a choice written with an O word and a name for what it is."""
_MACRO = re.compile(r"[ \t]*(?:IF|WHILE|GOTO|DO|END|THEN)[ \t]*[\[0-9#]", re.IGNORECASE)
"""A loop or a choice as macro languages write it."""
_ENDS = "".join(map(chr, range(33))) + "\x7f\ufeff"
"""Signs that may stand at the ends of a line and mean nothing: blanks, control characters, marks."""
_SWITCHES = tuple("123456789")
_LARGEST, _LARGEST_NAME = 1e7, 2.0**31
_LONGEST = 256


class Word(NamedTuple):
    """A letter with its number. `column` counts from 1; `text` is as written, without blanks."""

    letter: str
    value: float
    column: int
    text: str


@dataclass
class Block:
    """
    The words of one line. Whoever executes a word takes it out; what is left over was not understood.

    Attributes
    ----------
    number
        File line, counted from 1.
    words
        By letter, all but G and M.
    g, m
        The G and M words in the order written.
    name
        N-word, -1 when there is none.
    comments
        The texts of the comments.
    settings
        Parameters that the line sets; they take effect after it has been read.
    deleted
        The line begins with ``/``, or ``/1`` to ``/9``.
    percent
        The line is a ``%``.
    """

    number: int
    words: dict[str, Word] = field(default_factory=dict)
    g: list[Word] = field(default_factory=list)
    m: list[Word] = field(default_factory=list)
    name: int = -1
    comments: list[str] = field(default_factory=list)
    settings: dict[int, float] = field(default_factory=dict)
    deleted: bool = False
    percent: bool = False

    def take(self, letter: str) -> Word | None:
        """Take a word out of the block; ``None`` if it is not there."""
        return self.words.pop(letter, None)

    def error(self, message: str, word: Word | None = None) -> ProgramError:
        """Return an error at a word of this block, or at its beginning."""
        if word is None:
            return ProgramError(message, line=self.number, column=1)
        return ProgramError(message, line=self.number, column=word.column, word=word.text)


def parse(line: str, number: int, parameters: Mapping[int, float], notes: Notes) -> Block:
    """
    Take a line apart.

    Parameters
    ----------
    line
        Without its line end.
    number
        File line, counted from 1.
    parameters
        Values of the program's parameters (``#1``) before this line.
    notes
        Receives what is odd but harmless.

    Returns
    -------
    Block

    Raises
    ------
    ProgramError
        With line, column and word of what is no word of the language.
    """
    block = Block(number)
    line = line.rstrip(_ENDS)
    at = len(line) - len(line.lstrip(_ENDS))
    if at < len(line) and line[at] in "%/":
        at = _first_sign(line, at, block, notes)
    if len(line) > _LONGEST:
        notes.add(f"the line is longer than {_LONGEST} characters; some controls cut it off", number, 1)
    end = len(line)
    match = _WORD.match
    while at < end:
        found = match(line, at)
        if found is None:
            at = _other(line, at, block, parameters, notes)
            continue
        letter, written = found.groups()
        try:
            value = float(written)
        except ValueError:  # blanks inside the number
            written = "".join(written.split())
            value = float(written)
        column = found.start(1) + 1
        at = found.end()
        _keep(block, Word(letter.upper(), value, column, letter + written.rstrip()), notes)
    return block


def name_of(line: str) -> int | None:
    """
    Return the N-word of a line, read or not; ``None`` where it has none, or is none of the language.

    It is the `name` of its block: one behind a formula with parameters is not seen.
    """
    if "N" not in line and "n" not in line:
        return None
    # Nearly all stand first.
    found = _NAME.match(line)
    if found:
        name = int("".join(found[1].split()))
        return name if name < _LARGEST_NAME else None
    try:
        name = parse(line, 1, {}, Notes()).name
    except ProgramError:
        return None
    return name if name >= 0 else None


def _keep(block: Block, word: Word, notes: Notes) -> None:
    """Put a word in its place; the same letter twice is an error, but for G and M."""
    letter = word.letter
    # Lines and programs may be numbered by the day, O20261130 say.
    largest = _LARGEST_NAME if letter in ("N", "O") else _LARGEST
    if not -largest < word.value < largest:
        raise block.error(f"{word.text}: the number is too large for any machine; correct it", word)
    if letter == "G":
        block.g.append(word)
    elif letter == "M":
        block.m.append(word)
    elif letter in block.words or (letter == "N" and block.name >= 0):
        raise block.error(f"{word.text}: {letter} stands twice on this line; keep one", word)
    elif letter == "N":
        _name(block, word, notes)
    else:
        block.words[letter] = word


def _name(block: Block, word: Word, notes: Notes) -> None:
    if word.value < 0 or word.value != int(word.value):
        raise block.error(f"{word.text}: a line number is a whole number from 0 up", word)
    if block.g or block.m or block.words:
        notes.add("the N-word does not stand first on its line", block.number, word.column, word.text)
    block.name = int(word.value)


def _first_sign(line: str, at: int, block: Block, notes: Notes) -> int:
    """Deal with ``%`` and ``/`` at the beginning; return where to read on."""
    if line[at] == "/":
        block.deleted = True
        # Some controls have nine switches and number them.
        return at + (2 if line[at + 1 : at + 2] in _SWITCHES else 1)
    block.percent = True
    if line[at + 1 :].strip():
        notes.add("what stands behind % is not read", block.number, at + 2, line[at + 1 :].strip())
    return len(line)


def _other(line: str, at: int, block: Block, parameters: Mapping[int, float], notes: Notes) -> int:
    """Read on where no plain word stands: a comment, a formula or a parameter; return where it ends."""
    blank = _BLANK.match(line, at)
    at = blank.end() if blank else at
    sign = line[at] if at < len(line) else ";"
    if sign == ";":
        block.comments.append(line[at + 1 :].strip())
        return len(line)
    if sign == "(":
        return _comment(line, at, block, notes)
    if sign == "#":
        return _setting(line, at, block, parameters)
    if sign.isascii() and sign.isalpha():
        return _formula(line, at, block, parameters, notes)
    if sign == ")":
        notes.add("a ) without its ( is not read", block.number, at + 1, sign)
        return at + 1
    message = f"{sign!r} is no sign of the language; remove it, or put it in a comment ( )"
    raise ProgramError(message, line=block.number, column=at + 1, word=sign)


def _comment(line: str, at: int, block: Block, notes: Notes) -> int:
    """Read a comment; comments do not nest, and where that would change what is motion we refuse."""
    close = line.find(")", at)
    if close < 0:
        notes.add("the comment is not closed; the rest of the line is taken as comment", block.number, at + 1)
        block.comments.append(line[at + 1 :].strip())
        return len(line)
    inner = line.find("(", at + 1, close)
    if inner >= 0:
        outer = line.find(")", close + 1)
        if outer >= 0 and line[close + 1 : outer].strip():
            message = "comments do not nest: where this one ends is unclear; remove the inner ( )"
            raise ProgramError(message, line=block.number, column=inner + 1, word="(")
        notes.add("comments do not nest; this one ends at the first )", block.number, inner + 1, "(")
    block.comments.append(line[at + 1 : close].strip())
    return close + 1


def _formula(line: str, at: int, block: Block, parameters: Mapping[int, float], notes: Notes) -> int:
    """Read a word whose number is a formula, ``X[1+#2]``."""
    if not _FORMULA.match(line, at + 1):
        if _CALLS.search(line):
            message = "subprograms, loops and choices with O words are not followed: write the moves out"
            raise ProgramError(message, line=block.number, column=1, word=line.strip())
        written = line[at : at + 12].strip()
        if _MACRO.match(line, at):
            message = "loops and choices are not followed: write the moves out"
            raise ProgramError(message, line=block.number, column=at + 1, word=written)
        message = f"{written!r}: {line[at]} needs a number behind it; correct it, or put it in a comment ( )"
        raise ProgramError(message, line=block.number, column=at + 1, word=written)
    value, end = evaluate(line, at + 1, parameters, block.number)
    _keep(block, Word(line[at].upper(), value, at + 1, "".join(line[at:end].split())), notes)
    return end


def _setting(line: str, at: int, block: Block, parameters: Mapping[int, float]) -> int:
    """Read ``#1=2.5``."""
    index, end = evaluate(line, at + 1, parameters, block.number)
    word = "".join(line[at:end].split())
    blank = _BLANK.match(line, end)
    end = blank.end() if blank else end
    if end >= len(line) or line[end] != "=":
        message = f"{word}: a parameter alone says nothing; write {word}=value"
        raise ProgramError(message, line=block.number, column=at + 1, word=word)
    if index != int(index) or not 1 <= index <= 5399:
        message = f"{word}: parameters are numbered 1 to 5399"
        raise ProgramError(message, line=block.number, column=at + 1, word=word)
    value, end = evaluate(line, end + 1, parameters, block.number)
    block.settings[int(index)] = value
    return end
