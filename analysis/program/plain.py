"""
The short way for plain lines, such as ``N10 G1 X1.5 Y2 F900``, of which long programs nearly all consist.

A line is plain if it goes straight to a place in the modes in force and says nothing new. Whatever is not
plain, or might not be, is left to the full reading; both give the same moves, which a test checks.
"""

import math
import re

from analysis.program.carriage import Carriage
from analysis.program.moves import STRAIGHT, Kind, Point, Setting, Way
from analysis.program.state import PER_MINUTE, Modes

# Seven signs are enough for any machine, and too few for a number that is too large.
_PLAIN = re.compile(
    r"(?:N([0-9]{1,7}) ?)?(?:G0?([01]) ?)?(?:X([-+]?[0-9.]{1,7}) ?)?(?:Y([-+]?[0-9.]{1,7}) ?)?"
    r"(?:Z([-+]?[0-9.]{1,7}) ?)?(?:F([0-9.]{1,7}) ?)?"
)


class PlainLines:
    """Moves the carriage along plain lines, as long as the modes allow."""

    def __init__(self, carriage: Carriage) -> None:
        self._carriage = carriage
        self._modes: Modes | None = None
        self._serves = False
        self._scale = 1.0
        self._kind = Kind.RAPID
        self._setting = Setting(17, 0.0, 0, 0, -1)
        self._way = STRAIGHT

    def go(self, line: str, number: int, modes: Modes) -> bool:
        """Carry out a line and return True, or leave all as it was and return False."""
        if modes is not self._modes:
            self._look_at(modes)
        carriage = self._carriage
        if not self._serves or carriage.in_doubt:
            return False
        found = _PLAIN.fullmatch(line)
        if found is None:
            return False
        name, motion, x, y, z, feed = found.groups()
        if not (x or y or z) or (motion is not None and int(motion) * 10 != modes.motion):
            return False
        try:
            if feed is not None and float(feed) * self._scale != modes.feed:
                return False
            end = self._place(x, y, z)
        except ValueError:  # two points in a number, say
            return False
        if end != carriage.at:
            setting = self._setting
            carriage.rows.add(
                self._kind,
                carriage.at,
                end,
                Setting(setting.plane, setting.speed, setting.bit, number, -1 if name is None else int(name)),
                self._way,
            )
            carriage.at = end
            carriage.highest = max(carriage.highest, end[2])
        return True

    def _place(self, x: str | None, y: str | None, z: str | None) -> Point:
        """Return where the words lead."""
        at, offset, scale = self._carriage.at, self._carriage.offset, self._scale
        return (
            at[0] if x is None else float(x) * scale + offset[0],
            at[1] if y is None else float(y) * scale + offset[1],
            at[2] if z is None else float(z) * scale + offset[2],
        )

    def _look_at(self, modes: Modes) -> None:
        """Decide once per change of modes whether plain lines can be served in them."""
        self._modes = modes
        self._scale = modes.scale
        straight = modes.motion == 0 or (modes.motion == 10 and bool(modes.feed))
        simple = modes.distance == 900 and modes.feed_mode == PER_MINUTE and modes.units_stated
        self._serves = straight and simple
        self._kind = Kind.RAPID if modes.motion == 0 else Kind.CUT
        self._setting = Setting(modes.plane // 10, modes.turning, modes.bit, 0, -1)
        self._way = Way(feed=math.nan if modes.motion == 0 or modes.feed is None else modes.feed)
