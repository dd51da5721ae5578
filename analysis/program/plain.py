"""
The short way for plain lines, such as ``N10 G1 X1.5 Y2 F900``, of which long programs nearly all consist.

A line is plain if it goes straight to a place in G90 and says nothing new but G0, G1 or F. Whatever is not
plain, or might not be, is left to the full reading; both give the same moves, which a test checks.
"""

import re
from collections.abc import Sequence
from math import dist

from analysis.program.carriage import Carriage
from analysis.program.moves import STRAIGHT, TINY, Kind, Way
from analysis.program.state import PER_MINUTE, Modes

# Six digits before the point are enough for any machine, and too few for a number that is too large.
_SIZE = r"(?:[0-9]{1,6}(?:\.[0-9]{0,9})?|\.[0-9]{1,9})"
_PLAIN = re.compile(
    rf" *(?:N([0-9]{{1,6}}) *)?(?:G0?([01]) *)?"
    rf"(?:X([-+]?{_SIZE}) *)?(?:Y([-+]?{_SIZE}) *)?(?:Z([-+]?{_SIZE}) *)?(?:F({_SIZE}) *)?",
    re.IGNORECASE,
)


class PlainLines:
    """Moves the carriage along plain lines, as long as the modes allow."""

    def __init__(self, carriage: Carriage) -> None:
        self._carriage = carriage
        self._modes = Modes()
        self._scale = 1.0
        self._motion = 0
        self._feed: float | None = None
        self._alike = False

    def go(self, lines: Sequence[str], first: int, most: int, modes: Modes) -> tuple[int, Modes]:
        """
        Carry out plain lines.

        Parameters
        ----------
        lines
            Of the program.
        first
            Index of the first line to carry out.
        most
            How many to carry out at most.
        modes
            In force.

        Returns
        -------
        tuple of int and Modes
            How many lines were plain and have been carried out, and what is then in force.
        """
        if self._carriage.in_doubt or not _serves(modes):
            return 0, modes
        self._modes, self._scale, self._alike = modes, modes.scale, False
        self._motion, self._feed = modes.motion, modes.feed
        fits, step = _PLAIN.fullmatch, self._step
        index = first
        for index in range(first, min(first + most, len(lines))):
            found = fits(lines[index])
            if found is None or not step(index + 1, found.groups()):
                break
        else:
            index += first < len(lines)
        if (self._motion, self._feed) != (modes.motion, modes.feed):
            modes = modes._replace(motion=self._motion, feed=self._feed)
        return index - first, modes

    def _step(self, number: int, words: tuple[str | None, ...]) -> bool:
        """Carry out one line and return True, or leave all as it was and return False."""
        name, motion, x, y, z, feed = words
        if not (x or y or z) or ((motion or feed) and not self._say(motion, feed)):
            return False
        carriage, scale = self._carriage, self._scale
        at, offset = carriage.at, carriage.offset
        end = (
            at[0] if x is None else float(x) * scale + offset[0],
            at[1] if y is None else float(y) * scale + offset[1],
            at[2] if z is None else float(z) * scale + offset[2],
        )
        if dist(at, end) <= TINY:
            return True
        word = -1 if name is None else int(name)
        if self._alike:
            carriage.go_on(end, number, word)
        else:
            cuts = self._motion and self._feed
            kind, way = (Kind.CUT, Way(feed=self._feed or 0.0)) if cuts else (Kind.RAPID, STRAIGHT)
            carriage.go(kind, end, (number, word), self._modes, way)
            self._alike = True
        return True

    def _say(self, said_motion: str | None, said_feed: str | None) -> bool:
        """Take in G0, G1 and F; return False, and change nothing, where the full reading would object."""
        motion = self._motion if said_motion is None else 10 * int(said_motion)
        feed = self._feed if said_feed is None else float(said_feed) * self._scale
        if not feed and (motion or said_feed):
            return False
        if motion != self._motion or feed != self._feed:
            self._motion, self._feed, self._alike = motion, feed, False
        return True


def _serves(modes: Modes) -> bool:
    """Whether plain lines can be carried out in these modes."""
    if modes.distance != 900 or modes.feed_mode != PER_MINUTE or not modes.units_stated:
        return False
    return modes.motion == 0 or (modes.motion == 10 and bool(modes.feed))
