"""Programs put together of usual jobs, on a sheet whose zero lies on top of it or on the spoilboard."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

import numpy as np

Box: TypeAlias = tuple[float, float, float, float]
Zero: TypeAlias = Literal["top", "board"]


@dataclass
class Sheet:
    """
    A program in the making, over a sheet.

    Attributes
    ----------
    zero, thick
        Where Z 0 lies, and mm from the spoilboard to the top.
    safe, near
        mm above the top: where the bit traverses across, and to where it comes down before it feeds.
    step
        mm; the depth of a pass at most.
    through
        mm that the last pass goes into the spoilboard.
    inch, feeds_only
        The unit that is written; whether traverses are written as feeds.
    """

    zero: Zero = "board"
    thick: float = 18.0
    safe: float = 12.0
    near: float = 2.0
    step: float = 6.0
    through: float = 0.2
    inch: bool = False
    feeds_only: bool = False
    lines: list[str] = field(default_factory=list)

    @property
    def top(self) -> float:
        """Z of the sheet's top, mm."""
        return 0.0 if self.zero == "top" else self.thick

    @property
    def floor(self) -> float:
        """Z of the last pass through the sheet, mm."""
        return self.top - self.thick - self.through

    @property
    def text(self) -> str:
        """The program."""
        begin = ["G20" if self.inch else "G21", "G90 G54", "T1 M6", "S18000 M3"]
        return "\n".join([*begin, *self.lines, "M5", "M30"]) + "\n"

    def quick(self, **place: float) -> None:
        """Traverse."""
        if self.feeds_only:
            self.feed(3000, **place)
        else:
            self._say("G0", place)

    def feed(self, rate: float = 2000, **place: float) -> None:
        """Feed."""
        self._say("G1", place, f" F{self.number(rate)}")

    def to(self, x: float, y: float) -> None:
        """Traverse to above a place, and come near the sheet there."""
        self.quick(z=self.top + self.safe)
        self.quick(x=x, y=y)
        if not self.feeds_only:
            self.quick(z=self.top + self.near)

    def up(self) -> None:
        """Traverse up."""
        self.quick(z=self.top + self.safe)

    def change(self) -> None:
        """Put in the next bit."""
        number = 2 + sum(line.endswith("M6") for line in self.lines)
        self.lines += ["M5", f"T{number} M6", "S12000 M3"]

    def levels(self, depth: float) -> list[float]:
        """Return the levels of the passes down to a depth, mm from the top."""
        count = int(np.ceil(depth / self.step - 1e-9))
        return [self.top - min(self.step * (i + 1), depth) for i in range(count)]

    def _say(self, word: str, place: dict[str, float], more: str = "") -> None:
        words = (f" {axis.upper()}{self.number(value)}" for axis, value in place.items())
        self.lines.append(word + "".join(words) + more)

    def number(self, value: float) -> str:
        """Return a length, mm, as it is written."""
        return f"{value / 25.4:.5f}" if self.inch else f"{value:.4f}"


def around(sheet: Sheet, box: Box) -> None:
    """Feed around a box from its first corner."""
    x, y, right, far = box
    for place in ({"x": right}, {"y": far}, {"x": x}, {"y": y}):
        sheet.feed(**place)


def outline(sheet: Sheet, box: Box) -> None:
    """Cut around a part and through the sheet."""
    sheet.to(*box[:2])
    for level in sheet.levels(sheet.thick + sheet.through):
        sheet.feed(500, z=level)
        around(sheet, box)
    sheet.up()


def outline_in_one(sheet: Sheet, box: Box) -> None:
    """Cut around a part in a single pass through the sheet."""
    outline(replace(sheet, step=sheet.thick + 9, lines=sheet.lines), box)


def outline_with_tabs(sheet: Sheet, box: Box) -> None:
    """Cut around a part and leave tabs, 3 mm high, on two sides in the last pass."""
    x, y, right, far = box
    sheet.to(x, y)
    for level in sheet.levels(sheet.thick + sheet.through)[:-1]:
        sheet.feed(500, z=level)
        around(sheet, box)
    floor, lift = sheet.floor, sheet.floor + 3.2
    sheet.feed(500, z=floor)
    for end in ({"x": right, "y": y}, {"x": right, "y": far}, {"x": x, "y": far}, {"x": x, "y": y}):
        if "y" in end and end["x"] == right and end["y"] == far:
            for z, place in ((lift, y + 5), (floor, y + 11)):
                sheet.feed(y=place)
                sheet.feed(500, z=z)
        sheet.feed(**end)
    sheet.up()


def outline_with_ramp(sheet: Sheet, box: Box) -> None:
    """Cut around a part, down a zigzag ramp that begins just above the sheet."""
    x, y, right, _ = box
    sheet.to(x, y)
    sheet.feed(500, z=sheet.top + 1)
    before = sheet.top + 1
    for level in sheet.levels(sheet.thick + sheet.through):
        sheet.feed(x=(x + right) / 2, z=(before + level) / 2)
        sheet.feed(x=x, z=level)
        around(sheet, box)
        before = level
    sheet.up()


def outline_down_a_spiral(sheet: Sheet, box: Box) -> None:
    """Cut around a part, winding down all the way, with a last lap at full depth."""
    x, y, right, far = box
    sheet.to(x, y)
    before = sheet.top + 0.5
    sheet.feed(500, z=before)
    for level in sheet.levels(sheet.thick + sheet.through):
        corners = ((right, y), (right, far), (x, far), (x, y))
        for i, (to_x, to_y) in enumerate(corners, 1):
            sheet.feed(x=to_x, y=to_y, z=before + (level - before) * i / 4)
        before = level
    around(sheet, box)
    sheet.up()


def outline_with_lead_in(sheet: Sheet, box: Box) -> None:
    """Cut around a part, with a way in through the air just above the sheet."""
    sheet.to(box[0] - 3, box[1])
    sheet.feed(500, z=sheet.top + 0.5)
    sheet.feed(x=box[0])
    for level in sheet.levels(sheet.thick + sheet.through):
        sheet.feed(500, z=level)
        around(sheet, box)
    sheet.up()


def pocket(sheet: Sheet, box: Box) -> None:
    """Clear a pocket to a third of the sheet in a single pass."""
    x, y, right, far = box
    sheet.to(x, y)
    sheet.feed(500, z=sheet.top - sheet.thick / 3)
    for i, row in enumerate(np.arange(y, far, 4.0)):
        sheet.feed(y=float(row))
        sheet.feed(x=x if i % 2 else right)
    sheet.up()


def deep_pocket(sheet: Sheet, box: Box) -> None:
    """Clear a pocket to two thirds of the sheet, one way in each row, with short lifts on the way back."""
    x, y, right, far = box
    sheet.to(x, y)
    for level in sheet.levels(sheet.thick * 2 / 3):
        for row in np.arange(y, far, 4.0):
            sheet.quick(x=x, y=float(row))
            sheet.feed(500, z=level)
            sheet.feed(x=right)
            sheet.quick(z=level + 1.0)
    sheet.up()


def drilled(sheet: Sheet, box: Box) -> None:
    """Drill two holes through the sheet by a drill's point."""
    if sheet.feeds_only:
        return
    sheet.to(box[0] + 5, box[1] + 5)
    words = f"Z{sheet.number(sheet.top - sheet.thick - 3.5)} R{sheet.number(sheet.top + 2)}"
    sheet.lines += [f"G98 G81 {words} F{sheet.number(300)}", f"X{sheet.number(box[0] + 15)}", "G80"]
    sheet.up()


def plunged(sheet: Sheet, box: Box) -> None:
    """Go through the sheet by a point, straight down at feed."""
    sheet.to(box[0] + 8, box[1] + 8)
    sheet.feed(300, z=sheet.top - sheet.thick - 3.5)
    sheet.up()


def faced(sheet: Sheet, box: Box) -> None:
    """Cut half a millimetre off the sheet."""
    x, y, right, far = box
    sheet.to(x, y)
    sheet.feed(500, z=sheet.top - 0.5)
    for i, row in enumerate(np.arange(y, far, 8.0)):
        sheet.feed(y=float(row))
        sheet.feed(x=x if i % 2 else right)
    sheet.up()


def engraved(sheet: Sheet, box: Box) -> None:
    """Engrave strokes with hops between them."""
    x, y, right, far = box
    for stroke in np.arange(x, right, 4.0):
        sheet.to(float(stroke), y)
        sheet.feed(300, z=sheet.top - 0.4)
        sheet.feed(y=far)
    sheet.up()


def carved(sheet: Sheet, box: Box) -> None:
    """Carve a relief in rows to and fro, with a rim that is hardly touched."""
    x, y, right, far = box
    sheet.to(x, y)
    sheet.feed(300, z=sheet.top - 0.1)
    along = np.linspace(x, right, 21)
    for i, row in enumerate(np.linspace(y, far, 9)):
        sheet.feed(y=float(row))
        for place in along[::-1] if i % 2 else along:
            share = max(0.0, 1.0 - ((place - x) / (right - x) * 2.4 - 1.2) ** 2)
            sheet.feed(x=float(place), z=sheet.top - 0.1 - sheet.thick / 3 * share)
    sheet.up()


THROUGH: tuple[Callable[[Sheet, Box], None], ...] = (
    outline,
    outline_with_tabs,
    outline_with_ramp,
    outline_down_a_spiral,
    outline_with_lead_in,
)
"""Ways to cut a part out in several passes."""

WITHIN: tuple[Callable[[Sheet, Box], None], ...] = (
    pocket,
    deep_pocket,
    drilled,
    plunged,
    faced,
    engraved,
    carved,
)
"""What is done within a part before it is cut out."""

BOXES: tuple[Box, ...] = ((10, 10, 70, 50), (110, 10, 190, 70), (210, 20, 260, 80))
"""Where parts lie."""


def job(sheet: Sheet, *works: Callable[[Sheet, Box], None], boxes: tuple[Box, ...] = BOXES) -> Sheet:
    """Return the sheet with each work done on each part, each with a bit of its own."""
    for i, work in enumerate(works):
        if i:
            sheet.change()
        for box in boxes:
            inner = (
                box
                if work in (*THROUGH, outline_in_one)
                else (box[0] + 8, box[1] + 8, box[2] - 8, box[3] - 8)
            )
            work(sheet, inner)
    sheet.up()
    return sheet
