"""A limit that some runs proposed, judged by others."""

import math
from collections.abc import Sequence

from analysis.change import budget_rows
from analysis.comparison import TESTS
from analysis.tape import Tape
from analysis.tuning import Told
from analysis.watcher import Settings
from bitbench.cuts import TOOL, cut

_SECONDS = 60.0
_SEVERITY = (0.15, 0.6)
# An alarm so long, s, before the onset is still no false one.
_EARLY = 1.0


def nats(false_alarms: float, hours: float) -> float:
    """Return the limit of theory for a budget."""
    return math.log(budget_rows(false_alarms, hours, 20.0, TESTS))


def told(seed: int, budget: tuple[float, float], factors: Sequence[float], *, faulty: bool) -> Told:
    """Return what a run tells of each limit; every one in a shop of its own."""
    run = cut(
        seed,
        seconds=_SECONDS,
        shop_seed=seed,
        severity=_SEVERITY,
        when="late" if faulty else "never",
    )
    listener = run.listener(watcher=Tape)
    listener.hear(run.heard.samples)
    tape = listener.watcher
    assert isinstance(tape, Tape)
    onset = run.heard.truth.onset
    until = math.inf if onset is None else onset
    heard = [
        [alarm.at for alarm in tape.alarms(TOOL, Settings(budget[0], budget[1], factor=factor))]
        for factor in factors
    ]
    false = tuple(sum(at < until - _EARLY for at in alarms) for alarms in heard)
    hours = tape.cut_seconds(TOOL, until) / 3600.0
    if onset is None:
        return Told(str(seed), hours, false)
    after = [[at for at in alarms if at >= until - _EARLY] for alarms in heard]
    return Told(str(seed), hours, false, tuple(max(0.0, at[0] - onset) if at else math.inf for at in after))
