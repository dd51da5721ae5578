"""
Words about where zero is, and motions to places that only the machine knows.

G10 and the G92 family change what a place is called. G28, G30, G53 and a probe take the bit to a place that
is not in the program; from there on it is adrift until the program states where it goes.
"""

from analysis.program.carriage import AXES, Carriage, Origin
from analysis.program.moves import Kind, Way
from analysis.program.state import SYSTEMS, Modes
from analysis.program.words import Block, Word


def go_to_reference(word: Word, block: Block, carriage: Carriage, modes: Modes) -> None:
    """
    G28, G30: through the place given, to a place that only the machine knows.

    The standard takes all axes there, many controls only those named: none is known after it.
    """
    axes = tuple(i for i, letter in enumerate(AXES) if letter in block.words) or (0, 1, 2)
    carriage.rapid(carriage.target(block, modes, homing=True), block, modes)
    _go_home(axes, word, block, carriage, modes)
    carriage.lose((0, 1, 2), _home(word, block), adrift=True)


def go_to_machine_place(word: Word, block: Block, carriage: Carriage, modes: Modes) -> None:
    """G53: a place in the machine's own coordinates, which lie who knows where; without a place nothing."""
    if not any(letter in block.words for letter in AXES):
        text = "G53 without X, Y or Z moves nothing and is read over"
        carriage.notes.add(text, block.number, word.column, word.text)
        return
    if modes.motion not in (0, 10):
        raise block.error("G53 needs G0 or G1 in force; write G0 G53", word)
    if modes.distance == 910:
        raise block.error("G53 names a place, so it needs G90; write G90 G53", word)
    axes = tuple(i for i, letter in enumerate(AXES) if block.take(letter) is not None)
    _go_home(axes, word, block, carriage, modes)


def _go_home(axes: tuple[int, ...], word: Word, block: Block, carriage: Carriage, modes: Modes) -> None:
    carriage.notes.add("how far this goes is not in the program", block.number, word.column, word.text)
    carriage.go_home(axes, _home(word, block), block, modes)


def _home(word: Word, block: Block) -> str:
    return f"{word.text.upper()} on line {block.number} goes to a place that only the machine knows"


def probe(block: Block, carriage: Carriage, modes: Modes) -> None:
    """A probing move ends where the probe touches: nobody knows where."""
    axes = tuple(i for i, letter in enumerate(AXES) if letter in block.words)
    begin = carriage.at
    far = carriage.target(block, modes)
    if not modes.feed:
        raise block.error("a probing move without F: add a feed rate greater than 0")
    way = sum((b - a) ** 2 for a, b in zip(begin, far, strict=True)) ** 0.5
    most = Way(seconds=60.0 * way / modes.feed, probes=True)
    carriage.add(Kind.DWELL, begin, block, modes, most)
    carriage.lose(axes, f"a probe decides it on line {block.number}", adrift=True)


def shift_zero(code: int, word: Word, block: Block, carriage: Carriage, modes: Modes) -> None:
    """The G92 family."""
    if modes.cycle:
        raise block.error("an offset can't change inside a drilling cycle; end it with G80 first", word)
    carriage.offset_used = True
    carriage.offset_set = carriage.offset_set or code in (920, 923)
    why = f"{word.text.upper()} on line {block.number} sets the zero at a place that is not in the program"
    if code == 920:
        axes = [(axis, block.take(letter)) for axis, letter in enumerate(AXES)]
        if not any(said for _, said in axes):
            raise block.error("G92 without X, Y or Z: say which place this is", word)
        for axis, said in axes:
            if said is not None:
                carriage.shift(axis, said.value * modes.scale, why)
        carriage.kept_offset = carriage.offset
        carriage.offset_said = True
        return
    if code == 923 and not carriage.offset_said:
        carriage.offset_doubt = carriage.offset_doubt or f"{why}: the control kept it from before"
    if code == 922:
        carriage.kept_offset = carriage.offset if any(carriage.offset) else carriage.kept_offset
    elif code == 921:
        carriage.kept_offset = (0.0, 0.0, 0.0)
        carriage.offset_said = True
    carriage.offset = carriage.kept_offset if code == 923 else (0.0, 0.0, 0.0)
    if carriage.offset_doubt:
        carriage.lose((0, 1, 2), why, adrift=False)


def set_origin(word: Word, block: Block, carriage: Carriage, modes: Modes) -> None:
    """G10: the control remembers another origin, or another length, from here on."""
    way, system = block.take("L"), block.take("P")
    if way is None or way.value not in (1, 2, 20):
        raise block.error("G10 is followed with L1, L2 or L20 only; write one of them", way or word)
    if way.value == 1:
        raise block.error("G10 L1 sets a bit's length, and with it every depth; set it at the control", way)
    if "R" in block.words:
        raise block.error("G10 with R turns the axes, which is not followed", block.words["R"])
    if system is None or system.value != int(system.value) or not 0 <= system.value <= len(SYSTEMS):
        raise block.error("G10 needs P, the number of a coordinate system from 1 to 9", system or word)
    said = [(i, block.take(letter)) for i, letter in enumerate(AXES)]
    text = "the control remembers this origin, also when the run is over"
    carriage.notes.add(text, block.number, word.column, word.text)
    in_force = modes.system_number
    number = int(system.value) or in_force
    z_alone = way.value == 20 and [i for i, place in said if place is not None] == [2]
    carriage.origins.append(Origin(block.number, number, z_alone))
    why = f"G10 on line {block.number} moved the origin"
    for axis, place in said:
        if place is None:
            continue
        if way.value == 20:
            carriage.read_as(axis, place.value * modes.scale, number, in_force)
        else:
            # With G91 some controls add to the old origin, others do not.
            known = place.value * modes.scale if modes.distance == 900 else None
            carriage.put_zero(axis, known, number, in_force, why)
