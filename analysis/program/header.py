"""
The head of a program that carries on: what was in force, stated anew, and the way back to the work.

Every group of modes that the program states anywhere is stated, also where it does so only further on, for
the run that was stopped may have got that far; but for path mode and length offset, of which nobody knows
then what they were. Always stated are plane, distance mode, feed mode,
compensation off, cycle off, units, coordinate system, spindle and coolant, for the first motion depends on
them; G98 or G99 wherever a drilling cycle is left. A program that names no coordinate system gets G54, which
the end of a program sets (NISTIR 6556, 3.6.1).

Length offset, path mode and overrides that the program does not state are left as the control has them, and
named in a comment: a G49 could cancel the offset that the change of bit has set, and many small controls know
neither M48 nor G64 and would stop at it. For the same reason a length offset is said after M6 only where the
program itself does so, and a G49 before M6 is not said at all.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis.program.cautions import Checks, cautions, comments
from analysis.program.points import Points, length, number
from analysis.program.state import FURTHER_SYSTEM, INVERSE_TIME, NO_MOTION, PER_MINUTE, Modes, State

_BY_HAND = "the program leaves the spindle to you - switch it on, let it reach its speed, then carry on"
_SPINDLE_OFF = "the program cuts this with the spindle off - see that this is what you want, then carry on"
_NO_SPEED = "the program starts the spindle without a speed - set it as in the first run, then carry on"


@dataclass(frozen=True)
class Approach:
    """
    How to come back to the work.

    Attributes
    ----------
    checks
        What a person is to check first.
    line
        File line from which the original follows.
    safe_z
        mm, height to cross at.
    feed
        mm/min, to come down with.
    spin_up
        P of the wait for the spindle, as it is written.
    points
        How the original writes whole numbers.
    stops
        What the original stopped for since the last M6, which must still be as a person made it then.
    unspun
        The next cut is one for which the program has not started the spindle, or not said how fast it turns.
    starts
        The program starts the spindle for it all the same.
    drills
        A drilling cycle is left.
    percent
        The original opens with ``%``.
    """

    checks: Checks
    line: int
    safe_z: float
    feed: float
    spin_up: str
    points: Points
    stops: Sequence[str]
    unspun: bool
    starts: bool
    drills: bool
    percent: bool


def header(state: State, approach: Approach, rest: Sequence[str]) -> list[str]:
    """
    Return the lines that go before the rest of the program.

    Parameters
    ----------
    state
        What is in force before the resume line.
    approach
        How to come back.
    rest
        The lines that follow; parameters are put back only if these use any.
    """
    lines = ["%"] if approach.percent else []
    lines += comments(cautions(state, approach.checks))
    if any("#" in line for line in rest):
        lines += [f"#{index}={number(value, 9)}" for index, value in sorted(state.parameters.items())]
    lines += modal_words(state, drills=approach.drills)
    lines += _way(state, approach)
    lines += _last_words(state, approach.points)
    lines += comments([f"from here on it is the original, file line {approach.line}"])
    return lines


def modal_words(state: State, *, drills: bool) -> Iterator[str]:
    """Yield the modal groups; nothing moves, and spindle and coolant are off."""
    modes, stated = state.modes, state.stated
    yield f"G94 G{modes.plane // 10} G90 G40 G80"
    yield g_word(modes.units)
    yield system_word(modes)
    if "arc_distance" in stated:
        yield g_word(modes.arc_distance)
    yield from path_words(modes)
    if "return_mode" in stated or drills:
        yield g_word(modes.return_mode)
    if "overrides" in stated:
        yield override_word(modes)
    if state.offset_used:
        yield "G92.1"
    # Said before an M6 alone it tells nothing of the bit that is in: what is in force then M6 has set.
    if modes.length is not None or modes.length_since_change:
        yield length_word(modes)
    yield "M5"
    yield "M9"


def change_words(state: State, safe_z: float, *, offset: int | None) -> Iterator[str]:
    """
    Yield the way up to `safe_z`, mm, and the bit: put in, or at least named, as the program does it.

    ``offset`` is the length offset that was in force before. A machine that measures the bit at M6 sets one
    of its own: only what the program says after M6 is said after it.
    """
    modes, safe = state.modes, length(safe_z / state.modes.scale, 6)
    yield f"G0 Z{safe}"
    if modes.bit_changed:
        if offset != modes.length and not modes.length_since_change:
            yield length_word(modes)
        yield f"T{modes.bit} M6" if modes.bit_named else "M6"
        if modes.length_since_change:
            yield length_word(modes)
        yield f"G0 Z{safe}"
    if modes.selected != (modes.bit if modes.bit_changed else 0):
        yield f"T{modes.selected}"


def spindle_words(modes: Modes, spin_up: str) -> Iterator[str]:
    """Yield speed, direction and the wait."""
    if modes.speed is not None:
        yield f"S{number(modes.speed, 3)}"
    if modes.spindle != 5:
        yield f"M{modes.spindle}"
        yield f"G4 P{spin_up}"


def stop_words(why: Sequence[str]) -> Iterator[str]:
    """Yield a stop, and what it is for; nothing where there is nothing to stop for."""
    if why:
        yield from comments(why)
        yield "M0"


def unspun_words(state: State, *, starts: bool = False) -> Iterator[str]:
    """Yield a stop before what is cut with a spindle that the program has not started, or ``starts``."""
    yield from stop_words([_NO_SPEED if starts else _SPINDLE_OFF if state.spindle_used else _BY_HAND])


def coolant_words(modes: Modes) -> Iterator[str]:
    """Yield what is to run; both are off before."""
    if modes.mist:
        yield "M7"
    if modes.flood:
        yield "M8"


def _way(state: State, approach: Approach) -> Iterator[str]:
    """Yield the way back: up, spindle, wait, across, down at feed."""
    modes, scale = state.modes, state.modes.scale
    x, y, z = (length(value / scale, 6) for value in state.position)
    yield from change_words(state, approach.safe_z, offset=modes.length)
    yield from stop_words(approach.stops)
    yield from spindle_words(modes, approach.spin_up)
    if modes.spindle == 5 and approach.unspun:
        yield from unspun_words(state, starts=approach.starts)
    yield from coolant_words(modes)
    yield f"G0 X{x} Y{y}"
    yield f"G1 Z{z} F{number(approach.feed / scale, 6, point=approach.points.feeds)}"


def _last_words(state: State, points: Points) -> Iterator[str]:
    """Yield what must not be in force before the bit is back: offsets, G91, feed mode, motion word."""
    modes, scale = state.modes, state.modes.scale
    if any(state.offset) or any(state.kept_offset):
        yield from _offsets(state)
    if modes.distance == 910:
        yield "G91"
    if modes.feed_mode != PER_MINUTE:
        yield g_word(modes.feed_mode)
    if modes.feed and modes.feed_mode != INVERSE_TIME:
        yield f"F{number(modes.feed / scale, 6, point=points.feeds)}"
    if modes.motion in (0, NO_MOTION):
        yield g_word(modes.motion)


def _offsets(state: State) -> Iterator[str]:
    """Yield G92 so that the place where the bit stands reads as it did, and G92.2 if it was put aside."""
    in_force = any(state.offset)
    offset = state.offset if in_force else state.kept_offset
    places = zip("XYZ", state.position, offset, strict=True)
    scale = state.modes.scale
    yield "G92 " + " ".join(f"{axis}{length((at - by) / scale, 6)}" for axis, at, by in places)
    if not in_force:
        yield "G92.2"


def system_word(modes: Modes) -> str:
    """Write the coordinate system."""
    return g_word(modes.system) + (f" P{modes.further}" if modes.system == FURTHER_SYSTEM else "")


def path_words(modes: Modes) -> Iterator[str]:
    """Yield the path mode, once the program has said one."""
    if modes.path is not None:
        yield g_word(modes.path) + ("" if modes.tolerance is None else f" P{number(modes.tolerance, 6)}")


def override_word(modes: Modes) -> str:
    """Write whether overrides are heeded."""
    return "M48" if modes.overrides else "M49"


def length_word(modes: Modes) -> str:
    """Write the length offset."""
    return "G49" if modes.length is None else f"G43 H{modes.length}"


def g_word(code: int) -> str:
    """Write a G word, given ten times its number."""
    return f"G{code // 10}" if code % 10 == 0 else f"G{code // 10}.{code % 10}"
