"""
Jobs that differ from seed to seed: trays, stands and shelves from poplar plywood, all of it invented.

What differs: the sheet's thickness, the parts and their sizes, bits with one to four flutes at 8 000 to
24 000 rpm, feeds from common chip loads, depth a pass, step across pockets, tabs or none, climb or
conventional outlines, square or rounded corners, one bit or two for pockets and outlines. Holes are pecked
and pockets cleared before outlines are cut, as is common practice: what is cut out holds still no longer.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.cutting import Bit
from analysis.program import read, schedule
from recordings_synthetic.job.shapes import (
    Box,
    Edge,
    Point,
    Work,
    groove,
    holes,
    outline,
    pocket,
    recess,
    round_outline,
)
from recordings_synthetic.job.words import change, head, tail, text

Rng = np.random.Generator

LEAST, MOST = 60.0, 240.0  # s, how long a job may be, bit changes included
CHANGE = 14.0  # s that a bit change takes at the most
WIDTH = 230.0  # mm of the sheet that are used


@dataclass(frozen=True)
class Part:
    """
    A part: what each kind of bit does to it.

    Attributes
    ----------
    name
        What it is.
    drilled
        Middles of its holes.
    cleared, cut
        Return the lines that clear its pockets, and that cut it out.
    """

    name: str
    drilled: list[Point]
    cleared: Callable[[Work], list[str]]
    cut: Callable[[Work], list[str]]


@dataclass(frozen=True)
class Style:
    """How a job is made: drilling, clearing, cutting out, and what is the same for all its parts."""

    drill: Work
    clear: Work
    outline: Work
    thickness: float
    peck: float
    pocket: float
    edge: Edge
    rounded: bool
    one_bit: bool


def varied_job(seed: int) -> tuple[str, dict[int, Bit]]:
    """
    Return a job and its bits by T number.

    Parameters
    ----------
    seed
        Where its chance comes from: the same seed gives the same job, to the letter.

    Returns
    -------
    The program's text, one to four minutes long with its bit changes, and the bits that it turns.
    """
    rng = np.random.Generator(np.random.PCG64(seed))
    while True:
        made = _try(rng)
        if made is not None:
            return made


def _try(rng: Rng) -> tuple[str, dict[int, Bit]] | None:
    """Return a job that lasts about as long as is drawn, or none if its parts do not allow it."""
    style, wanted = _style(rng), rng.uniform(LEAST + 15.0, MOST - 30.0)
    parts: list[Part] = []
    layout = Layout(rng)
    for _ in range(12):
        parts.append(_part(rng, style, layout))
        program, bits = _program(style, parts)
        lasts = _lasts(program, bits)
        if lasts > MOST - 10.0:
            return None
        if lasts >= wanted and len(parts) > 1:
            return program, bits
    return None


def _lasts(program: str, bits: dict[int, Bit]) -> float:
    """Return how long a job takes, s, by a listener's clock and with slow bit changes."""
    return float(schedule(read(program).moves).end[-1]) + CHANGE * len(bits)


def _style(rng: Rng) -> Style:
    thickness = float(rng.choice([6.0, 9.0, 12.0, 15.0]))
    clear, cut = _work(rng, "down-cut"), _work(rng, "compression")
    one_bit = bool(rng.uniform() < 0.25)
    tabs = bool(rng.uniform() < 0.6)
    deepest = thickness + 0.4
    return Style(
        drill=_work(rng, "up-cut", flutes=(1, 2), diameters=(3.0, 4.0, 5.0)),
        clear=cut if one_bit else clear,
        outline=cut,
        thickness=thickness,
        peck=rng.uniform(2.0, 4.0),
        pocket=rng.uniform(0.3, 0.6) * thickness,
        edge=Edge(deepest, thickness - rng.uniform(1.5, 3.0) if tabs else None, bool(rng.uniform() < 0.7)),
        rounded=bool(rng.uniform() < 0.6),
        one_bit=one_bit,
    )


def _work(
    rng: Rng,
    kind: str,
    flutes: tuple[int, ...] = (1, 2, 2, 3, 4),
    diameters: tuple[float, ...] = (4.0, 5.0, 6.0, 8.0),
) -> Work:
    """Draw a bit and how it works; speed and feed are rounded as a person would set them."""
    teeth, diameter = int(rng.choice(flutes)), float(rng.choice(diameters))
    speed = 500.0 * round(float(rng.uniform(8000.0, 24000.0)) / 500.0)
    load = rng.uniform(0.03, 0.1)  # mm per tooth
    feed = 50.0 * round(min(max(load * teeth * speed, 800.0), 4000.0) / 50.0)
    bit = Bit(f"{diameter:g} mm {kind}", diameter, teeth, speed)
    plunge = 50.0 * round(min(max(feed / 3.0, 300.0), 900.0) / 50.0)
    return Work(bit, feed, plunge, rng.uniform(0.4, 1.0) * diameter, rng.uniform(0.25, 0.6) * diameter)


class Layout:
    """Where the next part goes: rows from the left to the right, from below upwards."""

    def __init__(self, rng: Rng) -> None:
        self._x, self._y, self._row = 14.0, 14.0, 0.0
        self._gap = rng.uniform(14.0, 24.0)

    def next(self, width: float, height: float) -> Box:
        """Return the place of a part of some size, mm."""
        if self._x + width > WIDTH:
            self._x, self._y, self._row = 14.0, self._y + self._row + self._gap, 0.0
        box = Box(round(self._x, 2), round(self._y, 2), width, height)
        self._x, self._row = self._x + width + self._gap, max(self._row, height)
        return box


def _part(rng: Rng, style: Style, layout: Layout) -> Part:
    make = (_tray, _stand, _shelf)[int(rng.choice(3, p=[0.4, 0.3, 0.3]))]
    return make(rng, style, layout)


def _size(rng: Rng, low: float, high: float) -> float:
    return round(float(rng.uniform(low, high)), 1)


def _tray(rng: Rng, style: Style, layout: Layout) -> Part:
    """A seedling tray: a rectangle with two or four pockets, each with a drainage hole."""
    columns, rows = int(rng.choice([1, 2])), 2
    side = _size(rng, 14.0, 22.0)
    box = layout.next(columns * (side + 6.0) + 6.0, rows * (side + 6.0) + 6.0)
    boxes = [
        Box(box.x + 6.0 + column * (side + 6.0), box.y + 6.0 + row * (side + 6.0), side, side)
        for row in range(rows)
        for column in range(columns)
    ]
    return Part(
        "tray",
        [one.centre for one in boxes],
        lambda work: [line for one in boxes for line in pocket(one, work, style.pocket)],
        lambda work: outline(box, work, style.edge, rounded=style.rounded),
    )


def _stand(rng: Rng, style: Style, layout: Layout) -> Part:
    """A round plant stand with a recess for the pot and holes for water."""
    radius = _size(rng, 20.0, 36.0)
    inner = round(radius * float(rng.uniform(0.4, 0.65)), 1)
    x, y = layout.next(2.0 * radius, 2.0 * radius).centre
    count = int(rng.integers(2, 5))
    angles = [2.0 * math.pi * n / count for n in range(count)]
    return Part(
        "stand",
        [(x + inner / 2.0 * math.cos(a), y + inner / 2.0 * math.sin(a)) for a in angles],
        lambda work: recess((x, y), inner, work, style.pocket),
        lambda work: round_outline((x, y), radius, work, style.edge),
    )


def _shelf(rng: Rng, style: Style, layout: Layout) -> Part:
    """A shelf: a long board with grooves across it for its sides, and holes for pegs."""
    width, height = _size(rng, 90.0, 180.0), _size(rng, 34.0, 60.0)
    box = layout.next(width, height)
    inset = _size(rng, 12.0, 20.0)
    across = [box.x + inset, box.x + width - inset]
    pegs = [(x, box.y + share * height) for x in (across[0] + 12.0, across[1] - 12.0) for share in (0.3, 0.7)]
    return Part(
        "shelf",
        pegs,
        lambda work: [
            line
            for x in across
            for line in groove((x, box.y + 6.0), (x, box.y + height - 6.0), work, style.pocket)
        ],
        lambda work: outline(box, work, style.edge, rounded=style.rounded),
    )


def _program(style: Style, parts: list[Part]) -> tuple[str, dict[int, Bit]]:
    """Return the program for some parts, and the bits it turns."""
    named = [(f"{part.name} {number}", part) for number, part in enumerate(parts, start=1)]
    drilled = [point for part in parts for point in part.drilled]
    lines = [
        *head(f"trays, stands and shelves, {style.thickness:g} mm poplar plywood"),
        *change(1, style.drill.bit),
    ]
    lines += ["(holes)", *holes(drilled, style.drill, style.thickness + 0.4, style.peck)]
    lines += change(2, style.clear.bit)
    for name, part in named:
        lines += [f"({name}: inside)", *part.cleared(style.clear)]
    lines += [] if style.one_bit else change(3, style.outline.bit)
    for name, part in named:
        lines += [f"({name}: outline)", *part.cut(style.outline)]
    bits = {1: style.drill.bit, 2: style.clear.bit}
    return text([*lines, *tail()]), bits if style.one_bit else {**bits, 3: style.outline.bit}
