"""
Whether the cut has stopped where the program cuts on.

The spindle turns, but nothing is heard to be cut for longer than the program explains, at a place that a
controller tells: by sound alone that may be wrong just then. A bit that broke off sounds so, and an axis or a
feed that stands. Somebody who holds the feed makes the same sound.
"""

from collections import deque
from typing import NamedTuple

import numpy as np

from analysis.baseline import Sample
from analysis.cut import Moment
from analysis.faults.finding import Finding
from analysis.presence import Phase

# The last so many s of cutting are remembered, and must be so many at least; so must the air before it.
_BEFORE, _LEAST = 2.0, 0.7
# Of a silence the last so many s count.
_LATELY = 20.0
# Level and hiss fall by so much, dB, and with tooth-pass by so much together; below what is normal for this
# bit, too, for a light cut is no silence. The level falls to what the last air was, within so much, and stays
# within so much. Where something in the shop has stopped they do not.
_FALL, _TOGETHER, _AS_BEFORE, _SAME = (5.0, 3.5), 15.0, 2.5, 1.5
# Cutting again for so many s ends it: a bang does not.
_AGAIN = 0.4
# The silence is longer than the program's longest hereabouts by this factor, and so many s.
_LONGER, _PATIENCE = 1.5, 3.0
# A crack is so many times as loud as the loudest of the cut before, within so many s of its end.
_CRACK, _NEAR = 2.0, 0.3


class _Heard(NamedTuple):
    """What counts of a row: three levels, dBFS, and the greatest sample."""

    level: float
    hiss: float
    teeth: float
    peak: float

    @classmethod
    def of(cls, moment: Moment) -> "_Heard":
        sample = moment.sample
        return cls(sample.level, sample.hiss, sample.tooth_pass, moment.besides.peak)


class Silent:
    """
    Follows for how long nothing is cut, row by row.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._near = max(1, round(_NEAR / seconds))
        self._least = round(_LEAST / seconds)
        # The cut, with what is about its end, and the silence after it.
        self._cut: deque[_Heard] = deque(maxlen=round(_BEFORE / seconds) + self._near)
        self._silence: deque[_Heard] = deque(maxlen=round(_LATELY / seconds))
        self._explained: deque[float] = deque(maxlen=2 * self._near)
        self._air = np.nan
        self._since = self._longest = self._crack = self._again = 0.0

    def begin(self) -> None:
        """Begin anew."""
        self._cut.clear()
        self._silence.clear()
        self._air = np.nan

    def row(self, moment: Moment, normal: Sample | None) -> Finding | None:
        """Take in one row, and the sound that is normal if that is known; return what is found."""
        self._explained.append(moment.context.silence)
        match moment.besides.sounds:
            case Phase.OFF:
                self.begin()
            case Phase.CUT:
                self._again += self._seconds
                if self._again > _AGAIN or not self._silence:
                    self._cut_again()
                    self._cut.append(_Heard.of(moment))
            case Phase.AIR:
                self._again = 0.0
                self._fall_silent(moment)
                if normal is not None and len(self._cut) > self._near + self._least:
                    return self._judge(moment.middle - self._since, normal)
        return None

    def _cut_again(self) -> None:
        if len(self._silence) > self._least:
            self._air = float(np.median([heard.level for heard in self._silence]))
        self._silence.clear()

    def _fall_silent(self, moment: Moment) -> None:
        heard = _Heard.of(moment)
        if not self._silence:
            self._since, self._longest = moment.middle, max(self._explained)
            self._crack = max((each.peak for each in list(self._cut)[-self._near :]), default=0.0)
        self._longest = max(self._longest, moment.context.silence)
        if len(self._silence) < self._near:
            self._crack = max(self._crack, heard.peak)
        self._silence.append(heard)

    def _judge(self, lasting: float, normal: Sample) -> Finding | None:
        limit = _LONGER * self._longest + _PATIENCE
        if lasting < limit:
            return None
        cut, silence = np.array(self._cut)[: -self._near], np.array(self._silence)
        now = np.median(silence, axis=0)
        fell = np.median(cut, axis=0)[:3] - now[:3]
        usually = np.array([normal.level, normal.hiss]) - now[:2]
        if (
            (np.minimum(fell[:2], usually) < _FALL).any()
            or fell.sum() < _TOGETHER
            or not abs(now[0] - self._air) < _AS_BEFORE
        ):
            return None
        if np.ptp([np.median(part[:, 0]) for part in np.array_split(silence, 3)]) > _SAME:
            return None
        said: tuple[str, ...] = (
            f"the spindle turns, but for {lasting:.0f} s nothing is heard to be cut where the program cuts",
            f"the cut was {fell[0]:.0f} dB louder",
        )
        if self._crack > _CRACK * cut[:, 3].max():
            said = (*said, "something cracked as it ended")
            return Finding("broken", 0.7, self._since, said, lasting, limit)
        return Finding("stalled", 0.4, self._since, said, lasting, limit)
