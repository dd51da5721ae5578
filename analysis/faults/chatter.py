"""Whether the cut chatters: it then has tones that lie off the spindle's orders and a tooth-pass apart."""

from collections import deque

import numpy as np

from analysis.baseline import Sample
from analysis.cut import Moment
from analysis.faults.finding import Finding
from analysis.presence import Phase

# Over so many s of cutting the tones must stand out by so much, dB, on the average.
_LASTS, _STANDS_OUT = 1.0, 12.0
# Their frequency keeps within this, relative, in so many of the rows.
_STEADY, _MOSTLY = 0.02, 0.75
# A shop in which such tones stand out by so much in the air, dB, or any foreign ones by so much, has tones of
# its own; so had one in which they did in the last so many s.
_SHOP, _FOREIGN, _SHOP_LASTS = 7.0, 4.0, 20.0
# They have begun where they first stood out by so much, dB.
_BEGINS = 6.0


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
        self._rows = max(2, round(_LASTS / seconds))
        self._cut: deque[tuple[float, float, float]] = deque(maxlen=self._rows)
        self._air: deque[tuple[float, float]] = deque(maxlen=self._rows)
        self._shop = -np.inf

    def begin(self) -> None:
        """Begin anew."""
        self._cut.clear()

    def row(self, moment: Moment, normal: Sample | None) -> Finding | None:
        """Take in one row, and the sound that is normal if that is known; return what is found."""
        besides = moment.besides
        if moment.phase is not Phase.CUT or besides.sounds is not Phase.CUT:
            self._cut.clear()
            self._hear_shop(moment)
            return None
        self._air.clear()
        self._cut.append((moment.middle, besides.beats, besides.tone))
        if normal is None or len(self._cut) < self._rows or moment.at - self._shop < _SHOP_LASTS:
            return None
        # Most rows have no such tones, and are done with.
        if sum(beats for _, beats, _ in self._cut) < _STANDS_OUT * self._rows:
            return None
        return self._judge()

    def _hear_shop(self, moment: Moment) -> None:
        self._air.append((moment.besides.beats, moment.sample.foreign))
        beats, foreign = (sum(heard) / len(self._air) for heard in zip(*self._air, strict=True))
        if beats > _SHOP or foreign > _FOREIGN:
            self._shop = moment.at

    def _judge(self) -> Finding | None:
        middle, beats, tone = np.array(self._cut).T
        usual, height = float(np.median(tone)), float(beats.mean())
        steady = float(np.mean(np.abs(tone - usual) < _STEADY * usual))
        if steady < _MOSTLY:
            return None
        said = (
            f"tones at {usual:.0f} Hz and a tooth-pass away stand {height:.0f} dB out of the noise",
            "they are no multiples of the spindle's speed",
            "outside the cut no such tones were heard",
        )
        return Finding("chatter", 0.7, float(middle[np.argmax(beats > _BEGINS)]), said, height, _STANDS_OUT)
