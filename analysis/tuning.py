"""
What a limit costs and what it gains, from runs in which a person said what was wrong, and which to choose.

Few false alarms are ever counted at the limit that is wanted, for that is what it is for. So the whole trade
is looked at: how the rate falls as the limit rises. The sum that is watched crosses a limit by chance about
exp(-limit) times a row (see `analysis.evidence`); here both the rate at the limit of theory and how steeply
it falls are learned, from what theory says and from what was counted.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

Array64 = NDArray[np.float64]

FACTORS: tuple[float, ...] = tuple(round(0.2 + 0.05 * step, 2) for step in range(31))
"""The limits that are tried, as factors of the one that follows from the budget."""

# How far off theory may be, before anything was counted: the rate by exp(2.5), its fall by a third.
_RATE_DOUBT, _FALL_DOUBT = 2.5, 0.35

# More false alarms in an hour than this run into one another and say nothing of the fall.
_CROWDED = 30.0

# A limit keeps a budget where no more than so many times as many false alarms are expected: limits are tried
# in steps, and from one to the next their number about halves.
_ABOUT = 2.0

FEW_RUNS, FEW_COUNTED = 10, 5
"""Fewer runs, or false alarms at all limits that count, make a proposal that is mostly theory."""


@dataclass(frozen=True)
class Told:
    """
    What a run with its labels tells of a bit.

    Attributes
    ----------
    run
        Its name.
    hours
        Hours of cutting in which nothing was wrong.
    false
        False alarms in these at each limit that was tried.
    delays
        Seconds from when it began to go wrong to the alarm at each limit, infinite where there was none;
        ``None`` where nothing went wrong.
    """

    run: str
    hours: float
    false: tuple[int, ...]
    delays: tuple[float, ...] | None = None


@dataclass(frozen=True)
class Row:
    """
    What happened at one limit, over some runs.

    Attributes
    ----------
    factor
        The limit, as a factor of the one that follows from the budget; NaN where each run had its own.
    false, hours
        False alarms, and hours of cutting in which nothing was wrong.
    low, high
        The exact 95 % interval of the false alarms an hour.
    caught, faults
        How many faults were noticed, of how many.
    delay
        Seconds from the onset to the alarm, the median over all faults; infinite when half were missed, NaN
        without faults.
    """

    factor: float
    false: int
    hours: float
    low: float
    high: float
    caught: int
    faults: int
    delay: float

    @property
    def rate(self) -> float:
        """False alarms an hour."""
        return self.false / self.hours if self.hours > 0.0 else math.nan


@dataclass(frozen=True)
class Proposal:
    """
    The limit that is thought to keep a budget.

    Attributes
    ----------
    factor
        One of the limits that were tried.
    rate
        False alarms an hour that are expected there.
    low, high
        Between which that lies, with a probability of 80 %.
    counted
        How many false alarms that rests on.
    keeps
        Whether any limit that was tried about keeps the budget. Else nothing is to be proposed: what alarms
        even at the highest is hardly chance.
    """

    factor: float
    rate: float
    low: float
    high: float
    counted: int
    keeps: bool = True


def poisson_interval(count: int) -> tuple[float, float]:
    """
    Return the exact interval, at 95 %, of a Poisson mean of which ``count`` were counted.

    References
    ----------
    F. Garwood, Biometrika 28 (1936) 437-442.
    """
    tail = (1.0 - 0.95) / 2.0
    low = 0.0 if count == 0 else float(gammaincinv(count, tail))
    return low, float(gammaincinv(count + 1, 1.0 - tail))


def trade(told: Sequence[Told], factors: Sequence[float]) -> tuple[Row, ...]:
    """Return what happened at each limit over all runs."""
    return tuple(_row(told, [index] * len(told), factor) for index, factor in enumerate(factors))


def propose(told: Sequence[Told], factors: Sequence[float], budget: float, nats: float) -> Proposal:
    """
    Return the limit at which about as many false alarms are expected as are bearable.

    Parameters
    ----------
    told
        What the runs tell.
    factors
        The limits that were tried, increasing.
    budget
        Bearable false alarms an hour.
    nats
        The limit that follows from that by theory, at the factor 1.
    """
    hours = sum(each.hours for each in told)
    counts = np.array([sum(each.false[index] for each in told) for index in range(len(factors))])
    first = _first_that_counts(counts, hours)
    rates, weights = _posterior(counts[first:], np.array(factors[first:]), hours, budget, nats)
    # The mean of the rate itself, so that where little is known the limit is rather too high.
    expected = (weights[..., np.newaxis] * np.exp(rates)).sum(axis=(0, 1))
    index = int(np.argmin(np.abs(np.log(expected / budget))))
    low, high = np.exp(_quantiles(rates[..., index], weights, (0.1, 0.9))).tolist()
    rate, least = float(expected[index]), poisson_interval(int(counts[-1]))[0]
    keeps = rate <= _ABOUT * budget and least <= hours * budget
    return Proposal(factors[first + index], rate, low, high, int(counts[first]), keeps)


def cross_validated(told: Sequence[Told], factors: Sequence[float], budget: float, nats: float) -> Row:
    """Return what happens when each run is judged at the limit that all other runs propose."""
    chosen = [
        factors.index(propose([*told[:index], *told[index + 1 :]], factors, budget, nats).factor)
        for index in range(len(told))
    ]
    return _row(told, chosen, math.nan)


def is_few(told: Sequence[Told], proposal: Proposal) -> bool:
    """Return whether a proposal is mostly theory, for so little was heard."""
    return len(told) < FEW_RUNS or proposal.counted < FEW_COUNTED


def _row(told: Sequence[Told], chosen: Sequence[int], factor: float) -> Row:
    hours = sum(each.hours for each in told)
    false = sum(each.false[index] for each, index in zip(told, chosen, strict=True))
    delays = [each.delays[index] for each, index in zip(told, chosen, strict=True) if each.delays is not None]
    low, high = (bound / hours if hours else math.inf for bound in poisson_interval(false))
    caught = sum(map(math.isfinite, delays))
    return Row(factor, false, hours, low, high, caught, len(delays), _median(delays))


def _median(delays: Sequence[float]) -> float:
    if not delays:
        return math.nan
    # Of two in the middle the longer one: half of infinity is no delay.
    return sorted(delays)[len(delays) // 2]


def _first_that_counts(counts: NDArray[np.int_], hours: float) -> int:
    crowded = np.flatnonzero(counts > _CROWDED * hours)
    return min(int(crowded[-1]) + 1, len(counts) - 1) if len(crowded) else 0


def _posterior(
    counts: NDArray[np.int_], factors: Array64, hours: float, budget: float, nats: float
) -> tuple[Array64, Array64]:
    """
    Return the logarithm of the rate at each limit for many cases, and how probable each case is.

    Returns
    -------
    rates, weights
        Shapes (cases of the rate, cases of its fall, limits) and (cases of the rate, cases of its fall).
    """
    away, steep = np.linspace(-4.0, 4.0, 81), np.linspace(-2.5, 2.5, 51)
    rate = math.log(budget) + _RATE_DOUBT * away[:, np.newaxis, np.newaxis]
    fall = np.exp(_FALL_DOUBT * steep)[np.newaxis, :, np.newaxis]
    rates = rate - fall * nats * (factors - 1.0)
    means = hours * np.exp(rates)
    # What alarmed at a limit and not at the next one was counted once, at the last one all that is left.
    between = np.concatenate([means[..., :-1] - means[..., 1:], means[..., -1:]], axis=-1)
    seen = np.maximum(np.concatenate([counts[:-1] - counts[1:], counts[-1:]]), 0)
    likely = (seen * np.log(np.maximum(between, 1e-300)) - between).sum(axis=-1)
    likely -= 0.5 * (away[:, np.newaxis] ** 2 + steep**2)
    weights = np.exp(likely - likely.max())
    return rates, weights / weights.sum()


def _quantiles(values: Array64, weights: Array64, wanted: Sequence[float]) -> list[float]:
    order = np.argsort(values, axis=None)
    summed = np.cumsum(weights.ravel()[order])
    found = np.searchsorted(summed, wanted)
    return [float(values.ravel()[order][min(index, len(order) - 1)]) for index in found]
