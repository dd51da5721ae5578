"""
The demo job: seedling trays and plant stands from 12 mm poplar plywood, written as RS274/NGC.

The job is invented. Three bits do it, as is common practice: an up-cut bit pecks the drainage holes
(it lifts the chips), a down-cut bit clears the pockets (it leaves the top face clean) and a compression
bit cuts the outlines (it leaves both faces clean) in passes, with tabs that hold the part.

Some lines carry N-words and some do not, so that a line of the file and its N-word are different things.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from analysis.cutting import Bit
from recordings_synthetic.job.words import NEAR, change, head, over, short, tail, text, up

THICKNESS = 12.0
THROUGH = -12.4  # mm: a little into the board underneath
TAB_TOP = -9.5  # mm: what a tab leaves standing is 2.5 mm of the sheet
PASSES = (-4.6, -8.8, THROUGH)

BITS: Mapping[int, Bit] = {
    1: Bit("5 mm up-cut", 5.0, 2, 16000.0),
    2: Bit("6 mm down-cut", 6.0, 2, 18000.0),
    3: Bit("6 mm compression", 6.0, 2, 18000.0),
}


@dataclass(frozen=True)
class Tray:
    """A square tray of ``side`` mm with two by two pockets, its lower left corner at (x, y)."""

    name: str
    x: float
    y: float
    side: float = 48.0
    pocket: float = 14.0
    depth: float = 5.0

    def centres(self) -> list[tuple[float, float]]:
        """Return the middles of the four pockets, mm."""
        near, far = 0.28 * self.side, 0.72 * self.side
        return [(self.x + a, self.y + b) for a, b in ((near, near), (far, near), (far, far), (near, far))]


@dataclass(frozen=True)
class Stand:
    """A round plant stand of ``radius`` mm about (x, y), with a recess for the pot."""

    name: str
    x: float
    y: float
    radius: float = 24.0
    recess: float = 14.0
    depth: float = 3.0

    def centres(self) -> list[tuple[float, float]]:
        """Return the middles of the two drainage holes, mm."""
        return [(self.x + a, self.y + b) for a, b in ((0.0, 8.0), (0.0, -8.0))]


TRAYS = (Tray("tray 1", 12, 12), Tray("tray 2", 72, 12), Tray("tray 3", 132, 12))
STANDS = (Stand("stand 1", 40, 99), Stand("stand 2", 104, 99))


def seedling_trays() -> str:
    """Return the whole demo program: holes, pockets, outlines; three trays and two stands."""
    return text(
        [
            *head("seedling trays and plant stands, 12 mm poplar plywood"),
            *change(1, BITS[1]),
            *_holes([point for part in (*TRAYS, *STANDS) for point in part.centres()]),
            *change(2, BITS[2]),
            *(line for tray in TRAYS for line in _pockets(tray)),
            *(line for stand in STANDS for line in _recess(stand)),
            *change(3, BITS[3]),
            *(line for tray in TRAYS for line in _around(tray, PASSES)),
            *(line for stand in STANDS for line in _ring(stand, PASSES)),
            *tail(),
        ]
    )


def one_outline(part: Tray | Stand, *, depth: float = -4.6) -> str:
    """Return a short program: the first pass of one part's outline with the compression bit."""
    around = _around(part, (depth,)) if isinstance(part, Tray) else _ring(part, (depth,))
    return text(
        [
            *head(f"{part.name}, one pass of its outline, 12 mm poplar plywood"),
            *change(3, BITS[3], wait=2.0),
            *around,
            "M5",
            "M30",
            "%",
        ]
    )


def _holes(points: list[tuple[float, float]]) -> list[str]:
    (x, y), rest = points[0], points[1:]
    cycle = f"G99 G83 X{short(x)} Y{short(y)} Z{short(THROUGH)} R{short(NEAR)} Q7 F900"
    return [
        "(drainage holes)",
        f"G0 X{short(x)} Y{short(y)}",
        cycle,
        *(f"X{short(a)} Y{short(b)}" for a, b in rest),
        "G80",
    ]


def _pockets(tray: Tray) -> list[str]:
    """Clear four square pockets from the middle outwards, anticlockwise: climb at the walls."""
    lines = [f"({tray.name}: pockets)"]
    reach = tray.pocket / 2 - BITS[2].diameter / 2
    for x, y in tray.centres():
        lines += [*over(x, y), f"G1 Z{short(-tray.depth)} F600"]
        for half in (reach / 2, reach):
            lines += _square(x, y, half)
        lines += up()
    return lines


def _square(x: float, y: float, half: float) -> list[str]:
    a, b, c, d = x - half, x + half, y - half, y + half
    return [
        f"G1 X{short(a)} Y{short(c)} F2400",
        f"X{short(b)}",
        f"Y{short(d)}",
        f"X{short(a)}",
        f"Y{short(c)}",
    ]


def _recess(stand: Stand) -> list[str]:
    """Clear the round recess in full circles outwards, anticlockwise."""
    lines = [f"({stand.name}: recess)", *over(stand.x, stand.y), f"G1 Z{short(-stand.depth)} F600"]
    reach, rings = stand.recess - BITS[2].diameter / 2, 4
    for radius in (reach * (ring + 1) / rings for ring in range(rings)):
        lines += [f"G1 X{short(stand.x + radius)} Y{short(stand.y)} F2400", f"G3 I{short(-radius)} J0"]
    return [*lines, *up()]


def _around(tray: Tray, passes: tuple[float, ...]) -> list[str]:
    """Cut the tray out clockwise with rounded corners, one loop a pass, tabs where the bit goes through."""
    r = BITS[3].diameter / 2
    lines = [f"({tray.name}: outline)", *over(tray.x - r, tray.y + tray.side / 2)]
    for depth in passes:
        lines += [f"G1 Z{short(depth)} F600", *_loop(tray, r, tabs=depth <= -THICKNESS)]
    return [*lines, *up()]


def _loop(tray: Tray, r: float, *, tabs: bool) -> list[str]:
    """One turn around a tray from the middle of its left side; the corners are arcs of radius ``r``."""
    left, low, right, high = tray.x, tray.y, tray.x + tray.side, tray.y + tray.side
    return [
        f"Y{short(high)} F2400",
        f"G2 X{short(left)} Y{short(high + r)} I{short(r)} J0",
        *_side("X", left, right, tabs=tabs),
        f"G2 X{short(right + r)} Y{short(high)} I0 J{short(-r)}",
        *_side("Y", high, low, tabs=tabs),
        f"G2 X{short(right)} Y{short(low - r)} I{short(-r)} J0",
        *_side("X", right, left, tabs=tabs),
        f"G2 X{short(left - r)} Y{short(low)} I0 J{short(r)}",
        f"G1 Y{short(low + tray.side / 2)}",
    ]


def _side(axis: str, start: float, end: float, *, tabs: bool) -> list[str]:
    """One straight side; with a tab in its middle: up, across it, down again."""
    if not tabs:
        return [f"G1 {axis}{short(end)}"]
    middle, half = (start + end) / 2, 5.0 if end > start else -5.0
    return [
        f"G1 {axis}{short(middle - half)}",
        f"Z{short(TAB_TOP)}",
        f"{axis}{short(middle + half)}",
        f"Z{short(THROUGH)} F600",
        f"{axis}{short(end)} F2400",
    ]


def _ring(stand: Stand, passes: tuple[float, ...]) -> list[str]:
    """Cut a round stand out clockwise from its left; two tabs where the bit goes through."""
    r = stand.radius + BITS[3].diameter / 2
    lines = [f"({stand.name}: outline)", *over(stand.x - r, stand.y)]
    for depth in passes:
        lines += [f"G1 Z{short(depth)} F600", "F2400"]
        lines += _tabbed_turn(stand, r) if depth <= -THICKNESS else _plain_turn(stand, r)
    return [*lines, *up()]


def _plain_turn(stand: Stand, r: float) -> list[str]:
    return [_arc(stand, r, 180.0, 0.0), _arc(stand, r, 0.0, -180.0)]


def _tabbed_turn(stand: Stand, r: float) -> list[str]:
    half = math.degrees(5.0 / r)
    lines = []
    for start in (180.0, 0.0):
        top, end = start - 90.0, start - 180.0
        lines += [_arc(stand, r, start, top + half), f"G1 Z{short(TAB_TOP)}"]
        lines += [_arc(stand, r, top + half, top - half), f"G1 Z{short(THROUGH)} F600", "F2400"]
        lines += [_arc(stand, r, top - half, end)]
    return lines


def _arc(stand: Stand, r: float, start: float, end: float) -> str:
    """Clockwise about the stand's middle, from one angle to another, degrees."""
    a, b = math.radians(start), math.radians(end)
    x, y = stand.x + r * math.cos(b), stand.y + r * math.sin(b)
    return f"G2 X{short(x)} Y{short(y)} I{short(-r * math.cos(a))} J{short(-r * math.sin(a))}"
