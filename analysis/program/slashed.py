"""Lines that begin with ``/``: whether a control runs them is a matter of its block-delete switch."""

from analysis.errors import ProgramError
from analysis.program.interpreter import Interpreter
from analysis.program.program import Program
from analysis.program.state import State

# What a restart states anew that may be wrong by the switch: coolant and overrides are only told of.
_MODES = (
    "plane", "units", "distance", "arc_distance", "feed_mode", "system_number", "length", "spindle", "speed",
    "cuts_with", "motion",
)  # fmt: skip


def slashed_in_words(program: Program) -> tuple[str, ...]:
    """Return what to say where a program has lines that begin with ``/``."""
    found = _slashed(program)
    if not found:
        return ()
    done = "left out" if program.skip_slashed else "run"
    named = ", ".join(map(str, found[:3])) + (" and more" if len(found) > 3 else "")
    said = f"lines that begin with a slash, file line {named}, are taken as {done}: set the block-delete"
    return (f"{said} switch as in the first run, and see what they say, coolant too.",)


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


def _slashed(program: Program) -> list[int]:
    """Return the file lines that begin with ``/``."""
    return [at for at, text in enumerate(program.lines, 1) if text.lstrip().startswith("/")]


def _with_the_others(program: Program, line: int) -> State | None:
    """Return what would be in force with the switch the other way; ``None`` where it can't be run so."""
    run = Interpreter(program.lines, skip_slashed=not program.skip_slashed, units=program.units)
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
