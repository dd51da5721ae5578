"""Where in a job a fault may begin: any line of any bit, once the bit was heard for long enough."""

import numpy as np
from numpy.typing import NDArray

from analysis.locate import KINDS, Plan
from hearing.faults import FaultKind


def line_for(plan: Plan, kind: FaultKind, rng: np.random.Generator) -> int | None:
    """
    Return a line of the file on which a fault may begin, each second of cutting being as likely as any other.

    ``None`` where the job has none: with so much cutting with the same bit before it and from it on, by the
    plan's clock, as the kind asks for.
    """
    weight = np.where(_allowed(plan, kind), plan.times.end - plan.times.begin, 0.0)
    if not weight.any():
        return None
    move = int(rng.choice(len(weight), p=weight / weight.sum()))
    if kind.where == "air":
        move = _air_before(plan, move)
    return int(plan.program.moves.file_line[move])


def _allowed(plan: Plan, kind: FaultKind) -> NDArray[np.bool_]:
    """Return on which moves the fault may begin, (n,)."""
    seconds = np.where(plan.cuts, plan.times.end - plan.times.begin, 0.0)
    allowed = np.zeros(len(seconds), dtype=np.bool_)
    if kind.where == "start":
        allowed[np.flatnonzero(plan.cuts)[:1]] = True
        return allowed
    for first, last in plan.stints:
        stint = slice(first, last + 1)
        done = np.cumsum(seconds[stint]) - seconds[stint]
        ahead = float(seconds[stint].sum()) - done
        allowed[stint] = plan.cuts[stint] & (done >= kind.learned) & (ahead >= kind.left)
    if kind.where == "sideways":
        allowed &= plan.kinds != KINDS.index("down")
    return allowed


def _air_before(plan: Plan, move: int) -> int:
    """Return the last move in the air before a cut, with the bit already turning."""
    air = np.flatnonzero(~plan.cuts[:move] & (plan.program.moves.length[:move] > 0.0))
    return int(air[-1])
