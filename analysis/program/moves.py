"""
What the machine does, as arrays: one row per motion, dwell or stop, in the order of execution.

The rows are collected while the program is read (`Rows`), and turned into arrays once, at the end
(`moves_from`). What kind of move a row is follows from its geometry, so it is decided there, for all
rows together.
"""

import enum
import math
from array import array
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

Point: TypeAlias = tuple[float, float, float]

STEEP = 2.0
"""A feed that goes down at least this many times as far as across is a plunge, else a ramp."""

TINY = 1e-9
"""mm; what is shorter is a rounding error of the arithmetic, not a motion."""

NOWHERE: Point = (math.nan, math.nan, math.nan)

AXES_OF_PLANE = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}
"""First, second and normal axis of a plane (0 X, 1 Y, 2 Z), right-handed seen from the normal's +."""


class Kind(enum.IntEnum):
    """What a move does, as far as its geometry tells."""

    RAPID = 0
    """A traverse (G0, or inside a drilling cycle) that is not straight up."""
    PLUNGE = 1
    """A feed straight down, or nearly (`STEEP`)."""
    CUT = 2
    """A feed that does not go down."""
    RAMP = 3
    """A feed that goes down while it moves across: slanted line or helix."""
    PECK = 4
    """A drilling cycle's feed into the hole."""
    RETRACT = 5
    """Straight up, at traverse or feed."""
    DWELL = 6
    """A wait (G4, or inside a cycle); a probing move counts as one, for nobody knows its length."""
    PAUSE = 7
    """A stop until a person says go (M0, M1, M60)."""
    BIT_CHANGE = 8
    """M6."""


class Way(NamedTuple):
    """
    How a move gets to its end: about which centre and how far (rad), how fast (mm/min), how long (s).

    One that `probes` is a wait, for nobody knows how far it goes.
    """

    centre: Point = NOWHERE
    sweep: float = 0.0
    feed: float = math.nan
    seconds: float = 0.0
    probes: bool = False


STRAIGHT = Way()


class Setting(NamedTuple):
    """What a move takes from its line: plane, rpm, is it spun, bit, system, file line, N-word, is Z known."""

    plane: int
    speed: float
    spun: bool
    bit: int
    system: int
    line: int
    word: int
    z_known: bool


class Rows:
    """
    Moves while the program is being read: growing columns, 32 B a move and 0.1 kB a stretch.

    A stretch is a row of moves that differ in nothing but where they lead, as the lines of a carving do.
    `kind` is per stretch: CUT for any feed and RAPID for any traverse; `moves_from` refines them.
    `unmeasured` are the moves, from and to, before a bit that is new has its length offset (G43).
    """

    def __init__(self) -> None:
        self.end = array("d")
        self.line = array("i")
        self.word = array("i")
        self.first = array("q")
        self.start = array("d")
        self.kind = array("b")
        self.centre = array("d")
        self.sweep = array("d")
        self.plane = array("b")
        self.feed = array("d")
        self.speed = array("d")
        self.spun = array("b")
        self.bit = array("i")
        self.system = array("i")
        self.seconds = array("d")
        self.probes = array("b")
        self.z_known = array("b")
        self.unmeasured: list[tuple[int, int]] = []

    def __len__(self) -> int:
        """Return the number of moves so far."""
        return len(self.line)

    def add(self, kind: int, start: Point, end: Point, setting: Setting, way: Way) -> None:
        """Append a move, which begins a stretch."""
        self.first.append(len(self.line))
        self.start.extend(start)
        self.kind.append(kind)
        self.centre.extend(way.centre)
        self.sweep.append(way.sweep)
        self.plane.append(setting.plane)
        self.feed.append(way.feed)
        self.speed.append(setting.speed)
        self.spun.append(setting.spun)
        self.bit.append(setting.bit)
        self.system.append(setting.system)
        self.seconds.append(way.seconds)
        self.probes.append(way.probes)
        self.z_known.append(setting.z_known)
        self.go_on(end, setting.line, setting.word)

    def go_on(self, end: Point, line: int, word: int) -> None:
        """Append a move from the end of the last one, like it in all else."""
        self.end.extend(end)
        self.line.append(line)
        self.word.append(word)


@dataclass(frozen=True, eq=False)
class Moves:
    """
    The moves of a program, in the order of execution; every array has one row per move.

    Coordinates are those of the coordinate system in force, without any G92 offset, in mm.

    Attributes
    ----------
    kind
        (n,) int8, see `Kind`.
    start, end
        (n, 3) mm.
    centre
        (n, 3) mm; NaN for straight moves.
    sweep
        (n,) rad, anticlockwise positive seen from the + side of the plane's normal; 0 for straight moves.
    plane
        (n,) int8: 17 (XY), 18 (ZX), 19 (YZ).
    length
        (n,) mm along the path, helix included.
    feed
        (n,) mm/min; NaN for traverses, dwells and stops.
    speed
        (n,) spindle speed in rpm while this runs; 0 when stopped or never stated.
    spun
        (n,) whether the program has the spindle turn while this runs (M3, M4), be its speed stated or not.
    bit
        (n,) int32, T number in the spindle; 0 before the first.
    system
        (n,) int16, coordinate system: 1 to 9 for G54 to G59.3, 100 and P for G54.1 P.
    seconds
        (n,) P of a wait, whose unit `analysis.program.waits` tells; s that a probe takes at the most, or that
        are asked for by inverse-time feed (G93); else 0.
    probes
        (n,) whether a wait is a probing move.
    z_known
        (n,) whether its Z is, from start to end, what the program says of the tip of the bit: not on the way
        to or from a place that only the machine knows, nor where the length offset has been taken off, nor
        between the change of a bit, or the start, and the length offset that the program states for it.
    file_line
        (n,) int32, counted from 1.
    word
        (n,) int32, N-word of that line; -1 when it has none.
    """

    kind: NDArray[np.int8]
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    centre: NDArray[np.float64]
    sweep: NDArray[np.float64]
    plane: NDArray[np.int8]
    length: NDArray[np.float64]
    feed: NDArray[np.float64]
    speed: NDArray[np.float64]
    spun: NDArray[np.bool_]
    bit: NDArray[np.int32]
    system: NDArray[np.int16]
    seconds: NDArray[np.float64]
    probes: NDArray[np.bool_]
    z_known: NDArray[np.bool_]
    file_line: NDArray[np.int32]
    word: NDArray[np.int32]

    def __len__(self) -> int:
        """Return the number of moves."""
        return len(self.kind)


def moves_from(rows: Rows, begin: int = 0) -> Moves:
    """
    Turn collected rows into arrays and decide the kind of each.

    Parameters
    ----------
    rows
        In the order of execution; may be empty.
    begin
        Leave out the rows before this one.

    Returns
    -------
    Moves
        With lengths computed and kinds refined from the geometry.
    """
    first = np.array(rows.first, dtype=np.int64)
    times = np.diff(first, append=len(rows))

    def spread(column: "array[float] | array[int]") -> NDArray[Any]:
        """Give each move what its stretch has."""
        return np.repeat(np.array(column), times)[begin:]

    end = np.array(rows.end, dtype=np.float64).reshape(-1, 3)
    start = np.empty_like(end)
    start[1:] = end[:-1]
    start[first] = np.array(rows.start, dtype=np.float64).reshape(-1, 3)
    start, end = start[begin:], end[begin:]
    centre = np.repeat(np.array(rows.centre, dtype=np.float64).reshape(-1, 3), times, axis=0)[begin:]
    sweep = spread(rows.sweep).astype(np.float64)
    plane = spread(rows.plane).astype(np.int8)
    z_known = np.repeat(np.array(rows.z_known, dtype=np.bool_), times)
    for changed, measured in rows.unmeasured:
        z_known[changed:measured] = False
    return Moves(
        kind=_kinds(spread(rows.kind).astype(np.int8), start, end, sweep),
        start=start,
        end=end,
        centre=centre,
        sweep=sweep,
        plane=plane,
        length=_lengths(start, end, centre, sweep, plane),
        feed=spread(rows.feed).astype(np.float64),
        speed=spread(rows.speed).astype(np.float64),
        spun=spread(rows.spun).astype(np.bool_),
        bit=spread(rows.bit).astype(np.int32),
        system=spread(rows.system).astype(np.int16),
        seconds=spread(rows.seconds).astype(np.float64),
        probes=spread(rows.probes).astype(np.bool_),
        z_known=z_known[begin:],
        file_line=np.array(rows.line[begin:], dtype=np.int32),
        word=np.array(rows.word[begin:], dtype=np.int32),
    )


def lowest(moves: Moves) -> NDArray[np.float64]:
    """Return the lowest Z, mm, that each move reaches, arcs standing upright (G18, G19) included."""
    low = np.minimum(moves.start[:, 2], moves.end[:, 2])
    for i in np.flatnonzero((moves.sweep != 0) & (moves.plane != 17)):
        low[i] = min(low[i], _bottom_of_arc(moves, int(i)))
    return low


def stops_before(moves: Moves) -> NDArray[np.intp]:
    """Return how many stops for a person (M0, M1) the program has made up to each move, shape (n,)."""
    return np.cumsum(moves.kind == Kind.PAUSE)


def _bottom_of_arc(moves: Moves, i: int) -> float:
    """Return the Z of the lowest point of an upright arc, or infinity if its sweep leaves that out."""
    first, second, _ = AXES_OF_PLANE[int(moves.plane[i])]
    arm = moves.start[i] - moves.centre[i]
    down = np.pi if first == 2 else -np.pi / 2  # where -Z lies in the plane's own angles
    turn = (down - np.arctan2(arm[second], arm[first])) * np.sign(moves.sweep[i]) % (2 * np.pi)
    if turn > abs(moves.sweep[i]):
        return float("inf")
    return float(moves.centre[i, 2] - np.hypot(arm[first], arm[second]))


def _lengths(
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    centre: NDArray[np.float64],
    sweep: NDArray[np.float64],
    plane: NDArray[np.int8],
) -> NDArray[np.float64]:
    """Return path lengths; an arc whose radius changes a little is taken at its mean radius."""
    length: NDArray[np.float64] = np.sqrt(((end - start) ** 2).sum(axis=1))
    for code, (first, second, normal) in AXES_OF_PLANE.items():
        at = np.flatnonzero((sweep != 0) & (plane == code))
        arms = [p[at][:, [first, second]] - centre[at][:, [first, second]] for p in (start, end)]
        radius = np.mean([np.hypot(arm[:, 0], arm[:, 1]) for arm in arms], axis=0)
        length[at] = np.hypot(radius * np.abs(sweep[at]), end[at, normal] - start[at, normal])
    return length


def _kinds(
    asked: NDArray[np.int8], start: NDArray[np.float64], end: NDArray[np.float64], sweep: NDArray[np.float64]
) -> NDArray[np.int8]:
    kind = asked.copy()
    step = end - start
    across = np.hypot(step[:, 0], step[:, 1])
    down = -step[:, 2]
    straight = sweep == 0
    feed = asked == Kind.CUT
    descends = feed & (down > TINY)
    kind[descends] = Kind.RAMP
    # One that is just as steep is so whatever it was rounded to.
    kind[descends & straight & (down + TINY >= STEEP * across)] = Kind.PLUNGE
    moving = feed | (asked == Kind.RAPID)
    kind[moving & straight & (down < -TINY) & (across <= TINY)] = Kind.RETRACT
    return kind
