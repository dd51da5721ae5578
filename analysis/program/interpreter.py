"""
Line by line through a program, in the order of execution of NISTIR 6556, Table 8.

One deviation: units are set before F is read, so that ``G20 F60`` means inches per minute.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from analysis.program.carriage import AXES, Carriage
from analysis.program.codes import Codes, sort_codes
from analysis.program.drilling import drill
from analysis.program.moves import Kind
from analysis.program.notes import Notes
from analysis.program.places import go_to_machine_place, go_to_reference, probe, set_origin, shift_zero
from analysis.program.plain import PlainLines
from analysis.program.program import UNITS, Units
from analysis.program.state import INVERSE_TIME, NO_MOTION, Modes, State
from analysis.program.subprograms import Calls
from analysis.program.words import Block, Word, parse

LONG_WAIT = 100.0
"""s; a longer dwell was probably meant in milliseconds."""

_NOTHING: Codes = {}
_COPIED = ("plane", "distance", "arc_distance", "return_mode")


class Interpreter:
    """
    Runs a program and collects its moves.

    Parameters
    ----------
    lines
        The program's lines, without line ends.
    skip_slashed
        Whether lines that begin with ``/`` are left out.
    units
        In which the program means its lengths until it says so itself; ``None`` takes mm, with a note.

    Attributes
    ----------
    modes
        In force.
    carriage
        Position and moves so far.
    notes
        Warnings so far.
    bits
        Per T number put into the spindle, the comment found with it.
    """

    def __init__(
        self, lines: Sequence[str], *, skip_slashed: bool = True, units: Units | None = None
    ) -> None:
        self.notes = Notes()
        self.modes = Modes() if units is None else Modes(units=UNITS[units], units_stated=True)
        self.carriage = Carriage(self.notes)
        self.bits: dict[int, str] = {}
        self.selections: list[tuple[int, int]] = []
        self.parameters: dict[int, float] = {}
        self.calls = Calls(lines)
        self.spindle_used = False
        self.stated: set[str] = set()
        self.executed = 0
        self._lines = lines
        self._skip_slashed = skip_slashed
        self._plain = PlainLines(self.carriage)
        self._ended = False
        self._opened = False
        self._comment = ""
        self._bit_comment_for: int | None = None

    def run(self) -> None:
        """Execute the whole program."""
        for _ in self.steps():
            pass

    def steps(self) -> Iterator[int]:
        """Yield the number of each line, from 1, just before it is executed."""
        calls, lines = self.calls, self._lines
        while not self._ended and calls.next < len(lines):
            number = calls.next + 1
            yield number
            calls.next = number
            line = lines[number - 1]
            if self._plain.go(line, number, self.modes):
                self.executed += 1
                self._comment, self._bit_comment_for = "", None
            elif line:
                self._line(line, number)
        self._after_the_end()

    def state(self) -> State:
        """Return all that is in force."""
        carriage = self.carriage
        return State(
            modes=self.modes,
            position=carriage.at,
            doubt=(carriage.doubt[0], carriage.doubt[1], carriage.doubt[2]),
            offset=carriage.offset,
            kept_offset=carriage.kept_offset,
            offset_used=carriage.offset_used,
            offset_doubt=carriage.offset_doubt,
            highest=carriage.highest,
            stated=frozenset(self.stated),
            parameters=dict(self.parameters),
            spindle_used=self.spindle_used,
            origin_line=carriage.origin_line,
            depth=self.calls.depth,
        )

    def _after_the_end(self) -> None:
        rest = range(self.calls.next, len(self._lines))
        unread = [i for i in rest if self._lines[i].strip(" \t%\x1a\0") and not self.calls.defines(i)]
        if self._ended and unread:
            self.notes.add("the program ends before this line; what follows is not run", unread[0] + 1, 1)

    def _line(self, line: str, number: int) -> None:
        block = parse(line, number, self.parameters, self.notes)
        if block.comments:
            self._hear(block)
        if block.percent:
            self._percent()
            return
        if block.deleted:
            self._slashed(block)
            if self._skip_slashed:
                return
        if block.settings:
            self.parameters.update(block.settings)
        if block.g or block.m or block.words:
            self.executed += 1
            self._execute(block)

    def _hear(self, block: Block) -> None:
        """Keep a comment for the bit that it stands beside: on its line, just before, or just after."""
        text = " ".join(text for text in block.comments if text)
        if self._bit_comment_for is not None and text:
            self.bits[self._bit_comment_for] = self.bits[self._bit_comment_for] or text
        if "O" not in block.words:
            self._comment = text or self._comment

    def _percent(self) -> None:
        """The first % opens the program; one after words closes it."""
        self._ended = self.executed > 0 or self._opened
        self._opened = True

    def _slashed(self, block: Block) -> None:
        done = "left out" if self._skip_slashed else "run"
        text = f"a line with / is {done}: whether a control runs it depends on its block-delete switch"
        self.notes.add(text, block.number, 1, "/")

    def _execute(self, block: Block) -> None:
        codes = sort_codes(block, self.notes) if block.g or block.m else _NOTHING
        words = block.words
        before = len(self.carriage.rows)
        plain = not codes or (len(codes) == 1 and "motion" in codes)
        if "O" in words:
            self._program_number(block)
        if not plain:
            self.stated.update(codes)
            self._feed_mode_and_units(codes, block)
        if "F" in words or self.modes.feed_mode == INVERSE_TIME:
            self._set_feed(block)
        if not plain or "S" in words or "T" in words:
            self._spindle_and_bit(codes, block)
        if not plain:
            self._modes(codes, block)
        self._move(codes, block)
        if not plain:
            self._leave(codes, block)
        if words:
            self._left_over(block)
        if len(self.carriage.rows) > before and "change" not in codes:
            self._comment, self._bit_comment_for = "", None

    def _leave(self, codes: Codes, block: Block) -> None:
        """Stop, or carry on elsewhere."""
        if "stop" in codes:
            self._stop(codes["stop"][0], block)
        if "call" in codes:
            self.calls.follow(codes["call"][0], block, self)

    def _program_number(self, block: Block) -> None:
        word = block.words["O"]
        if word.value != int(word.value) or word.value < 0:
            raise block.error(f"{word.text}: a program number is a whole number", word)
        block.take("O")

    # --- words that set modes, in the order of Table 8 -------------------------------------------------

    def _feed_mode_and_units(self, codes: Codes, block: Block) -> None:
        if "feed_mode" in codes and codes["feed_mode"][0] != self.modes.feed_mode:
            self.modes = replace(self.modes, feed_mode=codes["feed_mode"][0], feed=None)
        if "units" in codes:
            self._set_units(codes["units"], block)

    def _set_units(self, said: tuple[int, Word], block: Block) -> None:
        code, word = said
        modes = self.modes
        if code != modes.units and modes.units_stated and (modes.feed or "F" in block.words):
            text = "units change on the way: F on this line is read in the new unit, an older F stays"
            self.notes.add(text, block.number, word.column, word.text)
        if code != modes.units and modes.cycle:
            raise block.error("units can't change inside a drilling cycle; end it with G80 first", word)
        self.modes = replace(modes, units=code, units_stated=True)

    def _set_feed(self, block: Block) -> None:
        word = block.take("F")
        if word is None:
            if self.modes.feed is not None:
                self.modes = replace(self.modes, feed=None)
            return
        if word.value < 0:
            raise block.error(f"{word.text}: a feed can't be negative; correct it", word)
        feed = word.value if self.modes.feed_mode == INVERSE_TIME else word.value * self.modes.scale
        if feed != self.modes.feed:
            self.modes = replace(self.modes, feed=feed)

    def _spindle_and_bit(self, codes: Codes, block: Block) -> None:
        speed, chosen = block.take("S"), block.take("T")
        if speed is not None:
            if speed.value < 0:
                raise block.error(f"{speed.text}: a speed can't be negative; M4 turns backwards", speed)
            self.modes = replace(self.modes, speed=speed.value)
        if chosen is not None:
            self._select(block, chosen)
        if "change" in codes:
            self._change_bit(block)
        if "spindle" in codes:
            self._spindle(codes["spindle"], block)

    def _select(self, block: Block, word: Word) -> None:
        if word.value < 0 or word.value != int(word.value):
            raise block.error(f"{word.text}: a bit's number is a whole number from 0 up", word)
        self.modes = replace(self.modes, selected=int(word.value))
        self.selections.append((len(self.carriage.rows), int(word.value)))
        if not self.modes.bit_changed:
            self._name_bit(int(word.value), block)

    def _change_bit(self, block: Block) -> None:
        bit = self.modes.selected
        self.modes = replace(self.modes, bit=bit, bit_changed=True, spindle=5)
        self._name_bit(bit, block)
        self.carriage.wait(Kind.BIT_CHANGE, block, self.modes)

    def _name_bit(self, bit: int, block: Block) -> None:
        self.bits.setdefault(bit, "")
        text = " ".join(text for text in block.comments if text)
        self.bits[bit] = self.bits[bit] or text or self._comment
        self._comment = ""
        self._bit_comment_for = bit

    def _spindle(self, said: tuple[int, Word], block: Block) -> None:
        code, word = said
        if code != 5:
            self.spindle_used = True
            if not self.modes.speed:
                text = "the spindle starts without a speed: nobody says how fast; its moves say 0 rpm"
                self.notes.add(text, block.number, word.column, word.text)
        self.modes = replace(self.modes, spindle=code)

    def _modes(self, codes: Codes, block: Block) -> None:
        modes = self.modes
        if "off" in codes:
            modes = replace(modes, mist=False, flood=False)
        if "mist" in codes or "flood" in codes:
            modes = replace(modes, mist=modes.mist or "mist" in codes, flood=modes.flood or "flood" in codes)
        if "overrides" in codes:
            modes = replace(modes, overrides=codes["overrides"][0] == 48)
        self.modes = modes
        if "dwell" in codes:
            self._dwell(block, codes["dwell"][1])
        self._copy_modes(codes, block)
        if "length" in codes:
            self._length_offset(codes["length"], block)
        if "system" in codes:
            self._system(codes["system"], block)
        if "path" in codes:
            self._path(codes["path"][0], block)

    def _copy_modes(self, codes: Codes, block: Block) -> None:
        modes = self.modes
        if codes.keys().isdisjoint(_COPIED):
            return
        plane = codes["plane"][0] if "plane" in codes else modes.plane
        if plane != modes.plane and modes.cycle:
            raise block.error("the plane can't change inside a drilling cycle; end it with G80 first")
        self.modes = replace(
            modes,
            plane=plane,
            distance=codes["distance"][0] if "distance" in codes else modes.distance,
            arc_distance=codes["arc_distance"][0] if "arc_distance" in codes else modes.arc_distance,
            return_mode=codes["return_mode"][0] if "return_mode" in codes else modes.return_mode,
        )

    def _dwell(self, block: Block, word: Word) -> None:
        wait = block.take("P")
        if wait is None or wait.value < 0:
            raise block.error("G4 needs P, the seconds to wait (0 or more); add it", wait or word)
        if wait.value >= LONG_WAIT:
            text = f"a wait of {wait.value:g} s: P is read as seconds (NISTIR 6556); were milliseconds meant?"
            self.notes.add(text, block.number, wait.column, wait.text)
        self.carriage.wait(Kind.DWELL, block, self.modes, wait.value)

    def _length_offset(self, said: tuple[int, Word], block: Block) -> None:
        code, word = said
        length: int | None = None
        if code == 430:
            named = block.take("H")
            length = self.modes.selected if named is None else int(named.value)
            if named is None:
                text = f"G43 without H: taken as H{length}, the number of the bit"
                self.notes.add(text, block.number, word.column, word.text)
            elif named.value != int(named.value) or named.value < 0:
                raise block.error(f"{named.text}: an offset's number is a whole number from 0 up", named)
        if length != self.modes.length:
            self.modes = replace(self.modes, length=length)
            self.carriage.lose((2,), f"the length offset changed on line {block.number}", adrift=False)

    def _system(self, said: tuple[int, Word], block: Block) -> None:
        code, word = said
        if code == self.modes.system:
            return
        self.modes = replace(self.modes, system=code)
        if self.carriage.rows:
            text = "another coordinate system: how far it lies from the one before is not in the program"
            self.notes.add(text, block.number, word.column, word.text)
        self.carriage.lose((0, 1, 2), f"{word.text.upper()} on line {block.number}", adrift=False)

    def _path(self, code: int, block: Block) -> None:
        tolerance = block.take("P") if code == 640 and not self._wants_p(block) else None
        self.modes = replace(self.modes, path=code, tolerance=None if tolerance is None else tolerance.value)

    def _wants_p(self, block: Block) -> bool:
        """Whether P on this line could belong to a cycle."""
        return self.modes.in_cycle and any(letter in block.words for letter in AXES)

    # --- motion ----------------------------------------------------------------------------------------

    def _move(self, codes: Codes, block: Block) -> None:
        if "axes_used" in codes:
            self._use_axes(codes, block)
            return
        if "motion" in codes:
            self._set_motion(codes["motion"][0])
        words = block.words
        placed = "X" in words or "Y" in words or "Z" in words
        motion = self.modes.motion
        if "machine" in codes:
            go_to_machine_place(codes["machine"][1], block, self.carriage, self.modes)
        elif motion in (20, 30) and (placed or ("motion" in codes and not words.keys().isdisjoint("IJK"))):
            self._check_units(block)
            target = self.carriage.target(block, self.modes)
            self.carriage.arc(target, block, self.modes, clockwise=motion == 20)
        elif self.modes.in_cycle:
            self._cycle(codes, block, placed=placed)
        elif placed:
            self._straight(motion, block)

    def _set_motion(self, motion: int) -> None:
        if motion != self.modes.motion:
            self.modes = replace(self.modes, motion=motion, cycle=None)

    def _check_units(self, block: Block) -> None:
        if not self.modes.units_stated:
            text = "the program has not said whether it means millimetres (G21) or inches (G20); taken as mm"
            self.notes.once(text, block.number, 1)

    def _straight(self, motion: int, block: Block) -> None:
        self._check_units(block)
        if motion == NO_MOTION:
            raise block.error("a place without a motion word in force: write G0 or G1 first")
        if motion == 382:
            probe(block, self.carriage, self.modes)
            return
        target = self.carriage.target(block, self.modes)
        if motion == 0:
            self.carriage.rapid(target, block, self.modes)
        else:
            self.carriage.feed(target, block, self.modes)

    def _cycle(self, codes: Codes, block: Block, *, placed: bool) -> None:
        if not placed:
            if "motion" in codes or "R" in block.words or "Q" in block.words:
                raise block.error("a drilling cycle without X, Y or Z: say where to drill")
            return
        self._check_units(block)
        self.modes = drill(self.carriage, block, self.modes)

    def _use_axes(self, codes: Codes, block: Block) -> None:
        code, word = codes["axes_used"]
        if "motion" in codes:
            motion = codes["motion"][0]
            if motion not in (0, NO_MOTION) or code not in (280, 300):
                both = f"{codes['motion'][1].text} and {word.text}"
                raise block.error(f"{both} both claim the X, Y and Z of this line; write two lines", word)
            self._set_motion(motion)
        if code in (280, 300):
            go_to_reference(word, block, self.carriage, self.modes)
        elif code == 100:
            set_origin(word, block, self.carriage, self.modes)
        else:
            shift_zero(code, word, block, self.carriage, self.modes)

    # --- the end ---------------------------------------------------------------------------------------

    def _stop(self, code: int, block: Block) -> None:
        if code in (2, 30):
            self._ended = True
        else:
            self.carriage.wait(Kind.PAUSE, block, self.modes)

    def _left_over(self, block: Block) -> None:
        for word in block.words.values():
            if word.letter in "ABCUVW":
                raise block.error(f"{word.text}: only X, Y and Z are followed; take the other axes out", word)
            if word.letter == "E":
                raise block.error(f"{word.text}: E has no meaning here; write numbers without exponent", word)
            text = f"{word.letter} has no meaning on this line and is not read"
            self.notes.add(text, block.number, word.column, word.text)
