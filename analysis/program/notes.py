"""What the reader did not understand or had to assume: said, with its place, and never dropped."""

from collections import Counter
from dataclasses import dataclass

SAME = 20
"""How often one remark is listed before it is only counted."""


@dataclass(frozen=True)
class Note:
    """
    A warning about a program.

    Attributes
    ----------
    line, column
        Where, counted from 1; 0 when the whole program is meant.
    word
        The word it is about, as written; may be empty.
    text
        One line for a person.
    """

    line: int
    column: int
    word: str
    text: str

    def __str__(self) -> str:
        """Return place and text in one line."""
        where = f"line {self.line}, column {self.column}: " if self.line else ""
        return f"{where}{self.text}"


class Notes:
    """Collects notes; the same text is listed `SAME` times, then counted."""

    def __init__(self) -> None:
        self._listed: list[Note] = []
        self._count: Counter[str] = Counter()
        self._last: dict[str, int] = {}

    def add(self, text: str, line: int = 0, column: int = 0, word: str = "") -> None:
        """Keep one note."""
        self._count[text] += 1
        if self._count[text] <= SAME:
            self._listed.append(Note(line, column, word, text))
        else:
            self._last[text] = line

    def once(self, text: str, line: int = 0, column: int = 0, word: str = "") -> None:
        """Keep a note that says all there is to say the first time."""
        if not self._count[text]:
            self.add(text, line, column, word)

    def all(self) -> tuple[Note, ...]:
        """Return the notes in the order of the program, with a count of those left out."""
        more = [
            Note(0, 0, "", f"{self._count[text] - SAME} more like this, the last on line {line}: {text}")
            for text, line in self._last.items()
        ]
        return (*self._listed, *more)
