"""What the person at the machine reads."""

import re
from collections.abc import Iterator
from typing import NamedTuple

from analysis.events import (
    Alarm,
    Cause,
    Checked,
    Deaf,
    Event,
    Heard,
    PartVerdict,
    Place,
    ResumeLine,
    StateChange,
    Summary,
)
from analysis.program import Program

CAUTIONS = (
    "Never leave a running machine unattended. It can start a fire, and chipsong is no safety device.",
    "A feed hold does not stop the spindle.",
    "Isolate the power before you touch the bit. Wear eye, ear and dust protection.",
    "Follow the machine maker's manual and your local codes; they outweigh anything said here.",
)


UNKNOWN_SPINDLE = "nothing is known of the spindle"
"""What there is to say of it while nobody listens: what was heard last may be over."""


class _Steps(NamedTuple):
    """What is to be done that differs by cause; each in full, in a line of 72 columns, and short."""

    stop: tuple[str, str] = (
        "Stop the cut, then the spindle; let it stand still. Smoke? Put it out.",
        "Stop the cut and spindle. Put out fire.",
    )
    look: tuple[str, str] = (
        "Look at bit, collet and nut: worn, dirty, burnt, moved?",
        "Look at bit, collet and nut.",
    )
    mend: tuple[str, str] = (
        "Clean bit and collet, seat the bit as the collet's maker says, tighten.",
        "Clean, seat, tighten.",
    )


_STEPS: dict[Cause, _Steps] = {
    "chatter": _Steps(
        look=(
            "Look at bit, collet, nut and clamps: blunt, loose, moved?",
            "Look at bit, collet, nut, clamps.",
        ),
        mend=(
            "Tighten what is loose. If all is firm, change depth, speed or feed.",
            "Tighten; else change depth or feed.",
        ),
    ),
    "broken": _Steps(
        look=(
            "Look for every piece that broke off: in the work, the slot, the collet.",
            "Look at the bit; find the pieces.",
        ),
        mend=(
            "Put in a whole bit: clean, seat as the collet's maker says, tighten.",
            "Whole bit: clean, seat, tighten.",
        ),
    ),
    "stalled": _Steps(
        look=(
            "Look: is the bit whole and in its collet? Did an axis stay behind?",
            "Look at the bit and at each axis.",
        ),
        mend=(
            "Mend what you found. A bit that moved or broke: clean, seat, tighten.",
            "Mend it; clean, seat, tighten.",
        ),
    ),
    "spindle": _Steps(
        stop=(
            "Stop the feed. Switch the spindle off: it may start again by itself.",
            "Stop the feed, switch the spindle off.",
        ),
        look=(
            "What stopped it: too deep a cut, drive, fuse, heat? Is the bit hurt?",
            "What stopped it? Look at the bit.",
        ),
        mend=(
            "Mend what stopped it; change a bit that was hurt. Clean, seat, tighten.",
            "Mend it; clean, seat, tighten.",
        ),
    ),
}

_AS_FOR_LOOSE = _Steps()

_LAST_STEPS = (
    (
        "Is the position kept? If not, find the zero of X and Y again.",
        "Is the position kept? Else find zero.",
    ),
    (
        "Touch off Z again, on the same face as before, on a whole spot.",
        "Touch off Z again, on a whole spot.",
    ),
    (
        "Carry on with the restart program, if any, a hand at the stop.",
        "Carry on, one hand at the stop.",
    ),
)


TIGHTENED = "Tightened, carry on"
"""What stands on the page's button that says so."""


def steps_after(cause: Cause, *, short: bool = False, press: str = "") -> tuple[str, ...]:
    """
    Return what to do after an alarm, in order.

    Parameters
    ----------
    cause
        Of the alarm.
    short
        Whether it is for a small window.
    press
        How to say that the bit was tightened, a sentence, where it can be said: that comes before the last
        step, or the first seconds of cutting are not checked.
    """
    which = _STEPS.get(cause, _AS_FOR_LOOSE)
    isolate = ("Isolate the spindle's power.",) * 2
    steps = (which.stop, isolate, which.look, which.mend, *_LAST_STEPS)
    *others, last = (step[short] for step in steps)
    return *others, f"{press} {last}".strip()


_NEXT = {
    "settle": "When a cut begins stay with it: nothing is compared now.",
    "learn": "Watch this cut yourself: a bit that is loose now is mostly taken for normal.",
    "listen": "Stay within reach of the stop.",
    "uneasy": "Look at the bit and the cut, one hand at the stop.",
    "alarm": "Stop the cut, then the spindle.",
    "deaf": "Watch the cut yourself, or stop it: nobody listens.",
}


_MICROPHONE = " Then see to the microphone."


_CHECKING = (
    "Carry on, by the restart program if there is one, one hand at the stop: the first seconds of cutting "
    "are checked."
)


_NOT_COMPARED = "Watch this cut yourself: nothing can be compared now."


_DOUBTED = "Stop, and look at bit, collet and nut before you go on."


def next_text(
    state: str,
    *,
    cuts: bool = False,
    checking: bool = False,
    doubted: bool = False,
    mute: bool = False,
) -> str:
    """
    Return what to do next in a state of the watcher.

    Parameters
    ----------
    state
        Which.
    cuts
        Whether a cut is heard.
    checking
        Whether the bit was tightened, and that has not been checked yet.
    doubted
        Whether what was last found speaks against the bit.
    mute
        Whether nobody listens because nothing usable comes from the microphone, and not because the computer
        is behind or the listening hangs or is over.
    """
    not_compared = state == "settle" and cuts
    if checking and state in ("settle", "learn") and not not_compared:
        return _CHECKING
    if doubted and state in ("settle", "learn", "listen", "uneasy"):
        return _DOUBTED
    return _NOT_COMPARED if not_compared else _NEXT[state] + (_MICROPHONE if mute else "")


def clock(seconds: float) -> str:
    """Return a time as 1:23:45 or 3:45."""
    whole = int(seconds)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def how_long(seconds: float) -> str:
    """Return how long something lasts as 1:23:45 or 3:45, rounded as in the report, unlike a clock."""
    return clock(round(seconds))


def moment_of(said: str) -> float | None:
    """Return 1:23:45, 3:45 or 225.5 in s; ``None`` when it is none of them."""
    found = re.fullmatch(r"(?:(?:(\d{1,3}):)?(\d{1,3}):)?(\d{1,6}(?:\.\d+)?)", said.strip(), re.ASCII)
    if found is None:
        return None
    hours, minutes, seconds = (float(piece or 0) for piece in found.groups())
    return 3600.0 * hours + 60.0 * minutes + seconds


def count(alarms: int) -> str:
    """Return how many alarms there were, in words."""
    return {0: "no alarm", 1: "one alarm"}.get(alarms, f"{alarms} alarms")


def some(number: int, what: str) -> str:
    """Return how many there are of what is called so where it is one."""
    return f"{number} {what}{'' if number == 1 else 's'}"


def place(where: Place | ResumeLine) -> str:
    """Return a line of the program in words: its number in the file, and its N-word."""
    return f"line {where.file}" + (f" (N{where.word})" if where.word is not None else "")


def line_of(program: Program, line: int) -> ResumeLine:
    """Return a line of a program's file with its N-word."""
    return ResumeLine(line, program.word_of(line))


def marked_text(line: ResumeLine, before: Place | None) -> str:
    """Return what was made of a line that a person marked; ``before`` is where the cut was thought to be."""
    said = f"You said that {place(line)} is being cut."
    if before is None or before.first <= line.file <= before.last:
        return said
    return f"{said} Until then it was taken for {place(before)}: say it again if that is wrong."


def carries_on_text(line: ResumeLine | None) -> str:
    """Return for which line the first cut after a bit was tightened is taken."""
    if line is None:
        return "No line to carry on from is known. If you begin elsewhere than it stopped, mark it before."
    return f"The next cut is taken for the one at {place(line)}. If you begin elsewhere, mark it before."


def is_urgent(event: Event) -> bool:
    """Return whether the person at the machine has to look up."""
    return isinstance(event, Alarm | Deaf) or (isinstance(event, Checked) and event.accuses)


def event_text(event: Event) -> str:
    """Return an event in words, for a plain terminal."""
    match event:
        case StateChange(at, state, because):
            return f"{clock(at):>8}  {state.upper():8} {because}"
        case Alarm():
            return _alarm(event)
        case Deaf(at, because):
            return f"{clock(at):>8}  NOT HEARING: {because}"
        case Heard(at, because):
            return f"{clock(at):>8}  hearing again: {because}"
        case Checked():
            return _checked(event)
        case Summary():
            return _summary(event)


_AGAINST = {
    "before": "the good sound from before",
    "reference": "this bit's cuts that were accepted",
    "physics": "what a tight bit can have",
}
_FOUND = {
    "tight": "THE BIT SOUNDS TIGHT",
    "doubtful": "IN DOUBT - look at the bit before you go on",
    "loose": "THE BIT SOUNDS LOOSE",
}


# Beside cuts of other runs a doubt is mostly a tight bit in another cut, and it is compared on.
_UNSURE = "IN DOUBT - neither plainly tight nor plainly loose: it goes on being compared"


def found(checked: Checked) -> str:
    """Return what was found of the bit, in words."""
    unsure = checked.verdict == "doubtful" and not checked.accuses
    return _UNSURE if unsure else _FOUND[checked.verdict]


def found_text(checked: Checked) -> str:
    """Return what was found of the bit, and against what, in words."""
    return f"{found(checked)} (beside {_AGAINST[checked.against]})"


def _checked(checked: Checked) -> str:
    said = f"{clock(checked.at):>8}  CHECKED  {found_text(checked)}"
    return "\n".join([said, *(f"          - {sentence}" for sentence in checked.because)])


def _alarm(alarm: Alarm) -> str:
    began = f"It began at {clock(alarm.onset)} ({alarm.onset:.1f} s), {alarm.at - alarm.onset:.1f} s"
    lines = [
        "",
        f"{clock(alarm.at):>8}  *** ALARM: {CAUSES[alarm.cause]} ({100 * alarm.confidence:.0f} % sure)",
        f"          {began} before it was certain.",
        *(f"          - {sentence}" for sentence in alarm.because),
        *(f"          {sentence}" for sentence in first_of_all(alarm)),
    ]
    if alarm.line is not None:
        span = f"between line {alarm.line.first} and line {alarm.line.last}"
        lines.append(f"          It was most likely cutting {place(alarm.line)}, {span}.")
    if alarm.resume is not None:
        above, *early = why_there(alarm)
        lines.append(f"          Carry on from {place(alarm.resume)}: {above}")
        lines.extend(f"          {sentence}" for sentence in early)
    if alarm.line is None:
        lines.append("          The place is unknown, and so is the line to carry on from: look at the work.")
    return "\n".join([*lines, ""])


CAUSES: dict[Cause, str] = {
    "loose": "THE BIT MAY BE LOOSE",
    "chatter": "THE CUT CHATTERS",
    "broken": "THE BIT MAY BE BROKEN",
    "dull": "THE BIT MAY BE DULL",
    "stalled": "NOTHING IS BEING CUT",
    "spindle": "THE SPINDLE MAY HAVE STOPPED",
    "unknown": "THE SOUND OF THE CUT CHANGED",
}


_FIRST_OF_ALL: dict[Cause, str] = {
    "chatter": "Less depth, another speed or another feed may end it.",
    "broken": "Is the bit whole? Find what broke off before you put in another one.",
    "stalled": "If it is you who holds the feed, nothing is wrong.",
    "spindle": "Stop the feed at once: the bit is dragged through the work.",
}


def first_of_all(alarm: Alarm) -> tuple[str, ...]:
    """Return what the cause asks for before all that is to be done after any alarm, if there is anything."""
    return tuple(said for cause, said in _FIRST_OF_ALL.items() if cause == alarm.cause)


def why_there(alarm: Alarm) -> tuple[str, ...]:
    """Return why the restart lies where it does; the second sentence, if it lies early on purpose, why so."""
    above = "the bit stood above the work there."
    if alarm.cause != "loose":
        return (above,)
    good = clock(max(alarm.last_good, 0.0))
    return above, f"What this bit cut after {good} is cut again: one that works loose slowly is heard late."


def _summary(summary: Summary) -> str:
    heard = f"Heard {how_long(summary.heard_s)} of {how_long(summary.at)}"
    heard += f", {how_long(summary.cut_s)} of it cutting."
    lines = ["", f"End of the run: {count(summary.alarms)}. {heard}"]
    lines.extend(_compared(summary))
    if summary.lines_seen:
        lines.append(f"Lines of the program followed: {summary.lines_seen}.")
    lines.extend(part_text(part) for part in summary.parts)
    return "\n".join(lines)


def _compared(summary: Summary) -> Iterator[str]:
    """Yield how much of the cutting was compared: where nothing was, no alarm means nothing."""
    if summary.cut_s == 0.0:
        yield "No cut was heard, so nothing could be compared."
    elif summary.compared_s is not None:
        yield f"Compared with what is normal: {how_long(summary.compared_s)} of the cutting."
        if summary.compared_s < summary.cut_s / 2.0:
            yield "That is less than half: where nothing is compared, a loose bit is not heard."


VERDICTS = {
    "good": "good",
    "suspect": "SUSPECT - measure it, or cut it again",
    "unheard": "unheard - nobody listened to all of it",
}


def part_text(part: PartVerdict) -> str:
    """Return a part's verdict in words."""
    return f"  {part.name:10} lines {part.first} to {part.last}: {VERDICTS[part.verdict]}"


def what_to_do(cause: Cause, press: str = "") -> str:
    """Return what to do after an alarm, in order, with the cautions; ``press`` as for `steps_after`."""
    steps = [f"  {number}. {step}" for number, step in enumerate(steps_after(cause, press=press), 1)]
    return "\n".join(["What to do now:", *steps, *(f"  ! {caution}" for caution in CAUTIONS)])
