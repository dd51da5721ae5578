"""
Which seeds are for what.

A figure is worth something only if nothing was chosen by the runs that it is measured on. So seeds are kept
apart: those below ``DEVELOPMENT_END`` may be looked at as often as anybody likes; those from ``JUDGED`` on
are run by the benchmark alone, and nothing in this project may be chosen by what they show. ``judges`` tells
which have judged earlier states, and which are other benchmarks'.
"""

from typing import Literal

from judges import DEVELOPMENT, HEARING

Use = Literal["judged", "development", "calibration"]

DEVELOPMENT_END, JUDGED = DEVELOPMENT.stop, HEARING.start

# Calibration is development too: it chooses the rivals' thresholds.
_FIRST: dict[Use, int] = {"development": 10_000, "calibration": 50_000, "judged": JUDGED}
_LAST: dict[Use, int] = {"development": 50_000, "calibration": DEVELOPMENT_END, "judged": HEARING.stop}
_EACH = 400


def seed_of(use: Use, number: int, run: int) -> int:
    """
    Return the seed of a run.

    Parameters
    ----------
    use
        What the run is for.
    number
        The condition's or fault's own number, which it keeps for good: a new one leaves the seeds of all
        others as they were.
    run
        Which of its runs, from 0.

    Raises
    ------
    ValueError
        If that seed would belong to another number or another use.
    """
    if not 0 <= run < _EACH:
        raise ValueError(f"run={run}: there are seeds for {_EACH} runs of each kind")
    seed = _FIRST[use] + _EACH * number + run
    if not _FIRST[use] <= seed < _LAST[use]:
        raise ValueError(f"number={number}: its seed {seed} would not be one for {use} runs")
    return seed
