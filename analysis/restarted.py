"""The lines of a restart program, as lines of the original; and which of the two is run."""

from bisect import bisect_left
from dataclasses import dataclass
from typing import Self

from analysis.errors import ProgramError
from analysis.program import Program, carry_on


@dataclass(frozen=True)
class Restarted:
    """
    A restart program: a head of its own, then the original to the letter.

    Attributes
    ----------
    line
        Line of the original's file with which it goes on.
    head
        How many lines come before that.
    does
        Those of them that are more than a comment, in order.
    last
        The original's last line.
    """

    line: int
    head: int
    does: tuple[int, ...]
    last: int

    @classmethod
    def of(cls, program: Program, line: int) -> Self | None:
        """Return the restart program of a program from a line on; ``None`` where there is none."""
        try:
            made = carry_on(program, line)
        except ProgramError:
            return None
        head = len(made.new)
        does = (number for number, line in enumerate(made.text.split("\n")[:head], 1) if _does(line))
        return cls(made.begin - made.opening + 1, head, tuple(does), len(program.lines))

    def original(self, line: int) -> int:
        """Return which line of the original a line of it is; of its head, the one with which it goes on."""
        return self.line + max(line - self.head - 1, 0)

    def meant(self, line: int, *, restart: bool | None) -> tuple[int, ...]:
        """
        Return which lines of the original a controller may mean by a line that it names, the first one first.

        Parameters
        ----------
        line
            As named.
        restart
            Whether this program is run, or the original; ``None`` while nobody knows.
        """
        ours, theirs = self.original(line), line
        if restart is None and not self.is_ours(line):
            return tuple(sorted({ours, theirs}))
        return (theirs,) if restart is False else (ours,)

    def is_ours(self, line: int) -> bool:
        """
        Return whether a line is none that is named by whoever carries on with the original.

        He names no line before the one at which it goes on, nor one that it lacks.
        """
        return not self.line <= line <= self.last

    def tells(self, line: int, ahead: int) -> bool | None:
        """
        Return whether a line that is named can only be one of this program, or of the original.

        Parameters
        ----------
        line
            As named.
        ahead
            By how many lines the controller may be ahead of what it executes.

        Returns
        -------
        bool or None
            True where it is of this program, False where it is of the original, ``None`` where it may be of
            either.
        """
        if self.is_ours(line):
            return True
        if self.line > self.head + 1 + ahead:
            return False  # what this one begins with is named by lower numbers
        return None

    def idles(self, line: int, ahead: int) -> bool:
        """
        Return whether this program does nothing on a line, nor as far before it as a controller reads ahead.

        Who runs this program names such a line in passing at most, if he has not named one before those of
        the original.
        """
        if line > self.head or self.line <= 1 + ahead:
            return False
        return bisect_left(self.does, line - ahead) == bisect_left(self.does, line + 1)


def _does(line: str) -> bool:
    text = line.strip()
    return bool(text) and text[0] not in "(;%"
