"""
The head of a restart program: what was in force, stated anew, and the way back to the work from above.

What the program itself nowhere states (units, coordinate system, length offset, path mode, return mode,
overrides) is left as the control has it and is named in a comment: to state a guess could move the zero.
What it states only further on is stated all the same, for the run that was stopped may have got that far.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis.program.state import INVERSE_TIME, NO_MOTION, PER_MINUTE, Modes, State

_LEFT_ALONE = {
    "units": "G20 or G21",
    "system": "G54 to G59.3",
    "length": "G43 or G49",
    "path": "G61 or G64",
    "return_mode": "G98 or G99",
    "overrides": "M48 or M49",
}


@dataclass(frozen=True)
class Approach:
    """
    How to come back to the work.

    Attributes
    ----------
    name
        Of the program.
    line, word
        Where it carries on: file line and N-word.
    bit_text
        The program's own comment about the bit.
    safe_z
        mm, height to cross at.
    feed
        mm/min, to come down with.
    spin_up
        s to wait for the spindle.
    by_hand
        The program leaves the spindle to a person.
    percent
        The original opens with ``%``.
    """

    name: str
    line: int
    word: int | None
    bit_text: str
    safe_z: float
    feed: float
    spin_up: float
    by_hand: bool
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
    lines += [f"({text})" for text in _cautions(state, approach)]
    if any("#" in line for line in rest):
        lines += [f"#{index}={_number(value, 9)}" for index, value in sorted(state.parameters.items())]
    lines += _modal_words(state)
    lines += _way(state, approach)
    lines += _last_words(state)
    lines.append(f"(from here on it is the original, file line {approach.line})")
    return lines


def _cautions(state: State, approach: Approach) -> Iterator[str]:
    modes = state.modes
    word = "" if approach.word is None else f", N{approach.word}"
    yield f"RESTART of {_plain(approach.name)} from file line {approach.line}{word}"
    yield "BEFORE YOU START"
    yield "cut the power to the spindle before a hand goes near the bit"
    yield "a feed hold leaves the spindle turning - wait until it stands still"
    yield f"bit to have in - {_bit(state, approach)} - collet clean, dry and tight"
    yield "after a power cut, a stalled axis or an emergency stop find the machine zero again"
    yield "a bit that was gripped anew sits at another height - touch off Z again"
    yield "on the same face as the first time - if that face is cut away, on one that you can measure from"
    yield "jog the bit above everything that stands on the table, clamps too"
    safe = _number(approach.safe_z, 3)
    yield f"the first motion is straight along Z to {safe} mm, at the place where the bit is"
    yield "eyes, ears and lungs protected - dust collection on - a hand at the stop"
    yield "where the manual of your machine says otherwise, the manual is right"
    yield "waits - G4 P - are in seconds; a control that reads milliseconds waits too short - check yours"
    if state.origin_line:
        yield f"G10 on file line {state.origin_line} moved an origin - check that the control still has it"
    if state.offset_used:
        yield "the program uses G92 - its offset is cleared and put back below"
    unsaid = [words for group, words in _LEFT_ALONE.items() if group not in state.stated]
    if unsaid:
        yield f"the program never states {', '.join(unsaid)}"
        yield "they stay as the control has them - make them what they were in the first run"
    if not modes.turning and not approach.by_hand and modes.spindle != 5:
        yield "the program starts the spindle without a speed - set it as in the first run"


def _bit(state: State, approach: Approach) -> str:
    modes = state.modes
    number = modes.bit if modes.bit_changed else modes.selected
    text = _plain(approach.bit_text)
    if not number and not text:
        return "the one that the program was cutting with"
    return f"T{number} {text}".strip()


def _modal_words(state: State) -> Iterator[str]:
    """Yield the modal groups; nothing moves yet."""
    modes, stated = state.modes, state.stated
    yield f"G94 G{modes.plane // 10} G90 G40 G80"
    if "units" in stated:
        yield _g(modes.units)
    if "system" in stated:
        yield _g(modes.system)
    if "arc_distance" in stated:
        yield _g(modes.arc_distance)
    if "path" in stated:
        yield _g(modes.path) + ("" if modes.tolerance is None else f" P{_number(modes.tolerance, 6)}")
    if "return_mode" in stated:
        yield _g(modes.return_mode)
    if "overrides" in stated:
        yield "M48" if modes.overrides else "M49"
    if state.offset_used:
        yield "G92.1"
    yield from _length_offset(state)
    yield "M5"
    yield "M9"


def _length_offset(state: State) -> Iterator[str]:
    if "length" in state.stated:
        yield "G49" if state.modes.length is None else f"G43 H{state.modes.length}"


def _way(state: State, approach: Approach) -> Iterator[str]:
    """Yield the way back: up, spindle, wait, across, down at feed."""
    modes, scale = state.modes, state.modes.scale
    x, y, z = (_number(value / scale, 6) for value in state.position)
    safe = _number(approach.safe_z / scale, 6)
    yield f"G0 Z{safe}"
    if modes.bit_changed:
        yield f"T{modes.bit} M6"
        yield from _length_offset(state)
        yield f"G0 Z{safe}"
    if modes.selected != (modes.bit if modes.bit_changed else 0):
        yield f"T{modes.selected}"
    yield from _spindle(modes, approach)
    yield from _coolant(modes)
    yield f"G0 X{x} Y{y}"
    yield f"G1 Z{z} F{_number(approach.feed / scale, 6)}"


def _spindle(modes: Modes, approach: Approach) -> Iterator[str]:
    if modes.speed:
        yield f"S{_number(modes.speed, 3)}"
    if modes.spindle != 5:
        yield f"M{modes.spindle}"
        yield f"G4 P{_number(approach.spin_up, 3)}"
    elif approach.by_hand:
        yield "(the program leaves the spindle to you - switch it on, let it reach its speed, then carry on)"
        yield "M0"


def _coolant(modes: Modes) -> Iterator[str]:
    if modes.mist:
        yield "M7"
    if modes.flood:
        yield "M8"


def _last_words(state: State) -> Iterator[str]:
    """Yield what must not be in force before the bit is back: offsets, G91, feed mode, motion word."""
    modes, scale = state.modes, state.modes.scale
    if any(state.offset) or any(state.kept_offset):
        yield from _offsets(state)
    if modes.distance == 910:
        yield "G91"
    if modes.feed_mode != PER_MINUTE:
        yield _g(modes.feed_mode)
    if modes.feed and modes.feed_mode != INVERSE_TIME:
        yield f"F{_number(modes.feed / scale, 6)}"
    if modes.motion in (0, NO_MOTION):
        yield _g(modes.motion)


def _offsets(state: State) -> Iterator[str]:
    """Yield G92 so that the place where the bit stands reads as it did, and G92.2 if it was put aside."""
    in_force = any(state.offset)
    offset = state.offset if in_force else state.kept_offset
    places = zip("XYZ", state.position, offset, strict=True)
    scale = state.modes.scale
    yield "G92 " + " ".join(f"{axis}{_number((at - by) / scale, 6)}" for axis, at, by in places)
    if not in_force:
        yield "G92.2"


def _g(code: int) -> str:
    """Write a G word, given ten times its number."""
    return f"G{code // 10}" if code % 10 == 0 else f"G{code // 10}.{code % 10}"


def _number(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def _plain(text: str) -> str:
    """Return text that may stand in a comment: printable ASCII without brackets."""
    kept = "".join(sign if " " <= sign <= "~" and sign not in "();%" else " " for sign in text)
    return " ".join(kept.split())[:60]
