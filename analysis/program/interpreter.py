"""
Line by line through a program, in the order of execution of NISTIR 6556, Table 8.

One deviation: units are set before F is read, so that ``G20 F60`` means inches per minute.
"""

from collections.abc import Iterator, Sequence

from analysis.program import settings
from analysis.program.bits import Bits
from analysis.program.carriage import CENTRES, Carriage
from analysis.program.codes import Codes, sort_codes
from analysis.program.drilling import drill
from analysis.program.moves import Kind
from analysis.program.notes import Notes
from analysis.program.places import go_to_machine_place, go_to_reference, probe, set_origin, shift_zero
from analysis.program.plain import PlainLines
from analysis.program.program import UNITS, Units
from analysis.program.state import INVERSE_TIME, NO_MOTION, Modes, State
from analysis.program.subprograms import Calls
from analysis.program.words import Block, parse

_NOTHING: Codes = {}


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
    chosen_ahead
        Which T word is known to say no more than what the first M6 will put in (`Bits`).

    Attributes
    ----------
    modes
        In force.
    carriage
        Position and moves so far.
    notes
        Warnings so far.
    bits
        Selected so far, and what the program calls them.
    """

    def __init__(
        self,
        lines: Sequence[str],
        *,
        skip_slashed: bool = True,
        units: Units | None = None,
        chosen_ahead: int = 0,
    ) -> None:
        self.notes = Notes()
        self.modes = Modes() if units is None else Modes(units=UNITS[units], units_stated=True)
        self.carriage = Carriage(self.notes)
        self.bits = Bits(chosen_ahead)
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

    def run(self) -> None:
        """Execute the whole program."""
        for _ in self.steps(len(self._lines)):
            pass

    def steps(self, most: int = 1) -> Iterator[int]:
        """Yield the number of each line, from 1, just before it is executed; with `most`, not of each."""
        calls, lines = self.calls, self._lines
        while not self._ended and calls.next < len(lines):
            yield calls.next + 1
            done, self.modes = self._plain.go(lines, calls.next, most, self.modes)
            calls.next += done
            if done:
                self.executed += done
                self.bits.forget()
            elif lines[calls.next]:
                calls.next += 1
                self._line(lines[calls.next - 1], calls.next)
            else:
                calls.next += 1
        self._after_the_end()

    @property
    def breaks_off(self) -> bool:
        """Whether the end seems to be missing: there is none, and the spindle turns, or % is open."""
        return not self._ended and (self._opened or self.modes.spindle != 5)

    def end(self) -> None:
        """Run no further line."""
        self._ended = True

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
            origin_line=carriage.origins[-1].line if carriage.origins else 0,
            depth=self.calls.depth,
        )

    def _after_the_end(self) -> None:
        rest = range(self.calls.next, len(self._lines))
        unread = [i for i in rest if self._lines[i].strip(" \t%\x1a\0") and not self.calls.defines(i)]
        if self._ended and unread:
            self.notes.add("the program ends before this line; what follows is not run", unread[0] + 1, 1)
        if self.breaks_off:
            text = "the program ends here without M2, M30 or a closing %: was its file copied whole?"
            self.notes.add(text, len(self._lines), 1)

    def _line(self, line: str, number: int) -> None:
        block = parse(line, number, self.parameters, self.notes)
        self.bits.hear(block)
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

    def _percent(self) -> None:
        """The first % opens the program; one after words closes it."""
        self._ended = self.executed > 0 or self._opened
        self._opened = True

    def _slashed(self, block: Block) -> None:
        done = "left out" if self._skip_slashed else "run"
        text = f"a line with / is {done}: whether a control runs it depends on its block-delete switch"
        self.notes.add(text, block.number, 1, "/")

    def _execute(self, block: Block) -> None:
        units = self.modes.units if self.modes.units_stated else 0
        codes = sort_codes(block, self.notes, units) if block.g or block.m else _NOTHING
        words = block.words
        before = len(self.carriage.rows)
        plain = not codes or (len(codes) == 1 and "motion" in codes)
        if "O" in words:
            self._program_number(block)
        if not plain:
            self.stated.update(codes)
            self.modes = settings.feed_mode_and_units(codes, block, self.modes, self.notes)
        if "F" in words or self.modes.feed_mode == INVERSE_TIME:
            self.modes = settings.feed(block, self.modes)
        if not plain or "S" in words or "T" in words:
            self._spindle_and_bit(codes, block)
        if not plain:
            self._set_modes(codes, block)
        self._move(codes, block)
        if not plain:
            self._leave(codes, block)
        if words:
            self._left_over(block, codes)
        self.carriage.settle()
        if len(self.carriage.rows) > before and "change" not in codes:
            self.bits.forget()

    def _program_number(self, block: Block) -> None:
        word = block.words["O"]
        if word.value != int(word.value) or word.value < 0:
            raise block.error(f"{word.text}: a program number is a whole number", word)
        block.take("O")

    def _spindle_and_bit(self, codes: Codes, block: Block) -> None:
        self.modes = settings.speed(block, self.modes)
        chosen = block.take("T")
        if chosen is not None:
            self.modes = self.bits.select(chosen, block, self.modes, len(self.carriage.rows))
        if "change" in codes:
            self.modes = self.bits.change(block, self.modes, len(self.carriage.rows))
            self.carriage.change_bit(block, self.modes)
        if "spindle" in codes:
            self.spindle_used = self.spindle_used or codes["spindle"][0] != 5
            self.modes = settings.spindle(codes["spindle"], block, self.modes, self.notes)

    def _set_modes(self, codes: Codes, block: Block) -> None:
        self.modes = settings.coolant_and_overrides(codes, self.modes)
        if "dwell" in codes:
            settings.dwell(codes["dwell"][1], block, self.modes, self.carriage)
        self.modes = settings.plane_and_distances(codes, block, self.modes)
        if "length" in codes:
            self.modes = settings.length_offset(codes["length"], block, self.modes, self.carriage)
        if "system" in codes:
            self.modes = settings.system(codes["system"], block, self.modes, self.carriage)
        if "path" in codes:
            self.modes = settings.path(codes["path"][0], block, self.modes)

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
        elif motion in (20, 30) and (placed or self._turns(codes, block)):
            self._check_units(block)
            target = self.carriage.target(block, self.modes)
            self.carriage.arc(target, block, self.modes, clockwise=motion == 20)
        elif self.modes.in_cycle:
            self._cycle(codes, block, placed=placed)
        elif placed:
            self._straight(motion, block)

    def _turns(self, codes: Codes, block: Block) -> bool:
        """Whether a line without a place says a full circle, with G2 or G3 there or in force."""
        if "motion" in codes:
            return not block.words.keys().isdisjoint(CENTRES)
        return "call" not in codes and any(CENTRES[axis] in block.words for axis in self.modes.axes[:2])

    def _set_motion(self, motion: int) -> None:
        if motion != self.modes.motion:
            self.modes = self.modes._replace(motion=motion, cycle=None)

    def _check_units(self, block: Block) -> None:
        if not self.modes.units_stated:
            text = (
                "the program has not said whether it means millimetres (G21) or inches (G20); taken as mm: "
                "say --units inch if it means those"
            )
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

    def _leave(self, codes: Codes, block: Block) -> None:
        """Stop, or carry on elsewhere."""
        if "stop" in codes:
            self._stop(codes["stop"][0], block)
        if "call" in codes:
            self.calls.follow(codes["call"][0], block, self)

    def _stop(self, code: int, block: Block) -> None:
        if code in (2, 30):
            self._ended = True
            self.modes = settings.after_the_end(self.modes)
            self.carriage.offset = (0.0, 0.0, 0.0)
        else:
            self.carriage.wait(Kind.PAUSE, block, self.modes)

    def _left_over(self, block: Block, codes: Codes) -> None:
        self._refuse_another_zero(block, codes)
        for word in block.words.values():
            if word.letter in "ABC" and word.value == 0:
                text = f"{word.letter}0 is read over: the axis is taken to stand there"
                self.notes.once(text, block.number, word.column, word.text)
                continue
            if word.letter in "ABCUVW":
                raise block.error(f"{word.text}: only X, Y and Z are followed; take the other axes out", word)
            if word.letter == "E":
                raise block.error(f"{word.text}: E has no meaning here; write numbers without exponent", word)
            text = f"{word.letter} has no meaning on this line and is not read"
            self.notes.add(text, block.number, word.column, word.text)

    def _refuse_another_zero(self, block: Block, codes: Codes) -> None:
        """Refuse what some controls take for another zero: a restart would not state it."""
        if "P" in block.words and "system" in codes:
            text = f"{codes['system'][1].text} with P means another system on some controls"
            raise block.error(f"{text}: write G54.1 with P, or leave P out", block.words["P"])
        other = block.words.get("H")
        if other and other.value and self.modes.length not in (None, other.value):
            text = f"{other.text} alone is another length offset on some controls"
            raise block.error(f"{text}: write G43 {other.text}, or leave it out", other)
