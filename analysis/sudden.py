"""
Runout that has grown within a cut, from one second to the next.

How much a bit that is tight runs out of true differs from cut to cut, so beside a baseline it counts for
little. But as long as one bit cuts on at one speed it stays much the same. Where the spindle line and the
swell once per turn both lie for two seconds above nearly all that they were in the last eight to twenty,
something has moved. So this needs no baseline, and no half orders.
"""

import numpy as np

from analysis.baseline import CHANNELS, SIGNS, TRUE_ENOUGH, Array64, Sample

# What tells of runout and of little else.
_SPINDLE, _SWELL = _SIGNS = [CHANNELS.index("spindle"), CHANNELS.index("modulation")]
_TRUE = TRUE_ENOUGH[_SIGNS]
_LEAST_SPINDLE, _LEAST_SWELL = _TRUE.tolist()

# So many s are compared with what was heard in the so many before them, at the least and at the most; every
# so many rows.
_LATELY, _LEAST, _MOST = 2.0, 8.0, 20.0
_OFTEN = 4

# Four in five of the last rows must lie above 19 in 20 of those before, by so many dB. All of these are
# judgements: in 33 h of healthy development runs, 18 of which could be compared so, 0.3 dB was the most.
_ABOVE, _BELOW, _RISE = 0.95, 0.2, 0.75

# In one cut the level differs by no more than so many dB, and a spindle keeps its speed within this share.
_LOUDER, _ONE_SPEED = 5.0, 0.01

# Below this score what was found is over.
_OVER = 0.25

# What is kept of a row.
_AT, _LEVEL, _SPEED, _FIRST_SIGN = range(4)
_COLUMNS = _FIRST_SIGN + len(_SIGNS)


class Sudden:
    """
    Follows whether a bit has begun to run out of true.

    What was heard before an alarm stays what the sound is compared with until it is over.

    Parameters
    ----------
    seconds
        Seconds from one row to the next.

    Attributes
    ----------
    score
        How near that is to an alarm: 1 is one.
    certain
        From which score on it is one, where less is wanted: what was heard before is kept from there on.
    since, good
        Since when it is so, and when it last was not, s from the first sample.
    """

    def __init__(self, seconds: float) -> None:
        self._lately, self._least = round(_LATELY / seconds), round(_LEAST / seconds)
        self._most = self._lately + round(_MOST / seconds)
        # Twice as long as what is looked at, so that it need not be moved with every row.
        self._rows = np.empty((2 * self._most, _COLUMNS))
        self.certain = 1.0
        self.begin()

    def begin(self) -> None:
        """Begin anew."""
        self._end = self._until_next = 0
        self._before: Array64 | None = None
        self._rise = np.zeros(SIGNS)
        self.score = self.since = self.good = 0.0

    def row(self, middle: float, sample: Sample, ever: Array64) -> None:
        """
        Take in one row of a cut across.

        Parameters
        ----------
        middle
            Of its window, s from the first sample.
        sample
            The row.
        ever
            What is normal in any cut of this bit at the most, dB, shape (SIGNS,).
        """
        if self._end == len(self._rows):
            self._rows[: self._most] = self._rows[-self._most :]
            self._end = self._most
        self._rows[self._end] = (
            middle,
            sample.level,
            sample.speed,
            max(sample.plain[_SPINDLE], _LEAST_SPINDLE),
            max(sample.plain[_SWELL], _LEAST_SWELL),
        )
        self._end += 1
        self._until_next = (self._until_next + 1) % _OFTEN
        if self._until_next == 0 and self._end > self._lately:
            self._look(ever[_SIGNS])

    @property
    def rise(self) -> Array64:
        """How far signs have risen, dB, shape (SIGNS,); zeros where this is no finding."""
        return self._rise if self.score > 0.0 else np.zeros(SIGNS)

    def _look(self, ever: Array64) -> None:
        """Take in what the last rows tell together; ``ever`` is of the two signs alone."""
        now = self._rows[self._end - self._lately : self._end]
        lowest = _of_each(now[:, _FIRST_SIGN:], _BELOW)
        before = self._before
        # Mostly there is no runout to speak of, and more need not be looked at.
        if before is None and (lowest > ever).all():
            before = self._set_against(now, self._past(now), ever)
        self.score = 0.0 if before is None else max(float((lowest - before).min()) / _RISE, 0.0)
        stays = self.score >= (self.certain if self._before is None else _OVER)
        self._before = before if stays else None

    def _set_against(self, now: Array64, past: Array64, ever: Array64) -> Array64 | None:
        """Return what nearly all rows before lie below; ``None`` where there are too few of the same cut."""
        louder = np.median(now[:, _LEVEL]) - np.median(past[:, _LEVEL]) if len(past) else 0.0
        if len(past) < self._least or abs(louder) > _LOUDER:
            return None
        signs = past[:, _FIRST_SIGN:]
        self._rise[_SIGNS] = np.median(now[:, _FIRST_SIGN:], axis=0) - np.median(signs, axis=0)
        self.since, self.good = float(now[0, _AT]), float(past[-1, _AT])
        return np.maximum(_of_each(signs, _ABOVE), ever)

    def _past(self, now: Array64) -> Array64:
        """Return the rows before the last ones at the same speed; none where that is not steady now."""
        speed = float(np.median(now[:, _SPEED]))
        rows = self._rows[max(0, self._end - self._most) : self._end]
        steady = np.abs(rows[:, _SPEED] / speed - 1.0) < _ONE_SPEED
        past, lately = rows[: -len(now)], steady[-len(now) :]
        return past[steady[: -len(now)]] if lately.all() else past[:0]


def _of_each(values: Array64, share: float) -> Array64:
    """Return of each column the value below which that share of it lies, shape (k,)."""
    place = int(share * len(values))
    found: Array64 = np.partition(values, place, axis=0)[place]
    return found
