"""
The watcher's own sequential test as a rule that ``least`` can feed with made-up rows.

A row is what the watcher makes of a window: how far looseness and colour lie above the baseline's, in
standard deviations of a row. The baseline is known without error here, so there is no dead band for what it
may be off.
"""

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr

from analysis.change import budget_rows
from analysis.watcher import _MOST, SHIFT, _Test
from hearing.least import Change, Floats, Measured, Rule, Step, chain_run_length, least_delay

COUNT = 2


def rule(run_length: float, correlation: float) -> Rule:
    """
    Return the watcher's test.

    Parameters
    ----------
    run_length
        Rows between false alarms that its limit is made for.
    correlation
        Correlation of a row with the one before, as the watcher takes it to be.
    """
    limit = math.log(run_length)
    independent = (1.0 - correlation) / (1.0 + correlation)

    def fresh() -> Step:
        tests = [_Test() for _ in range(COUNT)]

        def step(row: Floats) -> bool:
            steps = independent * SHIFT * (np.minimum(row, _MOST) - SHIFT / 2.0)
            for number, value in enumerate(steps.tolist()):
                tests[number] = tests[number].after(min(value, limit / 4.0), 1.5 * limit, 0.0)
            return max(test.sum for test in tests) >= limit

        return step

    return fresh


def exact(sizes: Sequence[float], hours: float, rows_per_second: float) -> list[Measured]:
    """
    Return how the test does at a limit as it is in use, exactly, in independent rows of one channel.

    Parameters
    ----------
    sizes
        Changes to be found, in deviations of a row.
    hours
        Hours of cutting in which one false alarm is bearable.
    rows_per_second
        How many rows there are.
    """
    limit = math.log(budget_rows(1.0, hours, rows_per_second))
    most = min(limit / 4.0, SHIFT * (_MOST - SHIFT / 2.0))

    def run_length(size: float) -> float:
        def below(step: Floats) -> Floats:
            return np.where(step < most, ndtr(step / SHIFT + SHIFT / 2.0 - size), 1.0)

        return chain_run_length(below, limit)

    # Either of the channels may raise a false alarm.
    length = run_length(0.0) / COUNT
    changes = [Change(f"1 of {COUNT} channels by {size:g} deviations", shift(1, size)) for size in sizes]
    return [
        Measured(change, length, run_length(change.size), None, least_delay(change, length))
        for change in changes
    ]


def changes(correlation: float) -> tuple[Change, ...]:
    """Return what the rule is tried on: one sign or both, small to large, in rows correlated so."""
    return tuple(
        Change(f"{signs} of {COUNT} channels by {size:g} deviations", shift(signs, size), correlation)
        for signs, size in ((1, 1.5), (1, 2.0), (1, 3.0), (1, 5.0), (2, 2.0), (2, 3.0))
    )


def shift(signs: int, size: float) -> tuple[float, ...]:
    """Return a change of ``signs`` channels by ``size`` deviations."""
    return (size,) * signs + (0.0,) * (COUNT - signs)
