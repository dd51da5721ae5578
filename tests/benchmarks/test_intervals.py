"""Intervals, against closed forms and against their own definition."""

import math

import pytest
from hearing.intervals import most_events, rate_bound, share_interval
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, poisson


@given(st.integers(1, 400))
def test_all_or_nothing(tries):
    """The bound of nothing caught is 1 - .025^(1/n), and of all caught its mirror image (closed form)."""
    most = 1.0 - 0.025 ** (1.0 / tries)
    assert share_interval(0, tries) == pytest.approx((0.0, most))
    assert share_interval(tries, tries) == pytest.approx((1.0 - most, 1.0))


@given(st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_tails(count):
    """At the lower bound so many hits or more have 2.5 %, at the upper so many or fewer (the definition)."""
    hits, tries = count
    low, high = share_interval(hits, tries)
    if hits:
        assert binom.sf(hits - 1, tries, low) == pytest.approx(0.025, rel=1e-6)
    if hits < tries:
        assert binom.cdf(hits, tries, high) == pytest.approx(0.025, rel=1e-6)


@given(st.integers(0, 200))
def test_poisson_tail(count):
    """At the bound of a rate so many events or fewer have a probability of 5 % (the definition)."""
    assert poisson.cdf(count, most_events(count)) == pytest.approx(0.05, rel=1e-6)


def test_rule_of_three():
    """None in 20 h is at most 3.00 in 20 h: -ln .05."""
    assert rate_bound(0, 20.0) == pytest.approx(-math.log(0.05))
    assert rate_bound(0, 0.0) == math.inf


@pytest.mark.parametrize(("hits", "tries"), [(1, 0), (0, 0), (3, 2), (-1, 2)])
def test_nonsense_is_refused(hits, tries):
    """More hits than tries, or no tries, are no share."""
    with pytest.raises(ValueError, match="is no share"):
        share_interval(hits, tries)
