"""The watcher's own sequential test as a rule that ``least`` can feed with made-up rows."""

import numpy as np

from analysis.baseline import CHANNELS, LEAST_SCALE
from analysis.change import threshold_for
from analysis.watcher import LIKE, _Test
from hearing.least import Change, Floats, Rule, Step

COUNT = len(CHANNELS)
_LEAST_LIMIT = 0.5  # deviations; short run lengths would need none in channels with wide dead bands


def rule(run_length: float, correlation: float) -> Rule:
    """
    Return the watcher's test, in one kind of cut and with a baseline that is known without error.

    Parameters
    ----------
    run_length
        Rows between false alarms in a channel that its thresholds are made for.
    correlation
        Correlation of a row with the one before, as the thresholds take it to be.
    """
    references = np.clip(LIKE / LEAST_SCALE, 1.0, 4.0)
    limits = np.array([threshold_for(run_length, k, correlation=correlation) for k in references.tolist()])
    limits = np.maximum(limits, _LEAST_LIMIT)

    def fresh() -> Step:
        test = _Test.begin()

        def step(row: Floats) -> bool:
            nonlocal test
            test = test.after(np.clip(row - references, -limits / 3.0, limits / 3.0), limits, 0.0)
            return test.score >= 1.0

        return step

    return fresh


def changes(correlation: float) -> tuple[Change, ...]:
    """Return what the rule is tried on: a sign or three, moderate or strong, in rows correlated so."""
    return tuple(
        Change(f"{signs} of {COUNT} channels by {size:g} deviations", shift(signs, size), correlation)
        for signs, size in ((1, 3.0), (1, 6.0), (3, 3.0), (3, 6.0))
    )


def shift(signs: int, size: float) -> tuple[float, ...]:
    """Return a change of ``signs`` channels by ``size`` deviations."""
    return (size,) * signs + (0.0,) * (COUNT - signs)
