"""What a limit costs, from few runs: intervals, proposals, and runs that judge what others proposed."""

import math

import numpy as np
import pytest

from analysis.tuning import FACTORS, Told, cross_validated, is_few, poisson_interval, propose, trade

NATS = 12.0


def told_of(
    rng: np.random.Generator, runs: int, *, rate: float, fall: float, hours: float = 0.1
) -> list[Told]:
    """Draw runs whose false alarms come at ``rate`` an hour at the factor 1, and fall so much faster."""
    law = rate * np.exp(-fall * NATS * (np.array(FACTORS) - 1.0)) * hours
    found = []
    for number in range(runs):
        # Each has a height: at all limits below it, it is one.
        heights = rng.poisson(law[0])
        reached = rng.uniform(0.0, 1.0, heights)
        false = tuple(int((reached * law[0] < mean).sum()) for mean in law)
        delays = tuple(factor for factor in FACTORS) if number % 3 == 0 else None
        found.append(Told(f"run {number}", hours, false, delays))
    return found


@pytest.mark.parametrize(("count", "low", "high"), [(0, 0.0, 3.689), (1, 0.0253, 5.572), (10, 4.795, 18.390)])
def test_intervals_are_garwoods(count: int, low: float, high: float):
    """Exact 95 % limits of a Poisson mean, from published tables (Pearson and Hartley, table 40)."""
    assert poisson_interval(count) == pytest.approx((low, high), abs=1e-3)


@pytest.mark.parametrize(("rate", "fall"), [(0.002, 1.0), (0.01, 0.8), (1.0, 1.2), (0.05, 0.6)])
def test_a_proposal_keeps_the_budget(rate: float, fall: float):
    """From 60 runs of six minutes the true rate at the proposal is mostly within 2 times the budget."""
    budget, ratios = 2.0, []
    for seed in range(20):
        told = told_of(np.random.default_rng(seed), 60, rate=rate, fall=fall)
        factor = propose(told, FACTORS, budget, NATS).factor
        ratios.append(rate * math.exp(-fall * NATS * (factor - 1.0)) / budget)
    assert 0.5 < np.median(ratios) < 1.5
    assert np.mean((np.array(ratios) > 0.5) & (np.array(ratios) < 2.0)) >= 0.7


def test_little_is_said_to_be_little_and_is_cautious():
    """Where nothing was counted the doubt is wide, and is narrower with more; the mean keeps the budget."""
    few, many = (
        propose([Told("quiet", hours, (0,) * len(FACTORS))], FACTORS, 0.05, NATS) for hours in (0.1, 100.0)
    )
    assert is_few([], few)
    assert few.high / few.low > 3.0
    assert few.factor > many.factor
    assert few.rate == pytest.approx(0.05, rel=0.5)


def test_no_limit_keeps_a_budget_that_alarms_break_at_every_limit():
    """Three false alarms at every limit in six minutes are no chance; where they end, a limit keeps it."""
    always = [Told("loud", 0.1, (3,) * len(FACTORS))]
    assert not propose(always, FACTORS, 0.05, NATS).keeps
    assert propose(always, FACTORS, 30.0, NATS).keeps
    ended = [Told("loud", 0.1, tuple(3 if factor < 0.9 else 0 for factor in FACTORS))]
    assert propose(ended, FACTORS, 0.05, NATS).keeps


def test_no_run_judges_a_limit_that_was_set_on_it():
    """A run is judged at what the others propose, whatever it tells itself."""
    told = told_of(np.random.default_rng(1), 12, rate=0.05, fall=1.0)
    others = told[1:]
    index = FACTORS.index(propose(others, FACTORS, 2.0, NATS).factor)
    changed = []
    for noisy in (0, 7):
        # At that one limit alone it tells something else.
        false = tuple(noisy if at == index else 0 for at in range(len(FACTORS)))
        changed.append(cross_validated([Told("it", 0.1, false), *others], FACTORS, 2.0, NATS).false)
    without = changed[0]
    assert changed[1] >= 7
    assert without < 7


def test_the_trade_counts_what_was_told():
    """Counts and hours add up, delays are medians, and a fault that was missed has an endless one."""
    told = [
        Told("a", 1.0, (3, 0), (0.2, math.inf)),
        Told("b", 2.0, (1, 0), (0.4, 0.8)),
        Told("c", 1.0, (0, 0)),
        Told("d", 0.0, (0, 0), (0.3, math.inf)),
    ]
    low, high = trade(told, (0.5, 1.0))
    assert (low.false, low.hours, low.rate, low.caught, low.faults, low.delay) == (4, 4.0, 1.0, 3, 3, 0.3)
    assert (high.false, high.caught, high.delay) == (0, 1, math.inf)
    assert math.isnan(trade(told[2:3], (0.5, 1.0))[0].delay)
