"""
The delay against the least that any rule could reach at the same rate of false alarms.

Rows are made here, so that what is before and after the change is known: normal, of mean 0 and deviation 1,
independent or a first-order autoregression, and from the change on of another mean in some channels. The
rule under test is fed with them as the watcher feeds it; how long it runs when nothing changes is measured,
and the best rule there is gets the same run length.

For independent rows the best one, in the sense of Lorden's worst case, is the CUSUM matched to the change
(Moustakides, Annals of Statistics 14 (1986) 1379-1387); its run lengths are exact here, not asymptotic:
log(run length)/information is not a bound at usable sizes (13.7 rows where the exact delay is 10.4). It
knows which channels move and by how much, as no watcher can. For an autoregression the matched one works on
what each row brings that the row before did not tell; it is simulated.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from analysis.change import cusum_run_length, threshold_for

Floats = NDArray[np.float64]
# Takes a row of deviations, (channels,), and says whether it alarms.
Step = Callable[[Floats], bool]
# Makes a rule that has heard nothing yet.
Rule = Callable[[], Step]

_CHAINS = 2000
# A rule that has not alarmed by then can't be measured in a reasonable time: after the change, and before.
_MOST_ROWS, _MOST_STILL = 20_000, 3_000_000


class NeverAlarmsError(Exception):
    """The rule under test ran for too long without an alarm to be measured."""


@dataclass(frozen=True)
class Change:
    """
    What comes.

    Attributes
    ----------
    name
        What to call it.
    shift
        By how much the mean of each channel moves, in deviations of a row.
    correlation
        Correlation of a row with the one before.
    """

    name: str
    shift: tuple[float, ...]
    correlation: float = 0.0

    @property
    def size(self) -> float:
        """How large it is for a rule that adds the channels up as is best."""
        return math.sqrt(sum(value * value for value in self.shift))


@dataclass(frozen=True)
class Measured:
    """
    How a rule did.

    Attributes
    ----------
    change
        What came.
    run_length
        Mean rows between false alarms, measured.
    delay, error
        Mean rows from the change to the alarm, and the standard error of that; without end where the rule did
        not find it.
    least
        What the best rule needs at that run length.
    """

    change: Change
    run_length: float
    delay: float
    error: float
    least: float

    @property
    def ratio(self) -> float:
        """How many times as long as the least the rule takes."""
        return self.delay / self.least


def measure(rule: Rule, changes: Sequence[Change], *, alarms: int, seed: int) -> list[Measured]:
    """
    Return how a rule does against the best one.

    Parameters
    ----------
    rule
        Makes the rule under test. All changes have its number of channels.
    changes
        What comes.
    alarms
        How many alarms are waited for: false ones, and right ones for each change.
    seed
        Where the rows come from.

    Raises
    ------
    NeverAlarmsError
        If its false alarms are too rare to be waited for.
    """
    lengths: dict[float, float] = {}
    found = []
    for number, change in enumerate(changes):
        rho = change.correlation
        if rho not in lengths:
            lengths[rho] = between_false_alarms(rule, len(change.shift), rho, alarms, seed)
        delay, error = _delay(rule, change, alarms, seed + 1 + number)
        found.append(Measured(change, lengths[rho], delay, error, least_delay(change, lengths[rho])))
    return found


def between_false_alarms(rule: Rule, channels: int, correlation: float, alarms: int, seed: int) -> float:
    """Return the mean rows between false alarms, from so many of them: after each the rule begins anew."""
    still = Change("nothing", (0.0,) * channels, correlation)
    rows = _rows(still, np.random.default_rng(seed))
    step, raised = rule(), 0
    for count, row in enumerate(islice(rows, _MOST_STILL), 1):
        if step(row):
            step, raised = rule(), raised + 1
            if raised == alarms:
                return count / alarms
    raise NeverAlarmsError(f"the rule raised {raised} false alarms in {_MOST_STILL} rows, not {alarms}")


def _delay(rule: Rule, change: Change, alarms: int, seed: int) -> tuple[float, float]:
    """Return the mean delay and its standard error; without end where the change is not found."""
    try:
        delays = run_lengths(rule, change, alarms, seed)
    except NeverAlarmsError:
        return math.inf, math.nan
    return float(np.mean(delays)), float(np.std(delays)) / math.sqrt(alarms)


def run_lengths(rule: Rule, change: Change, alarms: int, seed: int) -> list[int]:
    """Return for how many rows a fresh rule runs when the change is there from its first row, many times."""
    rng = np.random.default_rng(seed)
    return [_first_alarm(rule(), _rows(change, rng)) for _ in range(alarms)]


def _first_alarm(step: Step, rows: Iterator[Floats]) -> int:
    for count, row in enumerate(islice(rows, _MOST_ROWS), 1):
        if step(row):
            return count
    raise NeverAlarmsError(f"the rule did not alarm in {_MOST_ROWS} rows")


def _rows(change: Change, rng: np.random.Generator, batch: int = 256) -> Iterator[Floats]:
    """Yield rows without end; those before the first were as usual."""
    rho, shift = change.correlation, np.array(change.shift)
    push = math.sqrt(1.0 - rho * rho)
    last = rng.standard_normal(len(shift))
    while True:
        for new in rng.standard_normal((batch, len(shift))):
            last = rho * last + push * new
            yield last + shift


def least_delay(change: Change, run_length: float) -> float:
    """Return the mean delay, rows, of the matched rule that runs for ``run_length`` without a change."""
    if change.correlation == 0.0:
        reference = change.size / 2.0
        limit = threshold_for(run_length, reference)
        # Below a threshold of 0 every row that is beyond the reference alarms.
        return cusum_run_length(change.size, reference, max(limit, 1e-6))
    matched = _Matched(change.size, change.correlation)
    # A sum of log-likelihood ratios runs for at least exp(limit) rows, so the limit is at most this.
    low, high = 0.0, math.log(run_length)
    for _ in range(8):
        middle = 0.5 * (low + high)
        short = matched.run_length(middle, changed=False) < run_length
        low, high = (middle, high) if short else (low, middle)
    return matched.run_length(high, changed=True)


class _Matched:
    """
    The CUSUM matched to a change of mean of an autoregression, many chains at once.

    A row brings ``(x[t] - rho x[t-1]) / sqrt(1 - rho²)``. In the first row of the change that is larger by
    ``a = shift / sqrt(1 - rho²)``, in each later one by ``b = a (1 - rho)``. The sum of log-likelihood ratios
    since the likeliest onset is ``max(sum + b u - b²/2, a u - a²/2)``: the change goes on, or begins now.
    """

    def __init__(self, shift: float, rho: float) -> None:
        self._first = shift / math.sqrt(1.0 - rho * rho)
        self._later = self._first * (1.0 - rho)

    def run_length(self, limit: float, *, changed: bool) -> float:
        """Return the mean number of rows until the sum reaches ``limit``."""
        rng = np.random.default_rng(0)
        a, b = self._first, self._later
        rows, count, alive = 0, 0, np.full(_CHAINS, -np.inf)
        while len(alive):
            u = rng.standard_normal(len(alive))
            if changed:
                u += a if count == 0 else b
            alive = np.maximum(alive + b * u - b * b / 2.0, a * u - a * a / 2.0)
            rows += len(alive)
            count += 1
            alive = alive[alive < limit]
        return rows / _CHAINS
