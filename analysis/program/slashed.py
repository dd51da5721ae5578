"""Lines that begin with ``/``: whether a control runs them is a matter of its block-delete switch."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import ProgramError
from analysis.program.interpreter import Interpreter
from analysis.program.moves import Moves
from analysis.program.parts import Part, find_parts
from analysis.program.program import Program
from analysis.program.reader import read_again
from analysis.program.rewriting import same_feeds
from analysis.program.state import State
from analysis.program.tracks import Tracks, tracks

# What a restart states anew that may be wrong by the switch: coolant and overrides are only told of.
_MODES = (
    "plane", "units", "distance", "arc_distance", "feed_mode", "system_number", "length", "spindle", "speed",
    "cuts_with", "selected", "motion",
)  # fmt: skip


AS_IN_THE_FIRST_RUN = "set the block-delete switch as in the first run, and see what they say, coolant too."
ALIKE_EITHER_WAY = "these parts are cut alike either way, but see what else they say, coolant too."


def slashed_in_words(program: Program, what_to_do: str) -> tuple[str, ...]:
    """Return what to say, and to do, where a program has lines that begin with ``/``."""
    found = _slashed(program)
    if not found:
        return ()
    done = "left out" if program.skip_slashed else "run"
    named = ", ".join(map(str, found[:3])) + (" and more" if len(found) > 3 else "")
    return (f"lines that begin with a slash, file line {named}, are taken as {done}: {what_to_do}",)


def refuse_what_hangs_on_the_switch(program: Program, line: int, state: State) -> None:
    """
    Raise ProgramError where the block-delete switch decides what is in force before a line.

    Parameters
    ----------
    program
        As read.
    line
        File line before which a restart begins.
    state
        What is in force there with the lines run, or left out, as the program was read.
    """
    # Those further on in the file, too: a subprogram may stand there that was run before.
    found = _slashed(program)
    if found and _differs(state, _with_the_others(program, line)):
        raise ProgramError(
            f"no restart from line {line}: what is in force there depends on the block-delete switch, for "
            f"line {found[0]} begins with a slash; take out the slashes, or these lines, as it was run, and "
            "write it anew"
        )


def refuse_parts_that_hang_on_the_switch(program: Program, wanted: Sequence[Part]) -> None:
    """
    Raise ProgramError where the block-delete switch decides how a part is cut.

    Parameters
    ----------
    program
        As read.
    wanted
        Some of its parts.
    """
    found = _slashed(program)
    other = _read_the_other_way(program) if found else None
    if other is None:
        return
    here, there = _reading(program), _reading(other)
    for part in wanted:
        # Other parts may be cut by the same lines of a subprogram: then they are looked at together.
        lines = np.unique(program.moves.file_line[part.moves])
        if not _same_cuts(here, there, lines):
            raise ProgramError(
                f"no recut of {part.name}: how it is cut depends on the block-delete switch, for line "
                f"{found[0]} begins with a slash; take out the slashes, or these lines, as you want it cut, "
                "and write it anew"
            )


@dataclass(frozen=True)
class _Reading:
    """A program as it is with the switch one way."""

    moves: Moves
    parts: tuple[Part, ...]
    tracks: Tracks

    def cut_by(self, lines: NDArray[np.int32]) -> NDArray[np.intp]:
        """Return the moves of all parts at which some file lines cut."""
        of = self.moves.file_line
        found = [part.moves for part in self.parts if np.isin(of[part.moves], lines).any()]
        return np.sort(np.concatenate([np.zeros(0, dtype=np.intp), *found]))

    def in_force(self, move: int) -> tuple[object, ...]:
        """Return what a move is cut with, and whether its zero is where the control has it."""
        modes, known = self.tracks.at(move), self.tracks
        zero = (modes.system_number, move >= known.zero_lost, move < known.zero_moved, known.end.origin_line)
        return (*zero, modes.length, modes.spindle, modes.cuts_with)


def _reading(program: Program) -> _Reading:
    return _Reading(program.moves, find_parts(program), tracks(program))


def _read_the_other_way(program: Program) -> Program | None:
    """Return what a program is with the switch the other way; ``None`` where it can't be run so."""
    try:
        return read_again(program, skip_slashed=not program.skip_slashed, units=program.units)
    except ProgramError:
        return None


def _same_cuts(here: _Reading, there: _Reading, lines: NDArray[np.int32]) -> bool:
    """Whether both readings cut alike where these lines do, in all that a recut states of it."""
    old, new = here.cut_by(lines), there.cut_by(lines)
    return same_feeds(here.moves, old, there.moves, new) and all(
        here.in_force(i) == there.in_force(j) for i, j in zip(old.tolist(), new.tolist(), strict=True)
    )


def _slashed(program: Program) -> list[int]:
    """Return the file lines that begin with ``/``."""
    return [at for at, text in enumerate(program.lines, 1) if text.lstrip().startswith("/")]


def _with_the_others(program: Program, line: int) -> State | None:
    """Return what would be in force with the switch the other way; ``None`` where it can't be run so."""
    run = Interpreter(
        program.lines,
        skip_slashed=not program.skip_slashed,
        units=program.units,
        chosen_ahead=program.chosen_ahead,
    )
    try:
        for at in run.steps():
            if at == line and run.calls.depth == 0:
                return run.state()
    except ProgramError:
        pass
    return None


def _differs(state: State, other: State | None) -> bool:
    """Whether something that a restart states, or the place where it begins, is another."""
    if other is None:
        return False
    if (state.position, state.offset, state.known) != (other.position, other.offset, other.known):
        return True
    return any(getattr(state.modes, name) != getattr(other.modes, name) for name in _MODES)
