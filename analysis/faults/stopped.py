"""
Whether the spindle has stopped in the cut.

Its comb and its tooth-pass are gone, its speed is no longer heard, and nothing louder than the cut covers
them. Where a spindle slows down each tooth first takes a thicker chip, so that the cut grows far louder for a
moment.
"""

from collections import deque

import numpy as np
from numpy.typing import NDArray

from analysis.baseline import Sample
from analysis.cut import Moment
from analysis.faults.finding import Finding
from analysis.presence import Phase

# What is usual is taken from so many s of cutting, before those that are looked at.
_USUALLY = 4.0
# The comb stood out by so much, dB, and for so many s now by less than a share of that, and less than this.
_STOOD, _LASTS, _SHARE, _GONE = 1.8, 1.5, 0.4, 1.2
# Tooth-pass fell by so much, dB.
_FALL = 6.0
# Louder by more than this, dB, something may cover it; so may talk, whose foreign tones stand out by this.
_COVERS, _TALK = 7.0, 2.2
# A speed within this, relative, is still heard, where it is in so many of the rows.
_SAME, _OFTEN = 0.006, 0.4
# The usual speed is the baseline's to within this; a comb is still heard at this share of what it stood.
_KNOWN, _STILL = 0.01, 0.75
# The cut grows louder by so much, dB, for so many s at the least, within so many s.
_LOUDER, _FOR, _WITHIN = 7.0, 0.1, 3.0


class Stopped:
    """
    Follows the spindle's comb in cuts, row by row.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._usual: deque[tuple[float, ...]] = deque(maxlen=round(_USUALLY / seconds))
        late = round((_LASTS + _WITHIN) / seconds)
        self._late: deque[tuple[float, ...]] = deque(maxlen=late)
        self._combs: deque[float] = deque(maxlen=round(_LASTS / seconds))
        self._found: Finding | None = None

    def begin(self) -> None:
        """Begin anew."""
        self._found = None
        self._usual.clear()
        self._late.clear()
        self._combs.clear()

    def row(self, moment: Moment, normal: Sample | None) -> Finding | None:
        """Take in one row, and the sound that is normal if that is known; return what is found."""
        sample, besides = moment.sample, moment.besides
        if moment.phase is not Phase.CUT or besides.sounds is not Phase.CUT or moment.context.guessed:
            return None
        if len(self._late) == self._late.maxlen and self._found is None:
            self._usual.append(self._late[0][1:6])
        heard = (sample.level, sample.speed, sample.hiss, sample.tooth_pass, sample.foreign)
        self._late.append((moment.middle, besides.comb, *heard, moment.context.stops))
        self._combs.append(besides.comb)
        if normal is None or len(self._usual) < (self._usual.maxlen or 0):
            return None
        # Most rows have a comb, and are done with.
        if sum(self._combs) > _GONE * len(self._combs):
            self._found = None
        elif self._found is None:
            usual = np.array(self._usual)
            stood = float(np.median(usual[:, 0]))
            # Where none stood out, nobody can tell that it has gone.
            if stood >= _STOOD and np.mean(self._combs) <= _SHARE * stood:
                self._found = self._judge(stood, usual[:, 1:], np.array(self._late), normal)
        return self._found

    def _judge(
        self, stood: float, usual: NDArray[np.float64], rows: NDArray[np.float64], normal: Sample
    ) -> Finding | None:
        """Return that a spindle whose comb is gone has stopped; ``None`` if too little speaks for it."""
        level, speed, hiss, teeth = np.median(usual, axis=0)
        _, _, levels, speeds, _, toothed, foreign, _ = rows[-len(self._combs) :].T
        since, *_, planned = next((row for row in rows[::-1] if row[1] > _STILL * stood), rows[0])
        # Talk is loud below the hiss.
        louder = np.minimum(rows[:, 2] - level, rows[:, 4] - hiss)
        surge = float(np.sort(louder)[-1 - round(_FOR / self._seconds)])
        if (
            planned
            or abs(speed - normal.speed) > _KNOWN * normal.speed
            or np.median(levels) > level + _COVERS
            or np.median(toothed) > teeth - _FALL
            or np.mean(np.abs(speeds - speed) < _SAME * speed) > _OFTEN
            or foreign.mean() > _TALK
            or surge < _LOUDER
        ):
            return None
        said = (
            f"the spindle's lines stood out by {stood:.1f} dB; now they are gone, and nothing covers them",
            f"tooth-pass fell by {teeth - np.median(toothed):.0f} dB",
            f"the cut grew louder by {surge:.0f} dB for a moment, as it does when the spindle slows down",
        )
        return Finding("spindle", 0.7, float(since), said, surge, _LOUDER)
