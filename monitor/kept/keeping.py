"""How a run is kept: how much of its sound, and what is written down of its job."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from analysis.errors import JournalError
from analysis.listener import COLUMNS
from analysis.program import Program
from monitor.file_names import readable
from monitor.journal import Around, Journal, Run, home
from monitor.kept.heard import hearing
from monitor.kept.job import bits_to_plain, keep_program
from monitor.kept.pace import pace_to_plain
from monitor.setup import SHELF, Wanted, bits_for, entries_for
from monitor.shelf.bits import read_shelf
from monitor.trouble import warn

SoundKept = Literal["all", "events", "none"]

_GB = 1e9


@dataclass(frozen=True)
class Keep:
    """
    What is kept of a run.

    Attributes
    ----------
    sound
        ``all``, only what is near ``events``, or ``none``.
    budget
        How many GB the sound of all runs may take; the oldest goes first.
    """

    sound: SoundKept = "all"
    budget: float = 20.0

    def told(self, folder: Path) -> str:
        """Return where the run is kept and who may be on it."""
        room = f"the sound of all runs may take {self.budget:g} GB, the oldest goes first"
        voices = f"voices near the microphone are on it too; {room}"
        what = {
            "all": f"; {voices}",
            "events": f", sound only around events; {voices}",
            "none": ", without its sound",
        }
        return f"The run is kept in {folder}{what[self.sound]}."


def now() -> datetime:
    """Return the time on the wall."""
    return datetime.now().astimezone()


def open_journal(  # noqa: PLR0913 - what a run is made of
    title: str,
    wanted: Wanted,
    program: Program | None,
    rate: int,
    keep: Keep,
    *,
    microphone: str | None = None,
) -> Journal | None:
    """
    Begin to keep a run; where that fails it is said, and listening goes on.

    Parameters
    ----------
    title
        What the run is called.
    wanted
        What the user said.
    program
        The program being cut.
    rate
        Samples per second, Hz.
    keep
        How much of it is kept.
    microphone
        The microphone that hears it; ``None`` for a recording.
    """
    try:
        journal = Journal.create(
            home(),
            title,
            {**_about(wanted, program), "microphone": microphone},
            rate=rate,
            columns=COLUMNS,
            keep_sound=keep.sound != "none",
            now=now,
            around=Around() if keep.sound == "events" else None,
            most_bytes=keep.budget * _GB,
        )
    except JournalError as error:
        warn(f"{error}; listening goes on without keeping the run")
        return None
    if wanted.program and program:
        keep_program(journal.folder, wanted.program.name, program.raw)
    return journal


def _about(wanted: Wanted, program: Program | None) -> dict[str, Any]:
    shelf = read_shelf(home() / SHELF)
    entries = entries_for(wanted, program, shelf)
    materials = {number: wanted.material or entry.material for number, entry in entries.items()}
    return {
        "program": readable(wanted.program) if wanted.program else None,
        "bit": wanted.bit,
        "rpm": wanted.speed,
        "flutes": wanted.flutes,
        "diameter": wanted.diameter,
        "units": wanted.units,
        "top": wanted.top,
        "ahead": None if wanted.lines is None else wanted.ahead,
        "bits": bits_to_plain(bits_for(wanted, program, shelf)),
        "shelved": {str(number): entry.bit.name for number, entry in entries.items()},
        "materials": {str(number): name for number, name in materials.items()},
        "pace": pace_to_plain(wanted.pace),
        "hearing": hearing(),
    }


def shelved(run: Run) -> dict[int, str]:
    """Return the names of the bits on the shelf that a run was cut with, by T number."""
    return {int(number): name for number, name in run.meta.get("shelved", {}).items()}


def material_of(run: Run, number: int) -> str | None:
    """Return what a bit cut in a run, by its T number; ``None`` when nobody said."""
    told: str | None = run.meta.get("materials", {}).get(str(number))
    return told
