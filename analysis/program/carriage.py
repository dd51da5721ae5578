"""
Where the bit is while a program is read, and the rows that its moves leave behind.

Positions are kept without the G92 offset, in mm. An axis is *in doubt* while the program has not said
where it stands (at the start, after a change of coordinate system or of length offset); it is *adrift*
where not even the motion that brought it there can be followed (G28, G30, G53, a probe).
"""

import math
from typing import NamedTuple

from analysis.errors import ProgramError
from analysis.program import arcs
from analysis.program.moves import STRAIGHT, TINY, Kind, Point, Rows, Setting, Way
from analysis.program.notes import Notes
from analysis.program.state import INVERSE_TIME, PER_TURN, START, Modes
from analysis.program.words import Block
from analysis.program.zeros import Zeros

AXES = "XYZ"
CENTRES = "IJK"

LIFT = 10.0
"""mm; how far above the highest place so far the home of Z is drawn, for the program does not say."""


class Origin(NamedTuple):
    """A G10: on which file line, of which system, and whether all it does is to let Z read something here."""

    line: int
    system: int
    z_alone: bool


class Carriage:
    """Position, offsets, doubts and moves."""

    def __init__(self, notes: Notes) -> None:
        self.at: Point = (0.0, 0.0, 0.0)
        self.offset: Point = (0.0, 0.0, 0.0)
        self.kept_offset: Point = (0.0, 0.0, 0.0)
        self.offset_doubt = ""
        # Whether a word of the G92 family was met; one that sets an offset; one that says what it is.
        self.offset_used = self.offset_set = self.offset_said = False
        self.origins: list[Origin] = []
        self.zeros = Zeros()
        self.doubt = [START, START, START]
        self.adrift = [False, False, False]
        self.in_doubt = True
        # Whether Z is known where the bit stands; whether it was stepped on from the start.
        self._z_known = self._z_stepped = False
        # Whether the bit goes without the length offset that it had; the move that changed it, while the
        # program has not said its length; the moves that changed one whose length it said later.
        self.bare = False
        self.changed_at: int | None = None
        self.measured_later: set[int] = set()
        self.rows = Rows()
        # The highest known place in the system in force, and those in the systems that were left.
        self.highest = 0.0
        self._heights: dict[int, float] = {}
        self.notes = notes

    def lose(self, axes: tuple[int, ...], why: str, *, adrift: bool) -> None:
        """Take the position on these axes as unknown."""
        for axis in axes:
            if adrift or not self.doubt[axis]:
                self.doubt[axis] = why
            self.adrift[axis] = self.adrift[axis] or adrift
        self.in_doubt = any(self.doubt)
        self._z_known = self._z_known and 2 not in axes

    def find(self, axis: int) -> None:
        """Take the position on this axis as known from here on."""
        self.doubt[axis] = ""
        self.adrift[axis] = False
        self.in_doubt = any(self.doubt)

    def settle(self) -> None:
        """Take in whether Z is known where the bit stands now."""
        stepped = self._z_stepped and self.doubt[2] == START
        self._z_known = not self.bare and (stepped or not self.doubt[2])

    def target(self, block: Block, modes: Modes, *, homing: bool = False) -> Point:
        """Take the X, Y and Z words out of the block and return where they lead."""
        target = list(self.at)
        words = block.words
        for axis, letter in enumerate(AXES):
            if letter not in words:
                continue
            word = words.pop(letter)
            if modes.distance == 900:
                target[axis] = word.value * modes.scale + self.offset[axis]
                if self.in_doubt and not homing:
                    self.find(axis)
            else:
                target[axis] += word.value * modes.scale
                if self.doubt[axis] and not homing:
                    self._step_in_doubt(block, axis)
        return target[0], target[1], target[2]

    def _step_in_doubt(self, block: Block, axis: int) -> None:
        if self.adrift[axis]:
            message = f"G91 from an unknown place ({self.doubt[axis]}): write G90 and {AXES[axis]} first"
            raise block.error(message)
        text = f"{AXES[axis]} steps on from a place that is taken as {self.at[axis]:g} mm: {self.doubt[axis]}"
        self.notes.once(text, block.number, 1)
        self._z_stepped = self._z_stepped or axis == 2

    def add(self, kind: Kind, end: Point, block: Block, modes: Modes, way: Way = STRAIGHT) -> None:
        """Append a move from where the bit stands."""
        self.go(kind, end, (block.number, block.name), modes, way)

    def go(self, kind: Kind, end: Point, line: tuple[int, int], modes: Modes, way: Way = STRAIGHT) -> None:
        """Append a move of a line, given by its file line and its N-word (-1 for none)."""
        before = self._z_known
        self.settle()
        known = before and self._z_known
        turns = modes.turning, modes.spun
        setting = Setting(modes.plane // 10, *turns, modes.cuts_with, modes.system_number, *line, known)
        self.rows.add(kind, self.at, end, setting, way)
        self.at = end
        if self._z_known:
            self.highest = max(self.highest, end[2])

    def go_on(self, end: Point, number: int, word: int) -> None:
        """Append a move that differs from the last one in nothing but its line and where it leads."""
        self.rows.go_on(end, number, word)
        self.at = end
        self.highest = max(self.highest, end[2])

    def rapid(self, end: Point, block: Block, modes: Modes) -> None:
        """Traverse in a straight line; nothing where there is no way to go."""
        if math.dist(self.at, end) > TINY:
            self.add(Kind.RAPID, end, block, modes)

    def feed(self, end: Point, block: Block, modes: Modes) -> None:
        """Feed in a straight line; nothing where there is no way to go."""
        self._check_start(block, (0, 1, 2), arc=False)
        length = math.dist(self.at, end)
        rate, seconds = feed_rate(block, modes, length)
        if length > TINY:
            self.add(Kind.CUT, end, block, modes, Way(feed=rate, seconds=seconds))

    def arc(self, end: Point, block: Block, modes: Modes, *, clockwise: bool) -> None:
        """Feed along an arc or a helix."""
        first, second, normal = modes.axes
        self._check_start(block, (first, second), arc=True)
        start = (self.at[first], self.at[second])
        finish = (end[first], end[second])
        middle = self._centre(block, modes, start, finish, clockwise=clockwise)
        radius = math.dist(start, middle)
        if radius < 1e-6:
            raise block.error("the arc has no radius: its centre is where it starts; correct I, J, K or R")
        self._check_radius(block, modes, arcs.mismatch(start, finish, middle), radius)
        sweep = arcs.sweep_about(start, finish, middle, clockwise=clockwise)
        length = math.hypot((radius + math.dist(finish, middle)) / 2 * sweep, end[normal] - self.at[normal])
        rate, seconds = feed_rate(block, modes, length)
        centre = [0.0, 0.0, 0.0]
        centre[first], centre[second], centre[normal] = *middle, self.at[normal]
        way = Way((centre[0], centre[1], centre[2]), sweep, rate, seconds)
        self.add(Kind.CUT, end, block, modes, way)

    def _centre(
        self, block: Block, modes: Modes, start: arcs.Flat, finish: arcs.Flat, *, clockwise: bool
    ) -> arcs.Flat:
        radius = block.take("R")
        given = [block.take(CENTRES[axis]) for axis in modes.axes[:2]]
        _refuse_more_turns(block, modes)
        if radius is not None:
            if any(given):
                raise block.error("an arc takes either R or I, J, K, not both; keep one", radius)
            slack = arcs.bearable(abs(radius.value * modes.scale))
            try:
                return arcs.centre_from_radius(
                    start, finish, radius.value * modes.scale, clockwise=clockwise, slack=slack
                )
            except arcs.BadArcError as error:
                raise block.error(f"{error}; correct R", radius) from None
        if not any(given):
            letters = " and ".join(CENTRES[axis] for axis in sorted(modes.axes[:2]))
            raise block.error(f"an arc in G{modes.plane // 10} needs {letters}, or R; none is there")
        if modes.arc_distance == 901 and not all(given):
            raise block.error("with G90.1 an arc needs both words for its centre; add the other one")
        values = [0.0 if word is None else word.value * modes.scale for word in given]
        if modes.arc_distance == 911:
            return start[0] + values[0], start[1] + values[1]
        first, second, _ = modes.axes
        return values[0] + self.offset[first], values[1] + self.offset[second]

    def _check_radius(self, block: Block, modes: Modes, off: float, radius: float) -> None:
        if off <= arcs.tolerance(modes.scale):
            return
        if off > arcs.bearable(radius):
            message = f"the arc ends {off:.4g} mm off its circle: correct I, J, K, or G90.1"
            raise block.error(message)
        text = "the arc ends a little off its circle, more than NISTIR 6556 allows; some controls refuse it"
        self.notes.add(text, block.number, 1)

    def _check_start(self, block: Block, axes: tuple[int, ...], *, arc: bool) -> None:
        """Refuse or note a feed that begins who knows where."""
        if not self.in_doubt:
            return
        for axis in axes:
            if self.adrift[axis] and arc:
                message = f"an arc from an unknown {AXES[axis]} ({self.doubt[axis]}): write it with G0 first"
                raise block.error(message)
            if self.doubt[axis]:
                taken = f"taken as {self.at[axis]:g} mm: {self.doubt[axis]}"
                text = f"a feed begins at an unknown {AXES[axis]}, {taken}"
                self.notes.once(text, block.number, 1)

    def wait(self, kind: Kind, block: Block, modes: Modes, seconds: float = 0.0) -> None:
        """Dwell, pause or change the bit where the bit stands."""
        self.add(kind, self.at, block, modes, Way(seconds=seconds))

    def change_bit(self, block: Block, modes: Modes) -> None:
        """Change the bit where it stands; how long the new one is the program may say later."""
        self.changed_at, self.bare = len(self.rows), False
        self.wait(Kind.BIT_CHANGE, block, modes)

    def put_length(self, number: int) -> None:
        """Z is that of the tip again once it is stated: the length offset is said (G43)."""
        changed = self.changed_at
        if changed is not None:
            self.measured_later.add(changed)
        if Kind.CUT not in self.rows.kind and Kind.PECK not in self.rows.kind:
            changed = 0
        if changed is not None:
            self.rows.unmeasured.append((changed, len(self.rows)))
        self.changed_at, self.bare = None, False
        self.lose((2,), f"the length offset changed on line {number}", adrift=False)

    def take_length_off(self, number: int) -> None:
        """Z is no longer that of the tip, unless the bit is a new one that goes without (G49)."""
        self.bare = self.changed_at is None
        self.lose((2,), f"the length offset changed on line {number}", adrift=False)

    def go_home(self, named: tuple[int, ...], why: str, block: Block, modes: Modes) -> None:
        """Go to a place that only the machine knows: drawn as up by `LIFT` if Z goes, else not at all."""
        self.lose(named, why, adrift=True)
        if 2 in named:
            self.rapid((self.at[0], self.at[1], max(self.highest + LIFT, self.at[2])), block, modes)

    def shift(self, axis: int, value: float, why: str) -> None:
        """Let this axis read `value` mm where it stands (G92)."""
        offset, at = list(self.offset), list(self.at)
        if self.doubt[axis]:
            at[axis], offset[axis] = value, 0.0
            self.offset_doubt = self.offset_doubt or why
            self.find(axis)
        else:
            offset[axis] = at[axis] - value
        self.offset, self.at = (offset[0], offset[1], offset[2]), (at[0], at[1], at[2])

    def put_zero(self, axis: int, place: float | None, system: int, in_force: int, why: str) -> None:
        """
        Let the zero of a system lie at `place` mm of the machine, ``None`` if nobody knows (G10 L2).

        In the system in force the bit then stands at another coordinate, which is known if both zeros are.
        """
        before = self.zeros.of(system, axis)
        self.zeros.set(system, axis, place)
        if axis == 2:
            by = None if before is None or place is None else before - place
            self._renumber_heights(system, in_force, by)
        if system != in_force:
            return
        if before is None or place is None:
            self.lose((axis,), why, adrift=False)
        else:
            self._renumber(axis, self.at[axis] + before - place)

    def read_as(self, axis: int, value: float, system: int, in_force: int) -> None:
        """Put the zero of a system so that this axis reads `value` mm where it stands (G10 L20)."""
        reads = value + self.offset[axis]
        here = self.zeros.of(in_force, axis)
        known = here is not None and not self.doubt[axis]
        self.zeros.set(system, axis, here + self.at[axis] - reads if here is not None and known else None)
        if axis == 2:
            by = None if self.doubt[2] or system != in_force else reads - self.at[2]
            self._renumber_heights(system, in_force, by)
        if system == in_force:
            self._renumber(axis, reads)
            self.find(axis)

    def change_system(self, before: int, after: int, why: str) -> bool:
        """Go over to another system; return whether the program tells how far their zeros lie apart."""
        self._change_heights(before, after)
        told = True
        for axis in range(3):
            apart = self.zeros.apart(before, after, axis)
            if apart is None:
                told = False
                self.lose((axis,), why, adrift=False)
            else:
                self._renumber(axis, self.at[axis] - apart)
        return told

    def _renumber(self, axis: int, value: float) -> None:
        """Call the place where the bit stands by another coordinate."""
        at = list(self.at)
        at[axis] = value
        self.at = (at[0], at[1], at[2])

    def _change_heights(self, before: int, after: int) -> None:
        """Go over to the heights of another system; those of the last one count there if they can."""
        self._heights[before] = self.highest
        apart = self.zeros.apart(before, after, 2)
        if apart is None:
            self.highest = self._heights.get(after, 0.0)
        else:
            self.highest = max(self.highest - apart, self._heights.get(after, -math.inf))

    def _renumber_heights(self, system: int, in_force: int, by: float | None) -> None:
        """Call the heights of a system, whose zero was moved, by other coordinates, or forget them."""
        if system == in_force:
            self.highest = 0.0 if by is None else self.highest + by
        elif by is not None and system in self._heights:
            self._heights[system] += by
        else:
            self._heights.pop(system, None)


def _refuse_more_turns(block: Block, modes: Modes) -> None:
    """Refuse words on an arc that some controls take as a count of turns or a pitch; let harmless ones go."""
    along = CENTRES[modes.axes[2]]
    for letter, nothing in (("P", 1.0), ("L", 1.0), (along, 0.0)):
        word = block.take(letter)
        if word is None or word.value == nothing or (letter == along and modes.arc_distance == 901):
            continue
        what = "a pitch" if letter == along else "a count of turns"
        raise block.error(
            f"{word.text}: some controls take {letter} on an arc as {what}; write each turn", word
        )


def feed_rate(block: Block, modes: Modes, length: float) -> tuple[float, float]:
    """
    Return the feed in mm/min for a way of `length` mm, and the seconds asked for (G93) or 0.

    Raises
    ------
    ProgramError
        If no feed is in force.
    """
    if not modes.feed:
        raise _no_feed(block, modes)
    if modes.feed_mode == INVERSE_TIME:
        return length * modes.feed, 60.0 / modes.feed
    if modes.feed_mode == PER_TURN:
        if not modes.turning:
            raise block.error("G95 feeds per turn of the spindle, and the spindle is stopped; add M3 and S")
        return modes.feed * modes.turning, 0.0
    return modes.feed, 0.0


def _no_feed(block: Block, modes: Modes) -> ProgramError:
    if modes.feed_mode == INVERSE_TIME:
        return block.error("with G93 every feed line needs its own F greater than 0; add it")
    return block.error("a feed (G1, G2, G3 or a cycle) without F: add a feed rate greater than 0")
