"""
Which alarms a run would have had with another limit, from the scores that were kept.

The score is the running sum of evidence as a share of the limit; it stops growing at 1.5. For the limit that
was in force a recount gives what was said of a loose bit, for others when the same sums would have passed
them; what was said of other faults hangs on no limit. It does not know what a person said meanwhile: an
alarm soon after one that a person ended is taken for the same.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.watcher import GOOD, USUAL

LEAST, MOST = 0.3, 1.45
"""Between which shares of the limit a recount tells anything: below, an alarm would never end."""


@dataclass(frozen=True)
class Counted:
    """
    An alarm that there would have been.

    Attributes
    ----------
    at
        When the score passed the limit, s from the first sample.
    highest
        How high the score then went, as a share of the limit that was in force.
    """

    at: float
    highest: float


def recount(
    at: NDArray[np.float64],
    score: NDArray[np.float64],
    cutting: NDArray[np.bool_],
    *,
    limit: float,
) -> tuple[Counted, ...]:
    """
    Return the alarms that there would have been.

    Parameters
    ----------
    at
        When each row was, s from the first sample, increasing, shape (n,).
    score
        How near the test stood to an alarm then, 1 is one, shape (n,).
    cutting
        Whether a cut was heard then, shape (n,).
    limit
        Share of the limit that was in force, from ``LEAST`` to ``MOST``.

    Raises
    ------
    ValueError
        If the limit is outside.
    """
    if not LEAST <= limit <= MOST:
        raise ValueError(f"limit={limit} must be from {LEAST} to {MOST}")
    rows = np.flatnonzero(cutting)
    if not len(rows):
        return ()
    when, height = at[rows], score[rows]
    over, ends = np.flatnonzero(height >= limit), _ends(when, height < GOOD)
    found: list[Counted] = []
    first = 0
    while (nearest := int(np.searchsorted(over, first))) < len(over):
        begin = int(over[nearest])
        end = int(ends[k]) if (k := int(np.searchsorted(ends, begin))) < len(ends) else len(rows)
        found.append(Counted(float(when[begin]), float(height[begin:end].max())))
        first = end
    return tuple(found)


def _ends(at: NDArray[np.float64], good: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return the rows with which nothing but good rows has lasted for as long as ends an alarm."""
    spacing = float(np.median(np.diff(at))) if len(at) > 1 else 1.0
    # As many rows as the watcher counts, however times are rounded.
    wanted = max(1, int(np.ceil(USUAL.forget / spacing - 1e-6)))
    index = np.arange(len(good))
    last_bad = np.maximum.accumulate(np.where(good, -1, index))
    return np.flatnonzero(index - last_bad >= wanted)
