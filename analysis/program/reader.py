"""From the text of a program to its moves."""

import codecs
from dataclasses import replace

import numpy as np

from analysis.errors import ProgramError
from analysis.program.interpreter import Interpreter
from analysis.program.moves import Kind, moves_from
from analysis.program.points import mixed
from analysis.program.program import LINE_END, Program, Units
from analysis.program.sheets import sheets_of
from analysis.program.work import cutting, levels, taken_as_air, tops_of, traverses_in_work

NOT_A_PROGRAM = "choose the file that the machine runs: lines of words such as G1 X10 Y20 F1200"


def read(
    text: str,
    name: str = "program",
    *,
    skip_slashed: bool = True,
    units: Units | None = None,
    top: float | None = None,
) -> Program:
    r"""
    Read a program.

    Parameters
    ----------
    text
        With any line ends.
    name
        What to call it.
    skip_slashed
        Leave out the lines that begin with ``/`` (block delete); they are noted either way.
    units
        "mm" or "inch": in which the program means its lengths until it says so itself. ``None`` takes mm,
        with a note where the program does not say.
    top
        Z of the sheet's top, mm, in the coordinates of the program, where somebody said so; else it is told
        from the moves.

    Returns
    -------
    Program

    Raises
    ------
    ProgramError
        If it is no program, does not move, or leaves open how the bit moves.

    Examples
    --------
    >>> program = read("G21 G90\nG0 Z5\nG1 Z-1 F300\nG1 X10\nM2\n")
    >>> len(program.moves), program.top
    (3, 0.0)
    """
    lines = split_lines(text)
    run = Interpreter(lines, skip_slashed=skip_slashed, units=units)
    run.run()
    rows = run.carriage.rows
    if not any(kind in rows.kind for kind in (Kind.RAPID, Kind.CUT, Kind.PECK)):
        raise ProgramError(f"{name} moves nothing: {NOT_A_PROGRAM}")
    moves = moves_from(rows)
    if run.bits.chosen_ahead:
        # Only now is it known that this bit was not in yet.
        moves.bit[run.bits.begin : np.argmax(moves.kind == Kind.BIT_CHANGE)] = run.bits.before
    heights = levels(moves, top)
    tops = tops_of(moves, heights)
    cuts = cutting(moves, tops)
    first_top = float(tops[np.argmax(cuts)])
    for estimated in np.unique(np.append(tops[cuts], first_top)):
        if estimated and top is None:
            run.notes.add(f"zero is not on the work's top, which is estimated at Z{estimated:.3f} mm")
    silent = np.flatnonzero(cuts & ~moves.spun)
    if len(silent):
        text = "it cuts with the spindle stopped; is it switched by hand?"
        run.notes.add(text, int(moves.file_line[silent[0]]), 1)
    for move in traverses_in_work(moves, tops):
        text = "it traverses across below the top of the work: is nothing in the way there?"
        run.notes.add(text, int(moves.file_line[move]), 1)
    whole = mixed(lines)
    if whole is not None:
        run.notes.add(str(whole), whole.line, whole.column, whole.without)
    sheets = sheets_of(moves, tops)
    for move in 1 + np.flatnonzero(np.diff(sheets)):
        text = (
            "it goes the same ways again from here on, or where all is cut or free: taken as cut from "
            "another sheet, from the other side, or beside it"
        )
        run.notes.add(text, int(moves.file_line[move]), 1)
    return Program(
        name=name,
        lines=lines,
        moves=moves,
        top=first_top,
        top_said=top,
        taken_as_air=taken_as_air(moves, heights),
        warnings=run.notes.all(),
        bits={bit: run.bits.names.get(bit, "") for bit in dict.fromkeys(moves.bit.tolist())},
        skip_slashed=skip_slashed,
        units=units,
        zeros=run.carriage.zeros.all(),
        levels=heights,
        sheets=sheets,
        measured_later=frozenset(run.carriage.measured_later),
        breaks_off=run.breaks_off,
        chosen_ahead=run.bits.chosen_ahead,
    )


def read_file(
    raw: bytes, name: str = "program", *, units: Units | None = None, top: float | None = None
) -> Program:
    """
    Read a program from the bytes of its file, and keep these for what is written of it (`read`).

    Raises
    ------
    ProgramError
        As `read` and `decode` do.
    """
    return replace(read(decode(raw), name, units=units, top=top), raw=raw)


def read_again(program: Program, *, skip_slashed: bool, units: Units | None) -> Program:
    """
    Read a program once more, with the block-delete switch or its unit as said, and all else as before.

    Raises
    ------
    ProgramError
        As `read` does: it may have no sense in the other way.
    """
    text, top = "\n".join(program.lines), program.top_said
    again = read(text, program.name, skip_slashed=skip_slashed, units=units, top=top)
    return replace(again, raw=program.raw)


def split_lines(text: str) -> tuple[str, ...]:
    """Return the lines of a text, whatever their ends; no break spaces become blanks."""
    lines = LINE_END.split(text.replace("\xa0", " "))
    return tuple(lines[:-1] if not lines[-1] else lines)


def decode(raw: bytes) -> str:
    """
    Return the text of a file: UTF-16 if its first bytes say so, else UTF-8, else the western code page.

    Raises
    ------
    ProgramError
        If it is no text.
    """
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return raw.decode("utf-16", errors="replace")
    if b"\0" in raw or _share_of_control(raw) > 0.1:
        raise ProgramError(f"this is no text: {NOT_A_PROGRAM}")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def _share_of_control(raw: bytes) -> float:
    control = sum(raw[:65536].count(sign) for sign in range(32) if sign not in b"\t\n\r\f\x1a")
    return control / max(len(raw[:65536]), 1)
