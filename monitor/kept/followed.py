"""Which parts of a run were heard all the way, whatever was thought of them, as far as what is kept tells."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from analysis.locate import Plan
from analysis.place.locator import JUMP
from analysis.place.marks import HEARD, Marks, unmarked, verdicts
from monitor.journal import Run
from monitor.kept.job import plan_of
from monitor.kept.places import WasCut


def heard_all(run: Run, was: WasCut) -> frozenset[str]:
    """
    Return the names of the parts that were heard being cut all the way.

    None where that cannot be told: without places, as in runs of old, and where a program goes over a line
    more than once, for nobody kept which time it was.
    """
    plan = plan_of(run, was.program) if was.program is not None and was.places else None
    if plan is None or plan.repeats:
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
            is_way = last <= on and plan.times.begin[on] - plan.times.end[last - 1] < JUMP
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
