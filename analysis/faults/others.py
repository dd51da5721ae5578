"""The tests for other faults than a loose bit, together."""

import math

from analysis.baseline import Sample
from analysis.cut import Moment
from analysis.faults.chatter import Chatter
from analysis.faults.finding import Finding
from analysis.faults.silent import Silent
from analysis.faults.stopped import Stopped

# Where rows are missing for so many s nobody heard what was cut meanwhile.
_GAP = 0.5


class Others:
    """
    Runs all of them, row by row.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.

    Attributes
    ----------
    found
        What the last row found; ``None`` when nothing is wrong that is heard here.
    """

    def __init__(self, seconds: float) -> None:
        self.found: Finding | None = None
        self._last = -math.inf
        self._tests = (Stopped(seconds), Chatter(seconds), Silent(seconds))

    def begin(self) -> None:
        """Begin anew: with another bit, or after an alarm that was nothing."""
        self.found = None
        for test in self._tests:
            test.begin()

    def row(self, moment: Moment, normal: Sample | None) -> Finding | None:
        """Take in one row, and the sound that is normal if that is known; return what is found."""
        if moment.middle - self._last > _GAP:
            self.begin()
        self._last = moment.middle
        # All of them hear every row.
        found = [test.row(moment, normal) for test in self._tests]
        self.found = next((each for each in found if each is not None), None)
        return self.found
