"""A program that has been read."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Moves
from analysis.program.notes import Note
from analysis.program.words import name_of
from analysis.program.work import Level, clears_of, tops_of
from analysis.program.zeros import Zero

Units: TypeAlias = Literal["mm", "inch"]

UNITS: dict[Units, int] = {"mm": 210, "inch": 200}
"""Ten times the number of the G word that says so."""

LINE_END = re.compile(r"\r\n|\n|\r")
"""How a line of a program may end."""


@dataclass(frozen=True, eq=False)
class Program:
    """
    A program: its text, its moves and what is odd about it.

    Attributes
    ----------
    name
        What the caller calls it.
    lines
        The text, line by line, without line ends; file line 1 is `lines[0]`.
    moves
        What the machine does.
    top
        Z of the work's top, mm (see `analysis.program.work.levels`), in the coordinate system in which
        it is cut first. Whoever looks at moves goes by `tops`.
    warnings
        What was not understood or had to be assumed.
    bits
        Per T number, the comment found near the bit change, or "".
    skip_slashed
        Whether lines that begin with ``/`` were left out.
    units
        In which the program was taken to mean its lengths where it does not say; ``None`` when nobody said.
    zeros
        Per coordinate system (see `Moves.system`), where its zero lies, as far as the program says.
    raw
        Its file, byte by byte; empty where it was read from a text.
    levels
        Per coordinate system that moves name, how high the work is in it; where none is named, `top`.
    sheets
        (n,) which sheet each move is cut from, counted from 0 (`analysis.program.sheets`); empty for one.
    top_said
        Z of the work's top, mm, as somebody said; ``None`` where it is told from the moves.
    taken_as_air
        The moves that feed across above `top` as if in the work, where the top is in doubt.
    measured_later
        The moves that change a bit for which the program states a length offset only after them (G43).
    chosen_ahead
        Which T word, counted from 1, only says what the first M6 will put in, moves later; 0 for none.
    breaks_off
        Whether its end seems to be missing.
    """

    name: str
    lines: tuple[str, ...]
    moves: Moves
    top: float
    warnings: tuple[Note, ...]
    bits: dict[int, str]
    skip_slashed: bool = True
    units: Units | None = None
    zeros: dict[int, Zero] = field(default_factory=dict)
    raw: bytes = b""
    levels: Mapping[int, Level] = field(default_factory=dict)
    sheets: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    measured_later: frozenset[int] = frozenset()
    top_said: float | None = None
    taken_as_air: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    breaks_off: bool = False
    chosen_ahead: int = 0

    def word_of(self, line: int) -> int | None:
        """Return the N-word of a line of the file, counted from 1; ``None`` where it has none."""
        return name_of(self.lines[line - 1])

    def level(self, system: int) -> Level:
        """Return how high the work is in a coordinate system (see `Moves.system`)."""
        return self.levels.get(system) or Level(self.top, -np.inf)

    @property
    def doubts(self) -> tuple[str, ...]:
        """Why the work's top may lie elsewhere, and what to do about it; empty where it is told."""
        found = dict.fromkeys(level.doubt for level in self.levels.values() if level.doubt)
        return tuple(
            f"{doubt}: if Z0 is the spoilboard, say where the top is with --top, and --top 0 if it is the top"
            for doubt in found
        )

    @cached_property
    def tops(self) -> NDArray[np.float64]:
        """Z of the work's top for each move, mm, shape (n,): that of its own coordinate system."""
        return tops_of(self.moves, self._levels())

    @cached_property
    def clears(self) -> NDArray[np.float64]:
        """Z from which on the bit is surely above the work in each move, mm, shape (n,)."""
        return clears_of(self.moves, self._levels())

    def _levels(self) -> dict[int, Level]:
        return {system: self.level(system) for system in np.unique(self.moves.system).tolist()}
