"""The lines of a restart program, as lines of the original."""

from dataclasses import dataclass
from typing import Self

from analysis.errors import ProgramError
from analysis.program import Program, restart_program, resume_at


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
    """

    line: int
    head: int

    @classmethod
    def of(cls, program: Program, line: int) -> Self | None:
        """Return the restart program of a program from a line on; ``None`` where there is none."""
        try:
            begin, text = resume_at(program, line).file_line, restart_program(program, line)
        except ProgramError:
            return None
        return cls(begin, text.count("\n") - (len(program.lines) - begin + 1))

    def original(self, line: int) -> int:
        """Return which line of the original a line of it is; of its head, the one with which it goes on."""
        return self.line + max(line - self.head - 1, 0)
