"""
Words that say how things are to be from here on, and move nothing.

Each function takes the modes in force and returns those that the words put in their place. In which order
they act is decided in `analysis.program.interpreter`.
"""

from analysis.program.carriage import Carriage
from analysis.program.codes import Codes
from analysis.program.moves import Kind
from analysis.program.notes import Notes
from analysis.program.state import FURTHER_SYSTEM, INVERSE_TIME, PER_MINUTE, Modes
from analysis.program.waits import remark
from analysis.program.words import Block, Word

_COPIED = ("plane", "distance", "arc_distance", "return_mode")


def feed_mode_and_units(codes: Codes, block: Block, modes: Modes, notes: Notes) -> Modes:
    """G93, G94, G95, which end the feed in force; G20, G21."""
    if "feed_mode" in codes and codes["feed_mode"][0] != modes.feed_mode:
        modes = modes._replace(feed_mode=codes["feed_mode"][0], feed=None)
    if "units" not in codes:
        return modes
    code, word = codes["units"]
    if code == modes.units:
        return modes._replace(units_stated=True)
    if modes.units_stated and (modes.feed or "F" in block.words):
        text = "units change on the way: F on this line is read in the new unit, an older F stays"
        notes.add(text, block.number, word.column, word.text)
    if modes.cycle:
        raise block.error("units can't change inside a drilling cycle; end it with G80 first", word)
    changed = modes._replace(units=code, units_stated=True)
    if modes.tolerance is not None:
        changed = changed._replace(tolerance=modes.tolerance * modes.scale / changed.scale)
    return changed


def feed(block: Block, modes: Modes) -> Modes:
    """F; in inverse time the feed of one line does not hold for the next."""
    word = block.take("F")
    if word is None:
        return modes._replace(feed=None) if modes.feed_mode == INVERSE_TIME else modes
    if word.value < 0:
        raise block.error(f"{word.text}: a feed can't be negative; correct it", word)
    rate = word.value if modes.feed_mode == INVERSE_TIME else word.value * modes.scale
    return modes if rate == modes.feed else modes._replace(feed=rate)


def speed(block: Block, modes: Modes) -> Modes:
    """S."""
    word = block.take("S")
    if word is None:
        return modes
    if word.value < 0:
        raise block.error(f"{word.text}: a speed can't be negative; M4 turns backwards", word)
    return modes._replace(speed=word.value)


def spindle(said: tuple[int, Word], block: Block, modes: Modes, notes: Notes) -> Modes:
    """M3, M4, M5."""
    code, word = said
    if code != 5 and not modes.speed:
        text = "the spindle starts without a speed: nobody says how fast; its moves say 0 rpm"
        notes.add(text, block.number, word.column, word.text)
    return modes._replace(spindle=code)


def coolant_and_overrides(codes: Codes, modes: Modes) -> Modes:
    """M7, M8, M9; M48, M49."""
    if "off" in codes:
        modes = modes._replace(mist=False, flood=False)
    if "mist" in codes or "flood" in codes:
        modes = modes._replace(mist=modes.mist or "mist" in codes, flood=modes.flood or "flood" in codes)
    if "overrides" in codes:
        modes = modes._replace(overrides=codes["overrides"][0] == 48)
    return modes


def dwell(word: Word, block: Block, modes: Modes, carriage: Carriage) -> None:
    """G4."""
    wait = block.take("P")
    if wait is None or wait.value < 0:
        raise block.error("G4 needs P, the seconds to wait (0 or more); add it", wait or word)
    note_long_wait(wait, block, carriage.notes, at_bottom=False)
    carriage.wait(Kind.DWELL, block, modes, wait.value)


def note_long_wait(wait: Word, block: Block, notes: Notes, *, at_bottom: bool) -> None:
    """Say so, once, where a wait is so long that it is taken as milliseconds."""
    text = remark(wait.value, at_bottom=at_bottom)
    if text:
        notes.once(text, block.number, wait.column, wait.text)


def plane_and_distances(codes: Codes, block: Block, modes: Modes) -> Modes:
    """G17 to G19; G90, G91; G90.1, G91.1; G98, G99."""
    if codes.keys().isdisjoint(_COPIED):
        return modes
    plane = codes["plane"][0] if "plane" in codes else modes.plane
    if plane != modes.plane and modes.cycle:
        raise block.error("the plane can't change inside a drilling cycle; end it with G80 first")
    return modes._replace(
        plane=plane,
        distance=codes["distance"][0] if "distance" in codes else modes.distance,
        arc_distance=codes["arc_distance"][0] if "arc_distance" in codes else modes.arc_distance,
        return_mode=codes["return_mode"][0] if "return_mode" in codes else modes.return_mode,
    )


def length_offset(said: tuple[int, Word], block: Block, modes: Modes, carriage: Carriage) -> Modes:
    """G43, and G49 or H0 for none: Z then stands for another height, which is known once it is stated."""
    code, word = said
    length = _length_number(word, block, modes, carriage.notes) if code == 430 else None
    if not length and modes.length:
        carriage.take_length_off(block.number)
    elif length is not None and (length != modes.length or carriage.changed_at is not None):
        carriage.put_length(block.number)
    return modes._replace(length=length, length_since_change=True)


def _length_number(word: Word, block: Block, modes: Modes, notes: Notes) -> int:
    named = block.take("H")
    if named is None:
        bit = modes.bit if modes.bit_changed else modes.selected
        text = f"G43 without H: taken as H{bit}, the number of the bit"
        notes.add(text, block.number, word.column, word.text)
        return bit
    if named.value != int(named.value) or named.value < 0:
        raise block.error(f"{named.text}: an offset's number is a whole number from 0 up", named)
    return int(named.value)


def system(said: tuple[int, Word], block: Block, modes: Modes, carriage: Carriage) -> Modes:
    """G54 to G59.3, and G54.1 P."""
    code, word = said
    changed = modes._replace(system=code, further=_further(word, block) if code == FURTHER_SYSTEM else 0)
    if changed.system_number == modes.system_number:
        return modes
    why = f"{word.text.upper()} on line {block.number}"
    told = carriage.change_system(modes.system_number, changed.system_number, why)
    if carriage.rows and not told:
        text = "another coordinate system: how far it lies from the one before is not in the program"
        carriage.notes.add(text, block.number, word.column, word.text)
    return changed


def _further(word: Word, block: Block) -> int:
    number = block.take("P")
    if number is None or number.value != int(number.value) or not 1 <= number.value <= 999:
        raise block.error("G54.1 needs P, the number of a system from 1 up; add it", number or word)
    return int(number.value)


def path(code: int, block: Block, modes: Modes) -> Modes:
    """G61, G61.1, G64 with its tolerance P."""
    cycle_wants_it = modes.in_cycle and any(letter in block.words for letter in "XYZ")
    tolerance = block.take("P") if code == 640 and not cycle_wants_it else None
    return modes._replace(path=code, tolerance=None if tolerance is None else tolerance.value)


def after_the_end(modes: Modes) -> Modes:
    """Return what M2 and M30 leave in force (NISTIR 6556, 3.6.1); they also clear the G92 offset."""
    return modes._replace(
        system=540,
        further=0,
        plane=170,
        distance=900,
        feed_mode=PER_MINUTE,
        feed=modes.feed if modes.feed_mode == PER_MINUTE else None,
        overrides=True,
        spindle=5,
        motion=10,
        cycle=None,
        mist=False,
        flood=False,
    )
