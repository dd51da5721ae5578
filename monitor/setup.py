"""From what the user said to a listener: which program, which bits, which lines from outside."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.ahead import AHEAD
from analysis.asked_speed import at_each_speed, plainly_different, slowest_of
from analysis.cutting import Bit
from analysis.errors import ProgramError
from analysis.linesfed import FedLocator, Report
from analysis.listener import Listener
from analysis.locate import Locator, Nowhere, Plan
from analysis.pace import UNKNOWN, Learned
from analysis.place import SoundLocator
from analysis.program import Note, Program, cutting, read_file
from analysis.program.program import Units
from analysis.program.rewritten import counted_anew
from analysis.watcher import USUAL, Settings
from monitor.file_names import readable
from monitor.memory import give_back
from monitor.shelf.bits import Entry, Shelf, Thresholds, read_shelf
from monitor.shelf.references import Cutter, Heard, read_book

SHELF = "bits.toml"

# What a bit is taken for when nobody said: the commonest on a small router.
_USUAL = Bit("bit", diameter=6.35, flutes=2)


# An S word below this, rpm, does not outweigh the shelf: no router cuts so slowly, and some machines take
# their S words as a share of the most, or as on and off. A judgement.
_CUTS_AT_LEAST = 2000.0

# Remarks on a program that are said one by one before they are only counted.
_NOTES = 5


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
        Where line numbers from outside come from, see `monitor.linefeed.where`.
    lines_pattern
        What finds them in lines of text; JSON is read without.
    ahead
        How many lines they may be ahead of the cutting.
    material
        What is cut; ``None`` for each bit's usual material.
    settings
        How the watcher is to judge; ``None`` for what the shelf says of each bit.
    units
        What the program means its lengths in, if it does not say.
    top
        Z of the sheet's top in the program, mm; ``None`` for what the program tells.
    pace
        How fast the machine was in past runs; what nobody said, but its name did.
    """

    program: Path | None = None
    bit: str | None = None
    speed: float | None = None
    flutes: int | None = None
    diameter: float | None = None
    lines: str | None = None
    lines_pattern: str | None = None
    ahead: int = AHEAD
    material: str | None = None
    settings: Settings | None = None
    units: Units | None = None
    top: float | None = None
    pace: Learned = UNKNOWN


def read_program(
    path: Path, warn: Callable[[str], None], *, units: Units | None = None, top: float | None = None
) -> Program:
    """
    Read a program file, and say through ``warn`` what in it was not understood or had to be assumed.

    ``units`` is what it means its lengths in where it does not say, and ``top`` Z of the sheet's top, mm,
    where somebody said so.

    Raises
    ------
    ProgramError
        When there is no such file, or it is no program.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise ProgramError(f"cannot read the program {path} ({error.strerror}): check its name") from error
    name = readable(path.name)
    try:
        program = read_file(raw, name, units=units, top=top)
    except ProgramError as error:
        told = str(error)
        named = told if told.startswith(name) else f"{name}: {told}"
        raise ProgramError(named, word=error.word) from error
    if anew := counted_anew(program):
        program = replace(program, warnings=(anew, *program.warnings))
    _tell(program, name, warn)
    return program


def _tell(program: Program, name: str, warn: Callable[[str], None]) -> None:
    """Tell the first remarks, each once: what comes at every change of bit must not leave out the others."""
    first: dict[str, Note] = {}
    for note in program.warnings:
        first.setdefault(note.text, note)
    told = list(first.values())[:_NOTES]
    for note in told:
        warn(f"{name}: {note}")
    if len(program.warnings) > len(told):
        warn(f"{name}: {len(program.warnings) - len(told)} more remarks on other lines")


def tell_doubts(program: Program, warn: Callable[[str], None]) -> None:
    """Say why the top of the work may lie elsewhere than it is taken to, if it may."""
    for doubt in program.doubts:
        warn(f"{program.name}: {doubt}")


def bits_for(wanted: Wanted, program: Program | None, shelf: Shelf) -> dict[int, Bit]:
    """
    Return the bit behind each T number, and behind 0 the one for all others.

    What the user says outweighs the shelf and the program. Of the speed the program's S words outweigh the
    shelf where they are plainly different: one bit cuts many materials, each at a speed of its own.

    Raises
    ------
    ShelfError
        When the bit that was named is not on the shelf.
    """
    usual = shelf.find(wanted.bit) if wanted.bit else _USUAL
    bits = {0: usual}
    if program is not None:
        numbers = np.unique(program.moves.bit).tolist()
        for number in {0, *numbers} if wanted.bit else numbers:
            known = None if wanted.bit else shelf.by_tool(number)
            bits[number] = _with_speed(known or usual, _turning(program, number, alone=not wanted.bit))
    return {number: _said(wanted, bit) for number, bit in bits.items()}


def entries_for(wanted: Wanted, program: Program | None, shelf: Shelf) -> dict[int, Entry]:
    """
    Return what the shelf says of the bits of a job, by T number; 0 stands for the one that was named.

    Raises
    ------
    ShelfError
        When the bit that was named is not on the shelf.
    """
    numbers = [] if program is None else np.unique(program.moves.bit).tolist()
    if wanted.bit:
        return dict.fromkeys([0, *numbers], shelf.entry(wanted.bit))
    return {entry.tool: entry for entry in shelf.entries if entry.tool is not None and entry.tool in numbers}


def settings_of(wanted: Wanted, entries: Mapping[int, Entry]) -> dict[int, Settings]:
    """Return how each bit of a job is to be judged, by T number, where that is not as usual."""
    if wanted.settings is not None:
        return {}
    told = {number: entry.thresholds_in(wanted.material) for number, entry in entries.items()}
    return {
        number: settings_from(thresholds) for number, thresholds in told.items() if thresholds != Thresholds()
    }


def settings_said(false_alarms: float | None, hours: float | None) -> Settings | None:
    """Return the settings that are said on the command line; ``None`` when nothing is."""
    told = Thresholds(false_alarms, hours)
    return None if told == Thresholds() else settings_from(told)


def settings_from(told: Thresholds) -> Settings:
    """Return the settings that thresholds of the shelf mean; as usual where they say nothing."""
    return Settings(
        false_alarms=told.false_alarms or USUAL.false_alarms,
        hours=told.hours or USUAL.hours,
        factor=told.limit or USUAL.factor,
    )


def speed_remarks(wanted: Wanted, program: Program | None, shelf: Shelf) -> list[str]:
    """
    Say of which bits of a program the shelf has another speed than is listened for, each in a line.

    Raises
    ------
    ShelfError
        When the bit that was named is not on the shelf.
    """
    if program is None or wanted.speed:
        return []
    named = shelf.find(wanted.bit) if wanted.bit else None
    bits, turn = bits_for(wanted, program, shelf), np.unique(program.moves.bit[program.moves.speed > 0])
    remarks = []
    for number in turn.tolist():
        known = named or shelf.by_tool(number)
        if known and (said := not_as_shelved(known.speed, bits[number])):
            remarks.append(f"{f'T{number}' if number else 'the bit'}: {said}")
    return remarks


def not_as_shelved(speed: float | None, bit: Bit) -> str:
    """Say that a program turns a bit at another speed than the shelf says; empty where it does not."""
    if speed is None or (bit.speed, bit.speeds) == (speed, ()):
        return ""
    asked = " and ".join(f"{each.speed:.0f}" for each in at_each_speed(bit))
    return (
        f"the shelf says {speed:.0f} rpm, the program {asked}: the program's is listened for; "
        "say --rpm where a dial sets the speed"
    )


def _turning(program: Program, number: int, *, alone: bool) -> NDArray[np.float64]:
    """
    Return the speed of each move in which a T number turns, as far as the program says it.

    Where it never does, those of all numbers, unless it stands ``alone``: one bit may be behind all of them.
    """
    moves = program.moves
    mine, told = moves.bit == number, moves.speed > 0
    return moves.speed[told & mine] if alone or (moves.spun & mine).any() else moves.speed[told]


def _with_speed(bit: Bit, turning: NDArray[np.float64]) -> Bit:
    """Return ``bit`` with the speeds at which a program turns it, where its own is not one with them."""
    if bit.speed:
        turning = turning[turning >= _CUTS_AT_LEAST]
    if not len(turning) or (bit.speed and len(plainly_different([bit.speed, *turning.tolist()])) == 1):
        return bit
    speeds = plainly_different(turning.tolist())
    if len(speeds) == 1:
        return replace(bit, speed=float(np.median(turning)))
    commonest = max(speeds, key=lambda speed: np.count_nonzero(turning == speed))
    return replace(bit, speed=commonest, speeds=speeds)


def _is_speed_unsaid(bits: Mapping[int, Bit], program: Program | None) -> bool:
    """Return whether something is cut at a speed that neither user nor program nor shelf says."""
    if program is None:
        return bits[0].speed is None
    cut = program.moves.bit[cutting(program.moves, program.tops)]
    return any(bits[number].speed is None for number in np.unique(cut).tolist())


def _said(wanted: Wanted, bit: Bit) -> Bit:
    return Bit(
        bit.name,
        wanted.diameter or bit.diameter,
        wanted.flutes or bit.flutes,
        wanted.speed or bit.speed,
        () if wanted.speed else bit.speeds,
    )


def make_listener(  # noqa: PLR0913 - all but the last are always said
    rate: int,
    program: Program | None,
    wanted: Wanted,
    home: Path,
    warn: Callable[[str], None],
    *,
    microphone: str | None = None,
    past: Iterable[Report] = (),
) -> Listener:
    """
    Return a listener for what the user said.

    Parameters
    ----------
    rate
        Samples per second, Hz.
    program
        The program being cut.
    wanted
        What else the user said.
    home
        The folder of the shelf and the references.
    warn
        Gets a line about trouble that does not end the listening.
    microphone
        The microphone that hears; ``None`` for a recording.
    past
        Line numbers from outside that are known in advance.

    Raises
    ------
    ShelfError, ChipsongError
        When a file that was named is wrong.
    """
    shelf = read_shelf(home / SHELF)
    bits = bits_for(wanted, program, shelf)
    entries = entries_for(wanted, program, shelf)
    references = {}
    for number, entry in entries.items():
        cutter = Cutter.of(bits.get(number, entry.bit))
        heard = Heard(wanted.material or entry.material, microphone, cutter, slowest_of(bits))
        known, why_not = read_book(home, entry.bit.name).reference(heard)
        if known is not None:
            references[number] = known
        elif why_not:
            warn(why_not)
    for remark in speed_remarks(wanted, program, shelf):
        warn(remark)
    if _is_speed_unsaid(bits, program):
        warn(
            "nobody said how fast the spindle turns: half the speed may be taken for it, and a loose bit not "
            "be heard; say --rpm"
        )
    if wanted.lines is not None and program is None:
        warn(
            "nobody said which program is cut: line numbers give an alarm its line, but N words mean "
            "nothing, and there is no restart program; say --program"
        )
    plan = None if program is None else Plan.of(program, bits)
    if plan is not None:
        for note in plan.remarks:
            warn(f"{plan.program.name}: {note}")
    return Listener(
        rate,
        bits,
        _locator(plan, None if wanted.lines is None else past, wanted.ahead, wanted.pace),
        wanted.settings or USUAL,
        references,
        settings_of=settings_of(wanted, entries),
    )


def locator_for(
    program: Program | None,
    bits: Mapping[int, Bit],
    reports: Iterable[Report] | None,
    ahead: int = AHEAD,
    pace: Learned = UNKNOWN,
) -> Locator:
    """
    Return what follows the place, by the program and by line numbers from outside where there are any.

    ``reports`` are those that are known in advance; ``None`` where there is no source of them at all. They
    may be ``ahead`` lines ahead of the cutting. ``pace`` is what is known of the machine.
    """
    return _locator(None if program is None else Plan.of(program, bits), reports, ahead, pace)


def _locator(plan: Plan | None, reports: Iterable[Report] | None, ahead: int, pace: Learned) -> Locator:
    give_back()
    if reports is None:
        return _by_sound(plan, pace)
    fed = FedLocator(_by_sound(plan, pace, ahead), plan, ahead)
    for report in reports:
        fed.report(report)
    return fed


def _by_sound(plan: Plan | None, pace: Learned, ahead: int = AHEAD) -> Locator:
    return Nowhere() if plan is None else SoundLocator(plan, pace, ahead)
