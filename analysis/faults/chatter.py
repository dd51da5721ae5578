"""Whether the cut chatters: it then has tones that lie off the spindle's orders and a tooth-pass apart."""

from collections import deque
from collections.abc import Collection
from typing import NamedTuple

import numpy as np

from analysis.baseline import Sample
from analysis.cut import Moment
from analysis.faults.finding import Finding
from analysis.presence import Phase

# Over so many s of cutting the tones must stand out by so much, dB, on the average.
_LASTS, _STANDS_OUT = 1.0, 12.0
# A bit and its spindle ring no lower, Hz; machines with a motor hum there.
_LOWEST = 400.0
# Before, over so many s of cutting, they stood out by less than this, dB, on the average.
_BEFORE, _HARDLY = 10.0, 4.5
# Their frequency keeps within this, relative, in so many of the rows.
_STEADY, _MOSTLY = 0.02, 0.6
# The cut that shakes is louder than normal by so much, dB, and so is its hiss. Another machine's tones are
# not: where its hiss was as loud, nothing of the cut would be heard.
_LOUDER = 4.0
# A shop in which such tones stand out by so much in the air, dB, or any foreign ones by so much anywhere, has
# tones of its own; so had one in which they did in the last so many s.
_SHOP, _FOREIGN, _SHOP_LASTS = 7.0, 2.6, 60.0
# They have begun where they first stood out by so much, dB.
_BEGINS = 6.0


class _Heard(NamedTuple):
    """What counts of a row of the cut."""

    middle: float
    beats: float
    tone: float
    level: float
    hiss: float
    foreign: float


class Chatter:
    """
    Follows the tones that come back a tooth-pass away, row by row.

    Chatter that sounds as one tone alone is left out: a machine that somebody switches on sounds so too.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.
    """

    def __init__(self, seconds: float) -> None:
        rows = max(2, round(_LASTS / seconds))
        self._cut: deque[_Heard] = deque(maxlen=rows)
        self._air: deque[float] = deque(maxlen=rows)
        self._before: deque[float] = deque(maxlen=rows)
        self._shop = -np.inf
        self._keeps = float(np.exp(-seconds / _BEFORE))
        self._usual = 0.0
        self._found: Finding | None = None

    def begin(self) -> None:
        """Begin anew."""
        self._cut.clear()
        self._usual, self._found = 0.0, None

    def row(self, moment: Moment, normal: Sample | None) -> Finding | None:
        """Take in one row, and the sound that is normal if that is known; return what is found."""
        sample, besides = moment.sample, moment.besides
        if moment.phase is not Phase.CUT or besides.sounds is not Phase.CUT:
            self._cut.clear()
            self._air.append(besides.beats)
            self._hear_shop(moment.at, sample.foreign)
            return None
        self._air.clear()
        full = len(self._cut) == self._cut.maxlen
        if full and self._found is None:
            self._leave_behind(moment.at, self._cut[0])
        heard = (besides.beats, besides.tone, sample.level, sample.hiss, sample.foreign)
        self._cut.append(_Heard(moment.middle, *heard))
        likely = full and self._is_likely(moment.at)
        self._found = self._judge(normal) if likely and normal is not None else None
        return self._found

    def _leave_behind(self, at: float, gone: _Heard) -> None:
        """Take in what was heard more than a second ago."""
        self._usual += (1.0 - self._keeps) * (gone.beats - self._usual)
        # Chatter that comes up slowly has foreign tones too.
        if gone.beats < _BEGINS:
            self._hear_shop(at, gone.foreign)

    def _hear_shop(self, at: float, foreign: float) -> None:
        """Hear the tones outside the cut, and those in it before the last second."""
        self._before.append(foreign)
        if _mean(self._before) > _FOREIGN or _mean(self._air) > _SHOP:
            self._shop = at

    def _is_likely(self, at: float) -> bool:
        """Return whether the tones stand out for long enough, did not before, and are not the shop's."""
        if at - self._shop <= _SHOP_LASTS or self._usual >= _HARDLY:
            return False
        return _mean([heard.beats for heard in self._cut]) > _STANDS_OUT

    def _judge(self, normal: Sample) -> Finding | None:
        middle, beats, tone, level, hiss, _ = np.array(self._cut).T
        usual, height = float(np.median(tone)), float(beats.mean())
        steady = float(np.mean(np.abs(tone - usual) < _STEADY * usual))
        louder = min(float(np.median(level)) - normal.level, float(np.median(hiss)) - normal.hiss)
        if steady < _MOSTLY or usual < _LOWEST or louder < _LOUDER:
            return None
        said = (
            f"tones at {usual:.0f} Hz and a tooth-pass away stand {height:.0f} dB out of the noise",
            "they are no multiples of the spindle's speed",
            f"the cut grew louder by {louder:.0f} dB",
        )
        return Finding("chatter", 0.7, float(middle[np.argmax(beats > _BEGINS)]), said, height, _STANDS_OUT)


def _mean(values: Collection[float]) -> float:
    """Return the mean of a few values, 0 of none; `numpy.mean` takes ten times as long for so few."""
    return sum(values) / len(values) if values else 0.0
