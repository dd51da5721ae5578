"""What the simulator's truth says, moment by moment."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.locate import KINDS, Plan
from recordings_synthetic import Truth

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Cutting:
    """
    What is being cut at each of n moments: more than any listener is told.

    Attributes
    ----------
    cuts
        (n,) whether the whole stretch of time about the moment lies in the cut, in one kind of it.
    group
        (n,) a number for each bit and kind of cut.
    bit
        (n,) T number.
    """

    cuts: Bools
    group: NDArray[np.intp]
    bit: NDArray[np.intp]


def cutting_at(truth: Truth, plan: Plan, begin: Floats, end: Floats) -> Cutting:
    """Return what was being cut from each of ``begin`` to each of ``end``, s."""
    bit = plan.program.moves.bit.astype(np.intp)
    group = bit * len(KINDS) + plan.kinds
    first, last = (_move_at(truth, moment) for moment in (begin, end))
    # Moves are few and windows short: the groups at both ends tell of what lies between.
    changes = np.concatenate(([0], np.cumsum((np.diff(group) != 0) | ~truth.cutting[1:])))
    same = (changes[first] == changes[last]) & (begin >= truth.begin[0]) & (end <= truth.end[-1])
    return Cutting(same & truth.cutting[first] & truth.cutting[last], group[last], bit[last])


def is_cutting(truth: Truth, at: Floats) -> Bools:
    """Return whether the bit was in the material at each moment, s."""
    inside = (at >= truth.begin[0]) & (at <= truth.end[-1])
    return np.asarray(truth.cutting[_move_at(truth, at)] & inside)


def cutting_seconds(truth: Truth, until: float = np.inf) -> float:
    """Return for how long material was cut until a moment, s."""
    lasted = np.clip(np.minimum(truth.end, until) - truth.begin, 0.0, None)
    return float(lasted[truth.cutting].sum())


def _move_at(truth: Truth, at: Floats) -> NDArray[np.intp]:
    return np.clip(np.searchsorted(truth.begin, at, side="right") - 1, 0, len(truth.begin) - 1)
