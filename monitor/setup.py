"""From what the user said to a listener: which program, which bits, which lines from outside."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.linesfed import FedLocator, Report
from analysis.listener import Listener
from analysis.locate import ClockLocator, Locator, Nowhere, Plan
from analysis.program import Program, decode, read
from analysis.watcher import Settings
from monitor.bits import Shelf, read_shelf
from monitor.linefeed import read_lines

SHELF = "bits.toml"

# What a bit is taken for when nobody said: the commonest on a small router.
USUAL_FLUTES, USUAL_DIAMETER = 2, 6.35


@dataclass(frozen=True)
class Wanted:
    """
    What the user said.

    Attributes
    ----------
    program
        File of the program being cut.
    bit
        Name of a bit on the shelf.
    speed
        Spindle speed, rpm.
    flutes
        Cutting edges.
    diameter
        mm.
    lines
        File of line numbers from outside.
    settings
        How the watcher is to judge.
    """

    program: Path | None = None
    bit: str | None = None
    speed: float | None = None
    flutes: int | None = None
    diameter: float | None = None
    lines: Path | None = None
    settings: Settings = Settings()


def read_program(path: Path) -> Program:
    """
    Read a program file.

    Raises
    ------
    ProgramError
        When there is no such file, or it is no program.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise ProgramError(f"cannot read the program {path} ({error.strerror}): check its name") from error
    try:
        return read(decode(raw), path.name)
    except ProgramError as error:
        raise ProgramError(
            f"{path.name}: {error}", word=error.word
        ) from error


def bits_for(wanted: Wanted, program: Program | None, shelf: Shelf) -> dict[int, Bit]:
    """
    Return the bit behind each T number, and behind 0 the one for all others.

    What the user says outweighs the shelf, and the shelf outweighs the program: a dial's number, or a
    program's, is not yet a speed, and the sound tells it anyway.
    """
    usual = shelf.find(wanted.bit) if wanted.bit else Bit("bit", USUAL_DIAMETER, USUAL_FLUTES, None)
    bits = {0: _said(wanted, usual)}
    if program is None:
        return bits
    moves = program.moves
    for number in np.unique(moves.bit).tolist():
        known = None if wanted.bit else shelf.by_tool(number)
        turning = moves.speed[(moves.bit == number) & (moves.speed > 0)]
        speed = float(np.median(turning)) if len(turning) else None
        base = known or usual
        bits[number] = _said(wanted, Bit(base.name, base.diameter, base.flutes, base.speed or speed))
    return bits


def _said(wanted: Wanted, bit: Bit) -> Bit:
    return Bit(
        bit.name,
        wanted.diameter or bit.diameter,
        wanted.flutes or bit.flutes,
        wanted.speed or bit.speed,
    )


def make_listener(rate: int, wanted: Wanted, home: Path) -> Listener:
    """
    Return a listener for what the user said.

    Raises
    ------
    ProgramError, ShelfError, ChipsongError
        When a file that was named is wrong.
    """
    program = read_program(wanted.program) if wanted.program else None
    bits = bits_for(wanted, program, read_shelf(home / SHELF))
    locator: Locator = Nowhere() if program is None else ClockLocator(Plan.of(program, bits))
    if wanted.lines is not None:
        reports = [Report(said.at, said.file_line, said.word) for said in read_lines(wanted.lines)]
        locator = FedLocator(reports, locator, program)
    return Listener(rate, bits, locator, wanted.settings)
