"""How strongly a row speaks for a loose bit: against integrals, likelihoods, and simulated chance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.stats import norm

from analysis.baseline import CHANNELS, SIGNS
from analysis.comparison import PATHS
from analysis.evidence import ALL, ASTRAY, SINGLE, SOUGHT, SWELL, Array64, Weights, log_mean_exp

COUNTS = pytest.mark.parametrize(
    "counts", [ALL, SINGLE, ASTRAY, SWELL], ids=["several flutes", "one flute", "runout alone", "swell alone"]
)
AWAY = st.lists(st.floats(-12, 12), min_size=SIGNS, max_size=SIGNS).map(np.array)
CORRELATIONS = st.floats(0, 0.9)
WHOLE = [CHANNELS.index(name) for name in ("spindle", "between")]


# The mean of exp


def mean_exp(weight: float, least: float, most: float) -> float:
    """The mean of exp(weight x) by numerical integration, x being normal and clipped."""
    inside, _ = quad(lambda x: np.exp(weight * x) * norm.pdf(x), least, most, epsabs=0, epsrel=1e-10)
    return float(inside + np.exp(weight * least) * norm.cdf(least) + np.exp(weight * most) * norm.sf(most))


def mean_clipped(least: float, most: float) -> float:
    """The mean of a clipped normal x, by numerical integration."""
    inside, _ = quad(lambda x: x * norm.pdf(x), least, most)
    return float(inside + least * norm.cdf(least) + most * norm.sf(most))


@given(weight=st.floats(-3, 4), least=st.floats(-4, 0.5), wide=st.floats(0.01, 6))
def test_the_mean_of_exp_is_its_integral(weight: float, least: float, wide: float):
    """Against numerical integration, whatever the weight and wherever it is clipped."""
    read = log_mean_exp(np.array([weight]), np.array([least]), np.array([least + wide]))
    assert read.tolist() == pytest.approx([np.log(mean_exp(weight, least, least + wide))], abs=1e-8)


@given(st.lists(st.floats(-4, 4), min_size=1, max_size=6).map(np.array))
def test_unclipped_it_is_half_the_square(weight: NDArray[np.float64]):
    """Where nothing is clipped the mean of exp(w x) is exp(w² / 2): that of a log-normal distribution."""
    far = np.full(len(weight), 30.0)
    np.testing.assert_allclose(log_mean_exp(weight, -far, far), weight**2 / 2, atol=1e-9)


@given(weight=st.floats(0, 4), least=st.floats(-4, 0), most=st.floats(0, 4), more=st.floats(0, 4))
def test_the_mean_of_exp_lies_where_it_must(weight: float, least: float, most: float, more: float):
    """Between what the ends say, no less than the mean's own (Jensen), and more with a higher end."""
    read, wider = (
        float(log_mean_exp(np.array([weight]), np.array([least]), np.array([end]))[0])
        for end in (most, most + more)
    )
    clipped = mean_clipped(least, most)
    assert weight * least - 1e-12 <= read <= weight * most + 1e-12
    assert weight * clipped - 1e-6 <= read <= wider + 1e-12


# Evidence


def by_hand(away: NDArray[np.float64], weights: Weights) -> float:
    """What a row says, channel by channel."""
    limits = zip(away, weights.nats, weights.least, weights.most, strict=True)
    return sum(nats * max(least, min(most, x)) for x, nats, least, most in limits) - weights.doubt


@COUNTS
@given(away=AWAY, correlation=CORRELATIONS)
def test_evidence_by_brute_force(away: NDArray[np.float64], correlation: float, counts: Array64):
    """The sum over channels of clipped deviations times their weights, less the doubt."""
    weights = Weights.of(correlation, counts=counts)
    assert weights.evidence(away) == pytest.approx(by_hand(away, weights), abs=1e-9)


@given(AWAY)
def test_unclipped_evidence_is_the_likelihood_ratio(away: NDArray[np.float64]):
    """Of independent normal deviations: how much likelier they are with means ``SOUGHT`` than with 0."""
    far = np.full(SIGNS, 30.0)
    weights = Weights(SOUGHT, -far, far, float(log_mean_exp(SOUGHT, -far, far).sum()))
    ratio = (norm.logpdf(away, loc=SOUGHT) - norm.logpdf(away)).sum()
    assert weights.evidence(away) == pytest.approx(ratio, abs=1e-8)


@COUNTS
def test_a_normal_row_counts_for_one_on_the_average(counts: Array64):
    """
    The mean of exp(evidence) is 1 where rows are independent, by integration, channel by channel.

    So it is a likelihood ratio, and exp of its running sum a martingale (Wald's identity).
    """
    weights = Weights.of(0.0, counts=counts)
    product = np.prod([mean_exp(*of) for of in zip(weights.nats, weights.least, weights.most, strict=True)])
    assert product * np.exp(-weights.doubt) == pytest.approx(1.0, rel=1e-8)


@COUNTS
@given(correlation=CORRELATIONS)
def test_a_normal_row_never_counts_for_more_than_one(correlation: float, counts: Array64):
    """Whatever the correlation: the mean of exp(evidence) is 1 at most, and that of the evidence below 0."""
    weights = Weights.of(correlation, counts=counts)
    assert log_mean_exp(weights.nats, weights.least, weights.most).sum() <= weights.doubt + 1e-9
    means = [mean_clipped(*ends) for ends in zip(weights.least, weights.most, strict=True)]
    assert weights.nats @ np.array(means) < weights.doubt


@COUNTS
@given(away=AWAY, channel=st.integers(0, SIGNS - 1), more=st.floats(0, 20))
def test_a_stronger_sign_never_means_less(
    away: NDArray[np.float64], channel: int, more: float, counts: Array64
):
    """Evidence grows with each channel, or stays."""
    weights = Weights.of(0.4, counts=counts)
    assert weights.evidence(away + more * np.eye(SIGNS)[channel]) >= weights.evidence(away) - 1e-12


@COUNTS
@pytest.mark.parametrize("channel", range(SIGNS))
def test_one_sign_alone_is_bounded(channel: int, counts: Array64):
    """However far one channel is away, it says no more than at 3 deviations."""
    weights = Weights.of(0.4, counts=counts)
    three, far = (weights.evidence(size * np.eye(SIGNS)[channel]) for size in (3.0, 1e9))
    assert far == three
    assert np.isfinite(weights.evidence(np.full(SIGNS, -1e9)))


@given(away=AWAY, whole=st.lists(st.floats(-12, 12), min_size=2, max_size=2), correlation=CORRELATIONS)
def test_whole_orders_of_a_single_flute_count_nothing(
    away: NDArray[np.float64], whole: list[float], correlation: float
):
    """All whole orders of a single flute are its tooth's: whatever they do, a row says the same."""
    weights, other = Weights.of(correlation, counts=SINGLE), away.copy()
    other[WHOLE] = whole
    assert weights.evidence(other) == weights.evidence(away)
    assert weights.nats[WHOLE].tolist() == [0.0, 0.0]


def test_a_single_flutes_swell_counts_less():
    """Its hiss swells once per turn anyway: a deeper swell says less than that of several flutes."""
    swell = 5.0 * np.eye(SIGNS)[CHANNELS.index("modulation")]
    one, several = (Weights.of(0.0, counts=counts) for counts in (SINGLE, ALL))
    assert one.evidence(swell) + one.doubt < several.evidence(swell) + several.doubt


@given(correlation=CORRELATIONS, more=st.floats(0.01, 0.09))
def test_rows_that_resemble_one_another_weigh_less(correlation: float, more: float):
    """Rows of a first-order autoregression tell (1 - r) / (1 + r) as much of a mean as independent ones."""
    weights = Weights.of(correlation)
    np.testing.assert_allclose(weights.nats, SOUGHT * (1 - correlation) / (1 + correlation))
    assert np.all(Weights.of(correlation + more).nats < weights.nats)


@COUNTS
@pytest.mark.parametrize("share", [1.0, *PATHS])
@pytest.mark.parametrize("correlation", [0.0, 0.43, 0.66])
def test_the_change_that_is_sought_is_evidence(correlation: float, share: float, counts: Array64):
    """A bit that is as loose as is sought raises the sum from row to row, and a tight one lowers it."""
    weights = Weights.of(correlation, counts=counts, share=share)
    assert weights.evidence(share * SOUGHT) > 0 > weights.evidence(np.zeros(SIGNS))


@given(correlation=CORRELATIONS, share=st.floats(0.05, 1.0))
def test_a_smaller_change_weighs_less(correlation: float, share: float):
    """Where a share of a slip is sought, each deviation counts for that share, and less is taken off."""
    whole, part = Weights.of(correlation), Weights.of(correlation, share=share)
    np.testing.assert_allclose(part.nats, share * whole.nats)
    assert 0.0 < part.doubt <= whole.doubt


@COUNTS
def test_a_slow_path_hears_what_a_fast_one_does_not(counts: Array64):
    """A change of which the fast path says that it is none is, by and by, enough for the slow one."""
    fast, slow = (Weights.of(0.4, counts=counts, share=share) for share in (max(PATHS), min(PATHS)))
    slight = min(PATHS) * SOUGHT
    assert fast.evidence(slight) < 0 < slow.evidence(slight)


# Chance: a running sum that never falls below 0, in normal cuts

CHAINS, ROWS = 1000, 3000


def alarms_by_chance(weights: Weights, correlation: float, limit: float, seed: int) -> int:
    """
    How often max(0, sum + evidence) reaches a limit in CHAINS x ROWS rows of a normal cut.

    Many chains of normal AR(1) deviations; each begins anew, sum and rows, when it has reached the limit.
    """
    rng = np.random.default_rng(seed)
    away, total, alarms = rng.standard_normal((CHAINS, SIGNS)), np.zeros(CHAINS), 0
    for _ in range(ROWS):
        # All chains in one product; ``evidence`` itself is for one row (see its brute force above).
        said = np.clip(away, weights.least, weights.most) @ weights.nats - weights.doubt
        total = np.maximum(0.0, total + said)
        over = total >= limit
        alarms += int(over.sum())
        total[over] = 0.0
        chance = rng.standard_normal((CHAINS, SIGNS))
        following = correlation * away + np.sqrt(1 - correlation**2) * chance
        away = np.where(over[:, np.newaxis], chance, following)
    return alarms


def surely_at_least(alarms: int) -> float:
    """A mean run length, rows, than which the true one is hardly ever shorter (three standard errors)."""
    return CHAINS * ROWS / (alarms + 3.0 * np.sqrt(alarms) + 1.0)


def growth(weights: Weights, correlation: float, share: float = 1.0) -> float:
    """
    How fast the mean of exp(share x sum) grows in a normal cut, nats a row, for AR(1) rows.

    It is the logarithm of the greatest eigenvalue of the next row's distribution, weighted by what that row
    says; found by power iteration on a grid, channel by channel, for those are independent. Where it is 0,
    a running sum takes about exp(share x limit) rows to reach a limit.
    """
    x = np.linspace(-7, 7, 281)
    total = -share * weights.doubt
    for nats, least, most in zip(weights.nats, weights.least, weights.most, strict=True):
        following = norm.pdf(x, correlation * x[:, np.newaxis], np.sqrt(1 - correlation**2)) * (x[1] - x[0])
        following = following * np.exp(share * nats * np.clip(x, least, most))
        eigen, largest = np.ones(len(x)), 1.0
        for _ in range(100):
            eigen = following @ eigen
            largest = eigen.max()
            eigen = eigen / largest
        total += np.log(largest)
    return float(total)


def one_channel(shift: float) -> Weights:
    """Unclipped evidence for a move of one channel, the others counting nothing."""
    nats, far = shift * np.eye(SIGNS)[0], np.full(SIGNS, 30.0)
    return Weights(nats, -far, far, float(log_mean_exp(nats, -far, far).sum()))


def test_the_simulation_agrees_with_a_known_run_length():
    """
    For one shift of 1 deviation and a limit of 4 it is a CUSUM with k 0.5 and h 4: 335.368 rows.

    168 two-sided: Lucas and Crosier, Technometrics 24 (1982) 199-205, table 1, as transcribed; one-sided from
    the same integral equation.
    """
    alarms = alarms_by_chance(one_channel(1.0), 0.0, 4.0, seed=1)
    assert CHAINS * ROWS / alarms == pytest.approx(335.368, rel=0.05)


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.5])
def test_the_growth_agrees_with_its_closed_form(correlation: float):
    """Of unclipped evidence: w² / 2 times (1 + r) / (1 - r), the variance of a long sum of AR(1) rows."""
    weights = one_channel(0.5)
    expected = 0.5**2 / 2 * (1 + correlation) / (1 - correlation) - weights.doubt
    assert growth(weights, correlation) == pytest.approx(expected, abs=1e-4)


@COUNTS
@pytest.mark.parametrize("limit", [4.0, 5.0, 6.0])
def test_independent_rows_take_exp_of_the_limit_at_least(limit: float, counts: Array64):
    """It takes exp(limit) rows or more (Wald; Lorden, Annals of Math. Statistics 42 (1971) 1897-1908)."""
    alarms = alarms_by_chance(Weights.of(0.0, counts=counts), 0.0, limit, seed=2)
    assert surely_at_least(alarms) >= np.exp(limit)


@COUNTS
@pytest.mark.parametrize("correlation", [0.3, 0.5])
@pytest.mark.parametrize("limit", [4.0, 6.0])
def test_rows_that_resemble_one_another_take_as_long(correlation: float, limit: float, counts: Array64):
    """With AR(1) rows and the weights for their correlation it takes exp(limit) rows or more as well."""
    alarms = alarms_by_chance(Weights.of(correlation, counts=counts), correlation, limit, seed=3)
    assert surely_at_least(alarms) >= np.exp(limit)


@COUNTS
@pytest.mark.parametrize("share", [1.0, *PATHS])
@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.43, 0.5, 0.66])
def test_the_sums_exponential_does_not_grow(correlation: float, share: float, counts: Array64):
    """
    In a normal cut the mean of exp(sum of evidence) stays, or falls, whatever the rows' correlation.

    So the run length grows as exp(limit) with any limit, not only with those that are quick to simulate,
    and however small the change is that is sought.
    """
    assert growth(Weights.of(correlation, counts=counts, share=share), correlation) <= 1e-3
