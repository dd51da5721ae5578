"""Since an alarm: whether the spindle has stood, so that somebody may have been at the bit, and what cuts."""

import math
from typing import Literal

from analysis.cut import Context, Moment
from analysis.presence import Phase

STOOD = 5.0
"""A spindle that was not heard for so many s has stood: somebody may have been at the bit."""

# So many s of cutting after that tell which bit is in it.
_CUTS_AGAIN = 1.0
# A spindle that is not heard in what is hardly quieter than the cut, dB, over some s, is only drowned.
_HARDLY, _LATELY = 1.5, 1.0

Cuts = Literal["another", "perhaps"]
"""What cuts once the spindle has stood: another bit, or perhaps the same one again."""


class SinceAlarm:
    """
    Follows, since an alarm, whether the spindle has stood and which bit cuts then.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    accused
        The bit that has alarmed.
    """

    def __init__(self, seconds: float, accused: int) -> None:
        self._seconds = seconds
        self._accused = accused
        # For how long no spindle was heard, s, for how long it has cut since it stood, and for how long that
        # was surely another bit, or surely the accused one.
        self._off = self._cuts = self._surely = 0.0
        self._is_other = False
        # How loud it is of late, and how loud the cut was that the alarm is for, dBFS.
        self._level: float | None = None
        self._loud = -math.inf

    def row(self, moment: Moment) -> Cuts | None:
        """Take in one row; return what cuts, for long enough to tell, since the spindle stood."""
        level = self._hear_level(moment)
        if moment.phase is Phase.OFF:
            # What drowns the spindle must not pass for one that somebody has stopped.
            self._off += self._seconds if level < self._loud - _HARDLY else 0.0
            self._cuts = self._surely = 0.0
        elif self._off < STOOD:
            self._off = 0.0
        elif moment.phase is Phase.CUT:
            return self._hear_cut(moment.context)
        return None

    def _hear_cut(self, context: Context) -> Cuts | None:
        self._cuts += self._seconds
        if not context.guessed:
            is_other = context.bit != self._accused
            self._surely = self._seconds + (self._surely if is_other == self._is_other else 0.0)
            self._is_other = is_other
        if self._surely >= _CUTS_AGAIN:
            if self._is_other:
                return "another"
            # The one that has alarmed is in it still: only if it stands once more may that be otherwise.
            self._off = 0.0
        return "perhaps" if self._cuts >= _CUTS_AGAIN else None

    def _hear_level(self, moment: Moment) -> float:
        """Return how loud it is of late, and note how loud the cut is that the alarm is for."""
        last = moment.sample.level if self._level is None else self._level
        self._level = last + min(1.0, self._seconds / _LATELY) * (moment.sample.level - last)
        if moment.phase is Phase.CUT and not self._off:
            self._loud = self._level
        return self._level
