"""
The watcher's own sequential test as a rule that ``least`` can feed with made-up rows.

A row is how far the signs lie above what is normal, in deviations. The baseline is known without error here,
so there is no dead band for what it may be off.
"""

import math

import numpy as np

from analysis.baseline import SIGNS
from analysis.comparison import PATHS, Test
from analysis.evidence import SOUGHT, Weights
from hearing.least import Change, Floats, Rule, Step

# No row counts for more than this share of the limit.
_MOST = 1.0 / 3.0


def rule(run_length: float, correlation: float) -> Rule:
    """
    Return the watcher's test of a bit with several flutes.

    Parameters
    ----------
    run_length
        Rows between false alarms that its limit is made for.
    correlation
        Correlation of a row with the one before, as the watcher takes it to be.
    """
    limit = math.log(run_length)
    most = _MOST * limit
    paths = [Weights.of(correlation, share=share) for share in PATHS]

    def fresh() -> Step:
        tests = [Test() for _ in paths]

        def step(row: Floats) -> bool:
            for number, path in enumerate(paths):
                counted = float(np.clip(path.evidence(row), -most, most))
                tests[number] = tests[number].after(counted, 1.5 * limit, 0.0)
            return max(test.sum for test in tests) >= limit

        return step

    return fresh


def changes(correlation: float) -> tuple[Change, ...]:
    """Return what the rule is tried on: one sign or all of a slip's, slight to strong, in correlated rows."""
    once, rocking = np.eye(SIGNS)[-2:]
    tried = {
        "the swell once per turn alone by 2 deviations": 2.0 * once,
        "the swell of every second turn alone by 3 deviations": 3.0 * rocking,
        "all signs, a third of what is sought": SOUGHT / 3.0,
        "all signs, two thirds of what is sought": SOUGHT / 1.5,
        "all signs, as is sought": SOUGHT,
    }
    return tuple(Change(name, tuple(shift.tolist()), correlation) for name, shift in tried.items())
