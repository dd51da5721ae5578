"""
What is in force between two lines: the modal groups of NISTIR 6556, Table 4, and where the bit stands.

G codes are kept as ten times their number, so that G59.3 is the whole number 593.
"""

from dataclasses import dataclass, field
from typing import NamedTuple

from analysis.cutting import MM_PER_INCH
from analysis.program.moves import AXES_OF_PLANE, Point

NO_MOTION = 800
"""G80: nothing moves until a motion word says how."""

FIRST_CYCLE, LAST_CYCLE = 810, 890
CHIP_BREAKING = 730
"""G73, which the standard does not have and the trade does."""

INVERSE_TIME, PER_MINUTE, PER_TURN = 930, 940, 950

SYSTEMS = (540, 550, 560, 570, 580, 590, 591, 592, 593)
FURTHER_SYSTEM = 541
"""G54.1 P, which the standard does not have and the trade does."""

START = "the program has not said where it starts"


@dataclass(frozen=True)
class Cycle:
    """
    The words of a drilling cycle that carry over to its next line.

    `bottom`, `clear`, `step` and `pause` are Z, R and Q in mm as programmed, and P in s; `initial` is
    where the bit stood before the series began, and `plane` the level that R meant last, both in mm.
    """

    bottom: float
    clear: float
    step: float | None
    pause: float | None
    initial: float
    plane: float


class Modes(NamedTuple):
    """
    The modal groups.

    A named tuple, for a new one is made at nearly every line that is not plain.

    Attributes
    ----------
    motion
        0, 10, 20, 30, 382, or a cycle 730, 810 to 890; 800 when none.
    plane, units, distance, arc_distance, feed_mode, return_mode, system, path
        170 to 190; 200 or 210; 900 or 910; 901 or 911; 930 to 950; 980 or 990; 540 to 593; 610, 611, 640, or
        ``None`` while the program has not said how the control keeps to the path.
    further
        P of G54.1 (541); 0 in the other systems.
    units_stated
        False while the program has not said whether it means mm or inch.
    tolerance
        P of G64, in the unit then in force; ``None`` without.
    length, length_since_change
        H of the tool length offset in force, ``None`` for G49; whether that was said after the last M6.
    feed
        mm/min, or mm per turn (G95), or 1/min (G93); ``None`` while none is in force.
    speed
        rpm, as S said, ``None`` while it has not; it turns only if `spindle` says so.
    spindle
        3, 4 or 5.
    mist, flood, overrides
        M7, M8, M48.
    selected, bit
        T number chosen, and T number in the spindle.
    at_hand
        T number that is taken to be in the spindle as long as M6 has not been used.
    bit_changed, bit_named
        Whether M6 has been used; whether a T had been said by then.
    cycle
        While a cycle is in force.
    """

    motion: int = NO_MOTION
    plane: int = 170
    units: int = 210
    units_stated: bool = False
    distance: int = 900
    arc_distance: int = 911
    feed_mode: int = PER_MINUTE
    return_mode: int = 980
    system: int = 540
    further: int = 0
    path: int | None = None
    tolerance: float | None = None
    length: int | None = None
    length_since_change: bool = False
    feed: float | None = None
    speed: float | None = None
    spindle: int = 5
    mist: bool = False
    flood: bool = False
    overrides: bool = True
    selected: int = 0
    bit: int = 0
    at_hand: int = 0
    bit_changed: bool = False
    bit_named: bool = False
    cycle: Cycle | None = None

    @property
    def scale(self) -> float:
        """Millimetres in the unit of length in force."""
        return MM_PER_INCH if self.units == 200 else 1.0

    @property
    def axes(self) -> tuple[int, int, int]:
        """First, second and normal axis of the plane in force."""
        return AXES_OF_PLANE[self.plane // 10]

    @property
    def in_cycle(self) -> bool:
        """Whether a line with nothing but a place would drill there."""
        return FIRST_CYCLE <= self.motion <= LAST_CYCLE or self.motion == CHIP_BREAKING

    @property
    def system_number(self) -> int:
        """The coordinate system's number: 1 to 9 for G54 to G59.3, 100 and P for G54.1 P."""
        return 100 + self.further if self.system == FURTHER_SYSTEM else SYSTEMS.index(self.system) + 1

    @property
    def cuts_with(self) -> int:
        """T number of the bit that is cut with: the one put in, or else the one chosen to begin with."""
        return self.bit if self.bit_changed else self.at_hand

    @property
    def turning(self) -> float:
        """Spindle speed, rpm, as far as the program says; 0 when stopped."""
        return 0.0 if self.spindle == 5 else self.speed or 0.0

    @property
    def spun(self) -> bool:
        """Whether the program has the spindle turn, at whatever speed: S0 stops it."""
        return self.spindle != 5 and self.speed != 0.0


@dataclass(frozen=True)
class State:
    """
    All that must be put back to carry on from a line.

    Attributes
    ----------
    modes
        The modal groups.
    position
        mm, in the coordinates of `Moves`.
    doubt
        Per axis, why its position is not known; empty when it is.
    offset
        mm, G92 offset in force: position = programmed + offset.
    kept_offset
        mm, G92 offset that G92.2 put aside for G92.3.
    offset_used
        Whether the program has used G92 at all.
    offset_doubt
        Why the zero of the program can't be rebuilt; empty when it can.
    highest
        mm, the highest place that the program itself has named so far in the coordinate system in force.
    stated
        The modal groups that the program states, by their names in `codes`.
    parameters
        All parameters set.
    spindle_used
        Whether the program has started the spindle so far.
    origin_line
        The last line that changed a coordinate system with G10; 0 for none.
    depth
        How many subprogram calls deep the line is.
    """

    modes: Modes
    position: Point
    doubt: tuple[str, str, str]
    offset: Point
    kept_offset: Point
    offset_used: bool
    offset_doubt: str
    highest: float
    stated: frozenset[str]
    parameters: dict[int, float] = field(default_factory=dict)
    spindle_used: bool = False
    origin_line: int = 0
    depth: int = 0

    @property
    def known(self) -> bool:
        """Whether the position is known on all axes."""
        return not any(self.doubt)
