"""
Calls of subprograms, as the trade commonly writes them (NISTIR 6556 has none).

``M98 P100 L3`` runs ``O100`` three times, and ``M99`` at its end goes back.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.program.interpreter import Interpreter
    from analysis.program.words import Block

_BEGIN = re.compile(r"[ \t]*(?:N[ \t]*[0-9]+[ \t]*)?O[ \t]*([0-9]+)", re.IGNORECASE)
_COMMENT = re.compile(r"\([^)]*\)?|;.*")
_PLACE = re.compile("[XYZ]", re.IGNORECASE)
_MAIN = re.compile(r"M[ \t]*0*(?:2|30|98)(?![0-9.])", re.IGNORECASE)
"""What only a main program has: an end of its own, or (mostly) calls."""
DEEPEST = 10
MOST_REPEATS = 10_000
MOST_CALLS = 20_000
MOST_MOVES = 5_000_000


@dataclass
class _Call:
    back: int
    begin: int
    left: int


class Calls:
    """
    Which line is next.

    Attributes
    ----------
    next
        Index of the next line, from 0.
    called
        Numbers of the subprograms called so far.
    """

    def __init__(self, lines: Sequence[str]) -> None:
        self.next = 0
        self.called: set[int] = set()
        self._lines = lines
        self._stack: list[_Call] = []
        self._begins: dict[int, int] | None = None
        self._count = 0

    @property
    def depth(self) -> int:
        """How many calls deep the next line is."""
        return len(self._stack)

    def begin_of(self, number: int) -> int | None:
        """Return the index of the line that opens subprogram O`number`."""
        if self._begins is None:
            self._begins = {}
            for i, line in enumerate(self._lines):
                found = _BEGIN.match(line)
                if found:
                    self._begins.setdefault(int(found[1]), i)
        return self._begins.get(number)

    def defines(self, index: int) -> bool:
        """Return whether the line at this index belongs to a subprogram that has been called."""
        begins = [self.begin_of(number) for number in self.called]
        return any(begin is not None and begin <= index for begin in begins)

    def follow(self, code: int, block: "Block", interpreter: "Interpreter") -> None:
        """Call (M98) or go back (M99)."""
        if code == 98:
            if len(interpreter.carriage.rows) > MOST_MOVES:
                raise block.error(f"the subprograms make more than {MOST_MOVES} moves; split the program")
            self._call(block)
        elif "P" in block.words:
            raise block.error(
                "M99 with P jumps to another line, which is not followed; leave P out", block.words["P"]
            )
        elif self._stack:
            self._return()
        else:
            self._refuse_a_program_behind(block)
            text = "M99 outside a subprogram starts the program over without end; it is read once"
            interpreter.notes.add(text, block.number, 1, "M99")
            interpreter.end()

    def _refuse_a_program_behind(self, block: "Block") -> None:
        """Refuse M99 where the main program follows: what has been run is a subprogram that nobody called."""
        begin, moves = 0, False
        for index in range(self.next, len(self._lines)):
            line = _COMMENT.sub("", self._lines[index])
            if self.defines(index):
                return
            begin = begin or (index + 1 if line.strip(" \t%") else 0)
            moves = moves or bool(_PLACE.search(line))
            if moves and _MAIN.search(line):
                message = (
                    f"a subprogram ends here, and the program from line {begin} on would never be run: put "
                    "that first, and the subprograms behind its M30"
                )
                raise block.error(message)

    def _call(self, block: "Block") -> None:
        for letter in "QH":
            if letter in block.words:
                message = f"M98 with {letter} begins at another line on some controls; leave {letter} out"
                raise block.error(message, block.words[letter])
        name, times = block.take("P"), block.take("L")
        if name is None or name.value != int(name.value):
            raise block.error("M98 needs P, the number of a subprogram; add it", name)
        number, repeats = int(name.value), 1 if times is None else times.value
        if self.begin_of(number) is None and number > 9999:
            number, repeats = number % 10_000, number // 10_000
        begin = self.begin_of(number)
        if begin is None:
            raise block.error(f"{name.text}: there is no O{number} in this file; put it in", name)
        if repeats != int(repeats) or not 1 <= repeats <= MOST_REPEATS:
            raise block.error(f"repeat a subprogram 1 to {MOST_REPEATS} times", times or name)
        self._count += int(repeats)
        if len(self._stack) >= DEEPEST or self._count > MOST_CALLS:
            raise block.error(f"{name.text}: subprograms are called without end; correct it", name)
        self.called.add(number)
        self._stack.append(_Call(self.next, begin + 1, int(repeats) - 1))
        self.next = begin + 1

    def _return(self) -> None:
        call = self._stack[-1]
        if call.left:
            call.left -= 1
            self.next = call.begin
        else:
            self.next = self._stack.pop().back
