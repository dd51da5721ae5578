"""Pockets, recesses, grooves, holes and outlines, for any bit, depth and feed, as lines of a program."""

import math
from dataclasses import dataclass
from itertools import pairwise

from analysis.cutting import Bit
from recordings_synthetic.job.words import NEAR, over, short, up

Point = tuple[float, float]


@dataclass(frozen=True)
class Work:
    """
    How a bit works.

    Attributes
    ----------
    bit
        What cuts.
    feed, plunge
        mm/min, across and down.
    bite
        mm of depth in one pass, at the most.
    across
        mm from one ring of a pocket to the next, at the most.
    """

    bit: Bit
    feed: float
    plunge: float
    bite: float
    across: float

    @property
    def radius(self) -> float:
        """The bit's, mm."""
        return self.bit.diameter / 2.0

    def passes(self, depth: float) -> list[float]:
        """Return the Z of each pass, all equally deep, down to ``depth`` mm below the top."""
        count = max(1, math.ceil(depth / self.bite - 1e-9))
        return [-depth * (n + 1) / count for n in range(count)]

    def down(self, depth: float) -> list[str]:
        """Go down to a Z and set the feed for what follows."""
        return [f"G1 Z{short(depth)} F{short(self.plunge)}", f"G1 F{short(self.feed)}"]


@dataclass(frozen=True)
class Box:
    """A rectangle: its lower left corner and its size, mm."""

    x: float
    y: float
    width: float
    height: float

    @property
    def centre(self) -> Point:
        """Its middle."""
        return self.x + self.width / 2.0, self.y + self.height / 2.0

    def within(self, margin: float) -> "Box":
        """Return the rectangle ``margin`` mm inside of it; outside where that is negative."""
        return Box(self.x + margin, self.y + margin, self.width - 2.0 * margin, self.height - 2.0 * margin)


def holes(points: list[Point], work: Work, depth: float, peck: float) -> list[str]:
    """Drill holes in steps of ``peck`` mm (G83)."""
    (x, y), rest = points[0], points[1:]
    cycle = f"G99 G83 X{short(x)} Y{short(y)} Z{short(-depth)} R{short(NEAR)} Q{short(peck)}"
    return [
        f"G0 X{short(x)} Y{short(y)}",
        f"{cycle} F{short(work.plunge)}",
        *(f"X{short(a)} Y{short(b)}" for a, b in rest),
        "G80",
    ]


def pocket(box: Box, work: Work, depth: float) -> list[str]:
    """Clear a rectangle in rings from its middle outwards, anticlockwise: climb at the walls."""
    reach = min(box.width, box.height) / 2.0 - work.radius
    rings = max(1, math.ceil(reach / work.across))
    wall = box.within(work.radius)
    first = wall.within(reach * (rings - 1) / rings)
    lines = over(first.x, first.y)
    for z in work.passes(depth):
        lines += work.down(z)
        for ring in range(rings):
            lines += _ring(wall.within(reach * (rings - 1 - ring) / rings))
        lines += [f"X{short(first.x)} Y{short(first.y)}"]
    return [*lines, *up()]


def _ring(box: Box) -> list[str]:
    """Go to the rectangle's lower left corner and round it anticlockwise."""
    return [
        f"X{short(box.x)} Y{short(box.y)}",
        f"X{short(box.x + box.width)}",
        f"Y{short(box.y + box.height)}",
        f"X{short(box.x)}",
        f"Y{short(box.y)}",
    ]


def recess(centre: Point, radius: float, work: Work, depth: float) -> list[str]:
    """Clear a circle in full circles outwards, anticlockwise."""
    (x, y), reach = centre, radius - work.radius
    rings = max(1, math.ceil(reach / work.across))
    lines = over(x, y)
    for z in work.passes(depth):
        lines += [f"G1 X{short(x)} Y{short(y)}", *work.down(z)]
        for ring in range(1, rings + 1):
            out = reach * ring / rings
            lines += [f"G1 X{short(x + out)} Y{short(y)}", f"G3 I{short(-out)} J0"]
    return [*lines, *up()]


def groove(start: Point, end: Point, work: Work, depth: float) -> list[str]:
    """Cut a groove as wide as the bit, there and back."""
    lines, places = over(*start), [end, start]
    for number, z in enumerate(work.passes(depth)):
        x, y = places[number % 2]
        lines += [*work.down(z), f"X{short(x)} Y{short(y)}"]
    return [*lines, *up()]


@dataclass(frozen=True)
class Edge:
    """
    How an outline is cut.

    Attributes
    ----------
    depth
        mm below the top that the last pass goes, through the sheet.
    tab
        mm below the top that the bit goes over tabs; ``None`` for no tabs.
    climb
        Whether it is cut clockwise.
    """

    depth: float
    tab: float | None
    climb: bool


def outline(box: Box, work: Work, edge: Edge, *, rounded: bool) -> list[str]:
    """Cut a rectangle out from the middle of its left side, corners rounded or square; a tab on each side."""
    path = _corners(box, work.radius, rounded=rounded)
    path = path if edge.climb else _backwards(path)
    lines = over(path[0].x, path[0].y)
    for z in work.passes(edge.depth):
        lines += work.down(z)
        tab = edge.tab if edge.tab is not None and -z > edge.tab else None
        for here, there in pairwise(path):
            lines += _arc(here, there) if there.centre else _side(here, there, work, z, tab)
    return [*lines, *up()]


@dataclass(frozen=True)
class Place:
    """A point of an outline; with a ``centre`` an arc leads to it, clockwise or not, else a straight line."""

    x: float
    y: float
    centre: Point | None = None
    clockwise: bool = True


def _corners(box: Box, r: float, *, rounded: bool) -> list[Place]:
    """Return the way clockwise around a rectangle from the middle of its left side, ``r`` mm outside."""
    left, low = box.x, box.y
    right, high = left + box.width, low + box.height
    begin, end = Place(left - r, box.centre[1]), Place(left - r, box.centre[1])
    if not rounded:
        far = box.within(-r)
        x, y = far.x + far.width, far.y + far.height
        return [begin, Place(far.x, y), Place(x, y), Place(x, far.y), Place(far.x, far.y), end]
    return [
        begin,
        Place(left - r, high),
        Place(left, high + r, (left, high)),
        Place(right, high + r),
        Place(right + r, high, (right, high)),
        Place(right + r, low),
        Place(right, low - r, (right, low)),
        Place(left, low - r),
        Place(left - r, low, (left, low)),
        end,
    ]


def _backwards(path: list[Place]) -> list[Place]:
    """Return the same way from its end to its beginning."""
    back = path[::-1]
    return [
        Place(here.x, here.y, before.centre, clockwise=False)
        for here, before in zip(back, [Place(0.0, 0.0), *back], strict=False)
    ]


def _arc(here: Place, there: Place) -> list[str]:
    i, j = there.centre[0] - here.x, there.centre[1] - here.y  # type: ignore[index]  # it is an arc
    word = "G2" if there.clockwise else "G3"
    return [f"{word} X{short(there.x)} Y{short(there.y)} I{short(i)} J{short(j)}"]


def _side(here: Place, there: Place, work: Work, z: float, tab: float | None) -> list[str]:
    """One straight side; with a tab in its middle, where it is long enough: up, across it, down again."""
    end = f"X{short(there.x)} Y{short(there.y)}"
    length = math.hypot(there.x - here.x, there.y - here.y)
    half = work.radius + 2.0
    if tab is None or length < 6.0 * half:
        return [f"G1 {end}"]
    a, b = (0.5 - half / length, 0.5 + half / length)
    at = [(here.x + s * (there.x - here.x), here.y + s * (there.y - here.y)) for s in (a, b)]
    first, second = (f"X{short(x)} Y{short(y)}" for x, y in at)
    return [f"G1 {first}", f"Z{short(-tab)}", second, *work.down(z), end]


def round_outline(centre: Point, radius: float, work: Work, edge: Edge) -> list[str]:
    """Cut a circle out in quarters from its left; a tab at the end of each second quarter."""
    (x, y), r = centre, radius + work.radius
    turn = -1.0 if edge.climb else 1.0
    lines = over(x - r, y)
    half = (work.radius + 2.0) / r
    for z in work.passes(edge.depth):
        lines += work.down(z)
        tab = edge.tab if edge.tab is not None and -z > edge.tab else None
        for start in (math.pi, math.pi + turn * math.pi):
            ends = [start + turn * math.pi / 2.0, start + turn * math.pi]
            if tab is None:
                lines += [_turned(centre, r, start, ends[0]), _turned(centre, r, ends[0], ends[1])]
                continue
            up_at, down_at = ends[0] - turn * half, ends[0] + turn * half
            lines += [_turned(centre, r, start, up_at), f"G1 Z{short(-tab)}"]
            lines += [_turned(centre, r, up_at, down_at), *work.down(z)]
            lines += [_turned(centre, r, down_at, ends[1])]
    return [*lines, *up()]


def _turned(centre: Point, r: float, start: float, end: float) -> str:
    """Return an arc about a centre from one angle to another, rad; clockwise when the second is smaller."""
    x, y = centre[0] + r * math.cos(end), centre[1] + r * math.sin(end)
    i, j = -r * math.cos(start), -r * math.sin(start)
    word = "G2" if end < start else "G3"
    return f"{word} X{short(x)} Y{short(y)} I{short(i)} J{short(j)}"
