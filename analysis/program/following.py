"""
Through a program line by line, for those who want to take it up again on the way.

An M word that nobody here knows may be anything, a macro that moves the bit too: after it the place is in
doubt until the program has stated X, Y and Z again.
"""

from collections.abc import Iterator

from analysis.program.cautions import plain
from analysis.program.codes import COOLANT, GROUP_OF_M
from analysis.program.interpreter import Interpreter
from analysis.program.notes import Notes
from analysis.program.program import Program, Units
from analysis.program.reader import read_again
from analysis.program.state import Modes
from analysis.program.words import parse

EVERY = range(1 << 62)
"""All lines."""

BULK = 1000
"""How many plain lines are run at a time."""

_KNOWN = {*GROUP_OF_M, *COOLANT}


class Following:
    """
    A run through a program that heeds what it does not know.

    Attributes
    ----------
    run
        The interpreter.
    unread
        The M words so far that are not known, with their file lines.
    """

    def __init__(self, program: Program) -> None:
        self.run = Interpreter(
            program.lines,
            skip_slashed=program.skip_slashed,
            units=program.units,
            chosen_ahead=program.chosen_ahead,
        )
        self.unread: list[str] = []
        self._program = program

    def steps(self, closely: range = EVERY) -> Iterator[int]:
        """
        Yield the numbers of lines, from 1, just before they are executed.

        Parameters
        ----------
        closely
            Where each line is told; elsewhere up to `BULK` plain ones are run at a time, which is quicker.
        """
        unread: list[str] = []
        again = True
        while again:
            again = False
            close = _near(self.run.calls.next + 1, closely)
            for number in self.run.steps(1 if close else BULK):
                if _near(number, closely) != close:
                    again = True
                    break
                if unread:
                    why = f"{unread[0]} is not known and may move it"
                    self.run.carriage.lose((0, 1, 2), why, adrift=False)
                yield number
                unread = self._unread(number)
                self.unread += unread

    def _unread(self, number: int) -> list[str]:
        line = self._program.lines[number - 1]
        if "M" not in line and "m" not in line:
            return []
        block = parse(line, number, self.run.parameters, Notes())
        if block.deleted and self._program.skip_slashed:
            return []
        words = [word for word in block.m if int(word.value) not in _KNOWN]
        return [f"{word.text.upper()} on file line {number}" for word in words]


def _near(number: int, closely: range) -> bool:
    """Whether a line is told, or so near before one that is that it might be run over."""
    return number + BULK > closely.start and number < closely.stop


def in_units(program: Program, units: Units | None) -> Program:
    """Return the program, read again if it was read as if in another unit than it is now said to be."""
    if units is None or units == program.units:
        return program
    return read_again(program, skip_slashed=program.skip_slashed, units=units)


def bit_in_words(program: Program, bit: int) -> str:
    """Return what the program calls a bit."""
    text = plain(program.bits.get(bit, ""))
    if not bit and not text:
        return "the one that the program was cutting with"
    return f"T{bit} {text}".strip()


def in_words(millimetres: float, modes: Modes) -> str:
    """Return a length for a person, in the unit in force."""
    return f"{millimetres / modes.scale:.4g} {'inch' if modes.units == 200 else 'mm'}"


def low_in_words(safe_z: float, own: float, modes: Modes) -> tuple[str, ...]:
    """Return what to say where a height to cross at, mm, is lower than the program's `own`."""
    if safe_z >= own - 1e-6:
        return ()
    asked, highest = in_words(safe_z, modes), in_words(own, modes)
    said = f"the height to cross at, {asked}, is lower than the program's own, {highest}"
    return (f"{said}: see that no clamp or screw stands that high.",)


def opening(program: Program) -> int:
    """Return after how many lines the program begins that opens with ``%``; 0 if it does not."""
    first = next((i for i, line in enumerate(program.lines) if line.strip()), 0)
    return first + 1 if program.lines[first].lstrip().startswith("%") else 0
