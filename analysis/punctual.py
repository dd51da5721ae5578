"""Whether whoever names lines names each one when it begins, or some of them late, or not at all."""

from collections import deque

from analysis.ahead import Ahead

TOGETHER = 0.1
"""Line numbers that come within this time, s, come together."""

# Of so many arrivals such a share must have been late. Judgements: of numbers that are lost on the way there
# are fewer, and of those that wait for others more.
_ARRIVALS, _SHARE = 10, 0.3


class Punctual:
    """
    Follows whether lines go by untold before another one is named.

    A program that writes to another one often keeps some thousand characters back, and a file on another
    computer is seen to grow now and then: then many lines come at once, and the cut is beyond the last one.

    Parameters
    ----------
    late
        Seconds of the program that may go by untold.
    """

    def __init__(self, late: float) -> None:
        self._late = late
        self._last: int | None = None
        # What was named before those that come together now; since when they do; how far they may be ahead.
        self._before, self._since, self._ahead = 0, 0.0, 0
        self._arrivals: deque[bool] = deque(maxlen=_ARRIVALS)

    @property
    def lags(self) -> bool:
        """Whether the cut may be beyond the line that was named last, by what has come of late."""
        return sum(self._arrivals) > _SHARE * len(self._arrivals)

    def take(self, at: float, line: int, means: Ahead) -> None:
        """Take in that a line of the file was named at ``at`` s, and what is meant by that."""
        if line == self._last:
            return  # it is only said again
        if self._last is None:
            # What comes first may have been read ahead, but not more than that.
            self._arrives(at, line, means.lines)
        elif at > self._since + TOGETHER:
            self._arrives(at, self._last, 0)
        lines, seconds = means.untold(self._before, line)
        if lines >= self._ahead and seconds > self._late:
            self._arrivals[-1] = True
        self._last = line

    def _arrives(self, at: float, before: int, ahead: int) -> None:
        self._since, self._before, self._ahead = at, before, ahead
        self._arrivals.append(False)
