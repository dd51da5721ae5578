"""Between two runs of cutting, or before the first: what changes, said while the bit stands up in the air."""

from collections.abc import Iterator, Sequence

from analysis.program.header import (
    change_words,
    coolant_words,
    length_word,
    modal_words,
    override_word,
    path_words,
    spindle_words,
    stop_words,
    unspun_words,
)
from analysis.program.points import length, number
from analysis.program.state import Modes, State


def opening_words(state: State, *, safe_z: float, spin_up: str, stops: Sequence[str]) -> Iterator[str]:
    """Yield what goes before the first run: all modes, the way up, the bit, the spindle and its wait."""
    yield from modal_words(state, drills=False)
    yield from change_words(state, safe_z, offset=state.modes.length)
    yield from stop_words(stops)
    yield from _start(state, spin_up)


def seam(before: Modes, state: State, *, safe_z: float, spin_up: str, stops: Sequence[str]) -> Iterator[str]:
    """
    Yield what goes between two runs; the bit stands at `safe_z`, mm, before and after.

    Parameters
    ----------
    before
        In force at the end of the run before.
    state
        In force for the run that comes.
    safe_z
        Height to cross at.
    spin_up
        P of the wait, as it is written, whenever the spindle is started or changes its speed.
    stops
        What the original stops for in between.
    """
    modes = state.modes
    another = (before.bit_changed, before.cuts_with) != (modes.bit_changed, modes.cuts_with)
    off = another or bool(stops) or before.spindle != modes.spindle
    if off:
        yield "M5"
        yield "M9"
    if another:
        yield from change_words(state, safe_z, offset=before.length)
        if not modes.bit_changed:
            yield from stop_words([f"put in T{modes.cuts_with}"])
    if before.length != modes.length and not (another and modes.bit_changed):
        yield length_word(modes)
        yield f"G0 Z{length(safe_z / modes.scale, 6)}"
    yield from stop_words(stops)
    yield from _ways(before, modes)
    if off:
        yield from _start(state, spin_up)
        return
    if before.speed != modes.speed:
        yield from spindle_words(modes, spin_up)
    yield from _coolant(before, modes)


def changes(before: Modes, modes: Modes) -> Iterator[str]:
    """Yield what changes from one move of a run to the next."""
    yield from _ways(before, modes)
    if modes.speed not in (before.speed, None):
        yield f"S{number(modes.speed, 3)}"
    yield from _coolant(before, modes)


def _ways(before: Modes, modes: Modes) -> Iterator[str]:
    """Yield path mode and overrides where they change."""
    if (before.path, before.tolerance) != (modes.path, modes.tolerance):
        yield from path_words(modes)
    if before.overrides != modes.overrides:
        yield override_word(modes)


def _coolant(before: Modes, modes: Modes) -> Iterator[str]:
    if (before.mist, before.flood) != (modes.mist, modes.flood):
        yield "M9"
        yield from coolant_words(modes)


def _start(state: State, spin_up: str) -> Iterator[str]:
    """Yield the spindle, its wait, and the coolant."""
    modes = state.modes
    yield from spindle_words(modes, spin_up)
    if modes.spindle == 5:
        yield from unspun_words(state)
    yield from coolant_words(modes)
