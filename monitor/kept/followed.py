"""Which parts of a run were heard all the way, whatever was thought of them, as far as what is kept tells."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from analysis.errors import ChipsongError
from analysis.locate import Plan
from analysis.place.marks import HEARD, Marks, unmarked, verdicts
from monitor.journal import Run
from monitor.kept.job import bits_of
from monitor.kept.places import WasCut

# A way that is this long, s of the program, between two looks at the place was not gone but jumped.
_JUMP = 3.0


def heard_all(run: Run, was: WasCut) -> frozenset[str]:
    """
    Return the names of the parts that were heard being cut all the way.

    None where that cannot be told: without places, as in runs of old, and where a program goes over a line
    more than once, for nobody kept which time it was.
    """
    if was.program is None or not was.places or (np.diff(was.program.moves.file_line) < 0).any():
        return frozenset()
    try:
        plan = Plan.of(was.program, bits_of(run))
    except (ChipsongError, KeyError, ValueError):  # the bits were not kept, or cut nothing
        return frozenset()
    learned = frozenset(int(entry["bit"]) for entry in run.learned.get("baselines", ()))
    found = verdicts(plan, _heard(run, was, plan), learned)
    return frozenset(part.name for part in found if part.verdict == "good")


def _heard(run: Run, was: WasCut, plan: Plan) -> Marks:
    """Return the marks of the moves that were passed while something could be compared, shape (n,)."""
    found, lines, hears = unmarked(plan), plan.program.moves.file_line, _hearing(run)
    end = was.places[-1]._replace(at=run.summary["at"] if run.summary else was.places[-1].at)
    for here, there in pairwise((*was.places, end)):
        if hears(here.at, there.at):
            first, last = np.searchsorted(lines, (here.line, here.line + 1)).tolist()
            on = int(np.searchsorted(lines, there.line))
            is_way = last <= on and plan.times.begin[on] - plan.times.end[last - 1] < _JUMP
            found[first : on if is_way else last] |= HEARD
    return found


def _hearing(run: Run) -> Callable[[float, float], bool]:
    """Return what tells whether anything could be compared from one moment to another, s."""
    states = [(event.at, event.body["state"]) for event in run.events() if event.name == "state"]
    since = np.array([0.0, *(at for at, _ in states)])
    hears = np.array([False, *(state not in ("deaf", "settle") for _, state in states)])
    counted = np.concatenate(([0], np.cumsum(hears)))

    def is_heard(begin: float, end: float) -> bool:
        first, last = np.searchsorted(since, begin, side="right") - 1, np.searchsorted(since, end)
        return bool(counted[last] > counted[first])

    return is_heard
