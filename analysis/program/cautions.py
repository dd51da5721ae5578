"""
What a person must check before a bit is taken back to work in the middle of a program, in the order of doing.

Common practice of the trade. The lines become comments at the head of a program, so they hold no sign that
a control could take for something else: brackets, ``;`` and ``%`` end comments or programs, and some small
controls obey ``?``, ``!``, ``~`` and ``$`` wherever they stand. They are short, for some cut long lines off.
"""

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from analysis.program.state import Modes, State
from analysis.program.work import Level

LONGEST = 72
"""Characters of a line of text; with its brackets it stays under 80."""

_LEFT_ALONE = {
    "length": "a length offset G43 or G49",
    "path": "a path mode G61 or G64",
    "overrides": "overrides M48 or M49",
}


@dataclass(frozen=True)
class Checks:
    """
    What the cautions are about.

    Attributes
    ----------
    title
        What this program is.
    bit
        To have in the spindle, in words.
    level
        How high the work is where it begins.
    top_said
        Whether a person said so, and it is not told from the moves.
    safe_z
        Height to go up to first, in words; empty where the program itself begins.
    system_assumed
        Whether nothing before says which coordinate system is meant.
    units_said
        The unit that the caller named because the program does not.
    unread
        M words that nobody here knows, in what is left out.
    waits
        How the waits are meant; empty where none is written.
    more
        Further cautions.
    """

    title: str
    bit: str
    level: Level
    top_said: bool = False
    safe_z: str = ""
    system_assumed: bool = False
    units_said: str = ""
    unread: tuple[str, ...] = ()
    waits: str = ""
    more: tuple[str, ...] = ()


def comments(texts: Iterable[str]) -> list[str]:
    """Return texts as comment lines."""
    return [f"({line})" for text in texts for line in _wrapped(text)]


def cautions_of(text: str) -> list[str]:
    """Return the comments with which a program begins, without their brackets: what a person is to read."""
    said: list[str] = []
    for line in text.splitlines():
        if line.startswith("(") and line.endswith(")"):
            said.append(line[1:-1])
        elif line != "%":
            break
    return said


def cautions(state: State, checks: Checks) -> Iterator[str]:
    """Yield what to check, step by step, and then what to know."""
    yield checks.title
    yield "BEFORE YOU START"
    for number, step in enumerate(_steps(state, checks), 1):
        yield f"{number} - {step}"
    yield "where the manual of your machine says otherwise, the manual is right."
    yield from _to_know(state, checks)


def plain(text: str) -> str:
    """Return text that may stand in a comment: printable ASCII without any sign that a control may obey."""
    kept = "".join(sign if " " <= sign <= "~" and sign not in "();%!?~$" else " " for sign in text)
    return " ".join(kept.split())[:60]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, LONGEST, subsequent_indent="    ", break_on_hyphens=False) or [""]


def _steps(state: State, checks: Checks) -> Iterator[str]:
    yield (
        "stop the spindle and cut its power before a hand goes near the bit. "
        "A feed hold leaves it turning: wait until it stands still."
    )
    yield (
        "make sure that the position is kept. After a power cut, a stalled or pushed axis, or an emergency "
        "stop it is not: find the machine zero, and X0 and Y0 of the work, again."
    )
    yield f"bit to have in: {checks.bit}. Collet clean, dry and tight.{_in_already(state)}"
    yield " ".join(_touch_off(state.modes, checks))
    if checks.safe_z:
        yield (
            f"jog the bit to where nothing, clamps too, stands higher than {checks.safe_z} under it or on "
            f"its way. The first motion is straight along Z to {checks.safe_z}, up or down, at the place "
            "where the bit is, the next straight across. Is something higher, have this written anew with "
            "--safe-z."
        )
    yield "eyes, ears and lungs protected, dust collection on, a hand at the stop."


def _in_already(state: State) -> str:
    """Return by which length the way up goes before M6: it must be that of the bit that is in."""
    modes = state.modes
    if not modes.bit_changed:
        return ""
    if modes.length is None:
        if "length" not in state.stated or modes.length_since_change:
            return ""
        return (
            " The program says no length offset for it: the one that the control has in force must be its "
            "own, for the first motion goes by that."
        )
    name = f"T{modes.bit}" if modes.bit_named else "it"
    return (
        f" Do not leave it to the M6 below: {name} must be in when you start, for the first motion goes by "
        f"its length, offset H{modes.length}. With a longer one in, that leads lower, into the work perhaps."
    )


def _touch_off(modes: Modes, checks: Checks) -> Iterator[str]:
    """Yield how to find Z again, and on which surface if the first one has been cut away."""
    yield "touch off Z again: a bit that was gripped anew sits at another height."
    if modes.length is not None:
        yield f"If its length comes from offset H{modes.length}, measure it anew into that instead."
    if checks.level.doubt:
        yield (
            "Take the same face as the first time, the sheet's top or the spoilboard: the program does not "
            "tell which of them Z0 is. If it is gone, take one whose distance from it you can measure."
        )
    elif checks.level.top == 0:
        yield (
            f"{_face(checks)} top of the sheet: take a spot of it that is whole. If there is none, take "
            "the bare spoilboard beside it and set Z there to minus the thickness that you measure on the "
            "sheet, or lay an untouched piece of the same sheet on it and touch off on that."
        )
    elif checks.level.top > 0:
        yield (
            f"{_face(checks)} spoilboard, below the top: take a spot of that which is not cut, or a whole "
            "spot of the sheet's top and set Z there to the thickness that you measure."
        )
    else:
        yield (
            "Z0 lies above the work: take the same face as the first time. If it is gone, take one whose "
            "distance from it you can measure."
        )


def _face(checks: Checks) -> str:
    """Return that one face is meant; only who touched off the first time knows, unless a person said it."""
    return "Z0 is the" if checks.top_said else "Take the same face as the first time, as it seems the"


def _to_know(state: State, checks: Checks) -> Iterator[str]:
    if checks.waits:
        yield checks.waits
    yield from checks.more
    if checks.system_assumed:
        yield (
            "the program names no coordinate system up to here: G54 is stated below, for the end of a "
            "program sets it, NISTIR 6556 3.6.1. Whoever cut in another one changes that line."
        )
    if checks.units_said:
        yield f"the program does not say its unit: {checks.units_said}, as you said."
    if checks.unread:
        said = f"what is left out holds words that are not known here: {', '.join(checks.unread)}."
        yield f"{said} Do by hand what they did, a clamp or a vacuum say."
    if state.origin_line:
        yield f"G10 on file line {state.origin_line} moved an origin: check that the control still has it."
    if state.offset_used:
        yield "the program uses G92: what the control holds of it is cleared below."
    unsaid = [words for group, words in _LEFT_ALONE.items() if group not in state.stated]
    if unsaid:
        said = f"up to here the program does not state {', '.join(unsaid)}."
        yield f"{said} They stay as the control has them: make them what they were in the first run."
    if not state.modes.speed and state.modes.spindle != 5:
        yield "the program starts the spindle without a speed: set it as in the first run."
