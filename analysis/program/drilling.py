"""
A line of a drilling cycle: which words carry over, and the moves of each of its holes.

R and Z, and Q and P, carry over from line to line of one series (NISTIR 6556, section 3.5.16). In G91 R
counts from where the bit stands and Z from R; a later line without R is followed only where all ways of
reading it agree.
"""

from dataclasses import replace

from analysis.program.carriage import Carriage, feed_rate
from analysis.program.cycles import BACKED_OFF, DWELLS, PECKED, Hole, steps
from analysis.program.moves import Kind, Point, Way
from analysis.program.settings import note_long_wait
from analysis.program.state import CHIP_BREAKING, INVERSE_TIME, Cycle, Modes
from analysis.program.words import Block, Word

MOST_HOLES = 10_000
MOST_PECKS = 10_000


def drill(carriage: Carriage, block: Block, modes: Modes) -> Modes:
    """
    Carry out one line of a cycle.

    Parameters
    ----------
    carriage
        Moved along.
    block
        Its X, Y, Z, R, L, P and Q words are taken out.
    modes
        In force; `modes.cycle` is ``None`` where a series begins.

    Returns
    -------
    Modes
        With what carries over to the next line.

    Raises
    ------
    ProgramError
        If a word is missing, or can't be.
    """
    if modes.feed_mode == INVERSE_TIME:
        raise block.error("a cycle can't run with inverse-time feed (G93); write G94 and F first")
    cycle = _carry_over(carriage, block, modes)
    repeats = _repeats(block)
    normal = modes.axes[2]
    begin = carriage.at
    target = carriage.target(block, modes)
    clear, bottom = _levels(modes, cycle, begin[normal], carriage.offset[normal])
    if bottom > clear:
        raise block.error("the cycle's bottom (Z) lies above its clear level (R); correct one")
    _check_pecks(block, modes, cycle, repeats * (clear - bottom))
    initial = max(cycle.initial, clear)
    hole = Hole(
        code=modes.motion,
        clear=clear,
        bottom=bottom,
        out=initial if modes.return_mode == 980 else clear,
        step=cycle.step or 0.0,
        pause=cycle.pause or 0.0,
    )
    jump = [0.0 if axis == normal else target[axis] - begin[axis] for axis in range(3)]
    if begin[normal] < clear:
        carriage.rapid(_at_level(begin, normal, clear), block, modes)
    for number in range(repeats):
        far = number + 1 if modes.distance == 910 else 1
        _hole(carriage, block, modes, hole, [begin[axis] + far * jump[axis] for axis in range(3)])
    return modes._replace(cycle=replace(cycle, plane=clear, initial=initial))


def _carry_over(carriage: Carriage, block: Block, modes: Modes) -> Cycle:
    """Return the cycle's words: those of this line, else those of the line before."""
    normal = modes.axes[2]
    last = modes.cycle
    clear, step, pause = block.take("R"), block.take("Q"), block.take("P")
    bottom = block.words.pop("XYZ"[normal], None)
    code = f"G{modes.motion // 10}"
    if last is None and (bottom is None or clear is None):
        missing = "Z" if bottom is None else "R"
        raise block.error(f"{code} needs {missing} where its series begins; add it")
    if bottom is None and clear is None and not any(letter in block.words for letter in "XYZ"):
        raise block.error(f"{code} without a place: add X or Y")
    if last is not None and clear is None and modes.distance == 910:
        _check_level(carriage, block, modes, last)
    if modes.motion == CHIP_BREAKING:
        text = f"how far G73 backs off is a setting of the control; taken as {BACKED_OFF} mm"
        carriage.notes.once(text, block.number, 1)
    cycle = Cycle(
        bottom=_length(bottom, modes) if bottom else last.bottom if last else 0.0,
        clear=_length(clear, modes) if clear else last.clear if last else 0.0,
        step=_length(step, modes) if step else last.step if last else None,
        pause=pause.value if pause else last.pause if last else None,
        initial=last.initial if last else carriage.at[normal],
        plane=last.plane if last else 0.0,
    )
    if modes.motion in PECKED and (cycle.step is None or cycle.step <= 0):
        raise block.error(f"{code} needs a step Q greater than 0; add it", step)
    if modes.motion in DWELLS and (cycle.pause is None or cycle.pause < 0):
        raise block.error(f"{code} needs a wait P of 0 seconds or more; add it", pause)
    if pause and modes.motion in DWELLS:
        note_long_wait(pause, block, carriage.notes, at_bottom=True)
    return cycle


def _check_level(carriage: Carriage, block: Block, modes: Modes, last: Cycle) -> None:
    level = carriage.at[modes.axes[2]] + last.clear
    if abs(level - last.plane) > 1e-6:
        message = "in G91 this line could mean the old clear level or a new one; write R on it, or use G90"
        raise block.error(message)


def _length(word: Word, modes: Modes) -> float:
    return word.value * modes.scale


def _levels(modes: Modes, cycle: Cycle, here: float, offset: float) -> tuple[float, float]:
    """Return the clear level and the bottom, mm, in the coordinates of the moves."""
    if modes.distance == 910:
        return here + cycle.clear, here + cycle.clear + cycle.bottom
    return cycle.clear + offset, cycle.bottom + offset


def _repeats(block: Block) -> int:
    count = block.take("K")
    if count is not None and count.value != 1:
        raise block.error(f"{count.text}: some controls take K as how often to drill; write L", count)
    word = block.take("L")
    if word is None:
        return 1
    if word.value != int(word.value) or not 1 <= word.value <= MOST_HOLES:
        raise block.error(f"{word.text}: repeat a cycle 1 to {MOST_HOLES} times", word)
    return int(word.value)


def _check_pecks(block: Block, modes: Modes, cycle: Cycle, depth: float) -> None:
    if modes.motion in PECKED and cycle.step and depth / cycle.step > MOST_PECKS:
        raise block.error(f"Q makes more than {MOST_PECKS} steps on one line; make it larger")


def _hole(carriage: Carriage, block: Block, modes: Modes, hole: Hole, place: list[float]) -> None:
    """Go to a place at the level where the bit stands, down to R, and drill."""
    normal = modes.axes[2]
    place[normal] = carriage.at[normal]
    carriage.rapid((place[0], place[1], place[2]), block, modes)
    carriage.rapid(_at_level(carriage.at, normal, hole.clear), block, modes)
    for step in steps(hole):
        end = _at_level(carriage.at, normal, step.level)
        if step.kind in (Kind.DWELL, Kind.PAUSE):
            carriage.wait(step.kind, block, modes, step.seconds)
        elif step.kind == Kind.RAPID:
            carriage.rapid(end, block, modes)
        elif end != carriage.at:
            rate, _ = feed_rate(block, modes, 0.0)
            carriage.add(step.kind, end, block, modes, Way(feed=rate))


def _at_level(point: Point, normal: int, level: float) -> Point:
    moved = list(point)
    moved[normal] = level
    return moved[0], moved[1], moved[2]
