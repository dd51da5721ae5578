"""What a run keeps of its job beside what was heard: the bits that were told, and a copy of the program."""

import shutil
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from analysis.cutting import Bit
from analysis.errors import ChipsongError, ProgramError
from analysis.locate import Plan
from analysis.program import Program, read_file
from monitor.file_names import readable
from monitor.journal import Run
from monitor.saving import replace_file
from monitor.trouble import warn

_FOLDER = "program"


def bits_to_plain(bits: Mapping[int, Bit]) -> dict[str, Any]:
    """Return the bit behind each T number as JSON can say it."""
    return {str(number): asdict(bit) for number, bit in bits.items()}


def bits_of(run: Run) -> dict[int, Bit]:
    """Return the bit behind each T number, and behind 0 the one for all others; empty in runs of old."""
    return {int(number): _bit(told) for number, told in run.meta.get("bits", {}).items()}


def _bit(told: dict[str, Any]) -> Bit:
    """Return a bit of which JSON tells; runs of old do not tell that a program changes its speed."""
    return Bit(**{**told, "speeds": tuple(told.get("speeds", ()))})


def keep_program(folder: Path, name: str, raw: bytes) -> None:
    """
    Keep the program, as it was read, in the folder of a run: its file may change later.

    It is kept whole or not at all, for one that is cut off would be taken for all that was cut. Where that
    fails it is said, and listening goes on.

    Parameters
    ----------
    folder
        The run's.
    name
        What the program's file is called.
    raw
        What is in it.
    """
    half = folder / f"{_FOLDER}.half"
    try:
        replace_file(half / name, raw)
        half.rename(folder / _FOLDER)
    except OSError as error:
        shutil.rmtree(half, ignore_errors=True)
        why = error.strerror
        warn(f"the program cannot be kept with the run ({why}), which will know no parts: make room")


def program_of(run: Run) -> Program | None:
    """Return the program that was cut, as it was then; ``None`` where there was none, or none was kept."""
    try:
        kept = next((run.folder / _FOLDER).iterdir())
        said = run.meta
        return read_file(kept.read_bytes(), readable(kept.name), units=said.get("units"), top=said.get("top"))
    except (OSError, StopIteration, ProgramError):
        return None


def plan_of(run: Run, program: Program) -> Plan | None:
    """Return the plan of a run's program; ``None`` where its bits were not kept, or cut nothing."""
    try:
        return Plan.of(program, bits_of(run))
    except (ChipsongError, KeyError, ValueError):
        return None
