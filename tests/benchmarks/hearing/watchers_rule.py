"""
The watcher's own comparison as a rule that ``least`` can feed with made-up rows.

A row is how far the signs lie above what is normal, in deviations. The baseline is known without error here,
so there is no dead band for what it may be off.
"""

from dataclasses import replace

import numpy as np

from analysis.baseline import SIGNS, Baseline, Sample
from analysis.comparison import LIKE, Comparison
from analysis.cut import FAMILIES, Context, Moment
from analysis.evidence import SOUGHT
from analysis.presence import Phase
from hearing.least import Change, Floats, Rule, Step

# From one row to the next, s: of a bit at 18 000 rpm.
_SECONDS = 0.05
# Signs of a bit that runs out a little, dB: each may rise and fall from here.
_NORMAL = Sample(
    plain=np.array([12.0, 6.0, 6.0, -6.0, -10.0]),
    colour=np.full(8, -40.0),
    level=-20.0,
    hiss=-25.0,
    noise=-60.0,
    own=1.0,
    foreign=0.0,
    teeth=-30.0,
    speed=300.0,
)
_KNOWN = Baseline(10**12, _NORMAL, np.zeros(SIGNS + 1), np.ones(SIGNS + 1))
# The cut is of one kind, which the program tells: else nothing would be compared as it is.
_ACROSS = Context(1, FAMILIES[1], told=True)


def rule(limit: float, correlation: float) -> Rule:
    """
    Return the watcher's comparison, of a bit with several flutes.

    Parameters
    ----------
    limit
        The sum that is an alarm, nats.
    correlation
        Correlation of a row with the one before, as the watcher takes it to be.
    """

    def fresh() -> Step:
        comparison = Comparison(_SECONDS, correlation)
        comparison.set(limit, 0.0)
        at = 0.0

        def step(row: Floats) -> bool:
            nonlocal at
            at += _SECONDS
            sample = replace(_NORMAL, plain=_NORMAL.plain + row)
            comparison.row(Moment(at, at, sample, Phase.CUT, _ACROSS), _KNOWN, LIKE, _NORMAL.plain)
            return comparison.has_faded or comparison.is_loose(at)

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
