"""The sound in orders around an alarm: from the last cutting before it began, and since."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.order_spectrum import cells, order_spectrum, window_for
from monitor.story.story import Incident, Story

ORDERS = cells(0.25, 8.0)
_LONGEST, _BACK, _AFTER = 4.0, 30.0, 6.0  # s: of each sound; how far back it is looked for, and forth
_FLUTES = 2
"""What a bit is taken for when nobody said."""


@dataclass(frozen=True, eq=False)
class Compared:
    """
    Levels in orders, normal and now.

    Attributes
    ----------
    orders
        The cells' middles, shape (m,).
    normal, now
        Level in each cell, dBFS, shape (m,).
    speed
        Of the spindle since the change, rpm.
    flutes
        Of the bit.
    """

    orders: NDArray[np.float64]
    normal: NDArray[np.float64]
    now: NDArray[np.float64]
    speed: float
    flutes: int


def compared(story: Story, incident: Incident) -> Compared | None:
    """Return the sound in orders before an alarm and since; ``None`` where too little was kept of it."""
    alarm = incident.alarm
    if not story.run.keeps_sound:
        return None
    rows, since = (cut_rows(story, *span) for span in _spans(incident))
    normal = _levels(story, rows[::-1])
    now = _levels(story, since)
    if normal is None or now is None:
        return None
    bit = story.bit_at(alarm.line.file if alarm.line else None)
    speed = 60.0 * float(np.median(story.column("speed")[since]))
    return Compared(ORDERS, normal, now, speed, bit.flutes if bit else _FLUTES)


def may_be_compared(story: Story, incident: Incident) -> bool:
    """Return whether sound is there that may be compared, without reading it."""
    run = story.run
    spans = [[round(at * run.rate) for at in span] for span in _spans(incident)]
    return all(run.has_sound(first, last) for first, last in spans)


def _spans(incident: Incident) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return from when until when, s, what is normal is looked for, and what is now."""
    onset = incident.alarm.onset
    return (onset - _BACK, onset), (onset, max(onset, incident.alarm.at) + _AFTER)


def cut_rows(story: Story, begin: float, end: float) -> NDArray[np.intp]:
    """Return the rows from ``begin`` to ``end``, s, in which a cut was heard."""
    at = story.rows.at
    inside = (at > begin) & (at <= end) & (story.column("phase") == 2) & (story.column("speed") > 0)
    return np.flatnonzero(inside)


def _levels(story: Story, rows: NDArray[np.intp]) -> NDArray[np.float64] | None:
    """Return the levels of the first windows, in the order of ``rows``, that do not overlap."""
    if not len(rows):
        return None
    rate, at, speed = story.run.rate, story.rows.at, story.column("speed")
    size = window_for(rate, float(np.median(speed[rows])))
    chosen: list[int] = []
    for row in rows.tolist():
        apart = not chosen or abs(at[row] - at[chosen[-1]]) >= size / rate
        if apart and len(chosen) * size < _LONGEST * rate:
            chosen.append(row)
    ends = [round(at[row] * rate) for row in chosen]
    sounds = [(story.run.sound(end - size, end), row) for end, row in zip(ends, chosen, strict=True)]
    whole = [(sound, row) for sound, row in sounds if len(sound) == size and np.isfinite(sound).all()]
    if not whole:
        return None
    windows = np.stack([sound for sound, _ in whole])
    return order_spectrum(windows, rate, speed[[row for _, row in whole]], ORDERS)
