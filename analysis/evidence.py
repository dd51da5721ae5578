"""
How strongly a row speaks for a bit that has come loose, in nats.

The signs are added before anything is decided, for slight ones in all of them say more than a plain one in
one. Each is counted in deviations of a normal row and clipped, so that no single tone, swell or rattle can
decide alone and at once; the sum is weighted as is best for the change that is sought (the log-likelihood
ratio of a normal distribution with moved means is linear in the deviations). What is taken off makes the
mean of its exponential 1 in a normal cut. Then a running sum of it that never falls below 0 takes at least
exp(limit) rows on the average to reach a limit by chance (Wald's identity; Lorden, Annals of Mathematical
Statistics 42 (1971) 1897-1908), whatever is sought and however it is clipped.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from analysis.baseline import Array64
from analysis.change import independent_share

SOUGHT = np.array([1.75, 0.75, 1.25, 2.5, 2.5])
"""By how many deviations a slip that matters moves spindle, between, half, modulation and rocking."""

_LEAST = np.array([-1.0, -1.0, -1.0, -1.0, -0.5])
_MOST = np.array([2.0, 2.0, 2.0, 2.5, 3.0])

ALL = np.ones(len(SOUGHT))
"""Every sign counts."""

SINGLE = np.array([0.0, 0.0, 1.0, 0.0, 1.0])
"""
What a single flute's signs count for: its whole orders are a tooth's, and its cut swells once per turn
anyway, deeper or less with every change of width.
"""

ASTRAY = np.array([1.0, 0.0, 0.0, 1.0, 0.0])
"""What signs count for of a bit that runs out of true and does not rock: there are no half orders."""

SWELL = np.array([0.0, 0.0, 0.0, 1.0, 0.0])
"""What signs count for where the cut swells once per turn, and nothing else tells."""


@dataclass(frozen=True, eq=False)
class Weights:
    """
    What each channel's deviations count for.

    Attributes
    ----------
    nats
        For each deviation, shape (5,).
    least, most
        Between which deviations are clipped, shape (5,).
    doubt
        What is taken off, nats.
    """

    nats: Array64
    least: Array64
    most: Array64
    doubt: float

    @classmethod
    def of(cls, correlation: float, *, counts: Array64 = ALL, share: float = 1.0) -> "Weights":
        """
        Return the weights for rows that resemble the ones before them.

        Parameters
        ----------
        correlation
            Of a row with the one before; see `independent_share`.
        counts
            What each sign counts for, shape (5,).
        share
            How small a change is sought, as a share of ``SOUGHT``.
        """
        independent = independent_share(correlation)
        nats = share * SOUGHT * counts
        doubt = float(log_mean_exp(nats, _LEAST, _MOST).sum())
        return cls(independent * nats, _LEAST, _MOST, independent * doubt)

    def evidence(self, away: Array64) -> float:
        """Return what a row says whose channels are so many deviations away from normal, nats."""
        return float(self.nats @ np.minimum(np.maximum(away, self.least), self.most)) - self.doubt


def log_mean_exp(weight: Array64, least: Array64, most: Array64) -> Array64:
    """
    Return the logarithm of the mean of exp(weight x), where x is normal and clipped.

    Parameters
    ----------
    weight, least, most
        Of each x, which has mean 0 and deviation 1 before it is clipped, shape (m,).

    Returns
    -------
    array, shape (m,)

    Notes
    -----
    ``exp(w a) P(a) + exp(w b) (1 - P(b)) + exp(w²/2) (P(b - w) - P(a - w))``, where P is the normal
    distribution.
    """
    below, above = np.exp(weight * least) * ndtr(least), np.exp(weight * most) * ndtr(-most)
    between = np.exp(0.5 * weight**2) * (ndtr(most - weight) - ndtr(least - weight))
    mean: Array64 = np.log(below + between + above)
    return mean
