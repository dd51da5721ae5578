"""How sure a share or a rate is, from how few it was counted."""

import math

from scipy.special import betaincinv, gammaincinv


def share_interval(hits: int, tries: int, confidence: float = 0.95) -> tuple[float, float]:
    """
    Return the Clopper-Pearson interval of a share.

    References
    ----------
    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413: the shares under which ``hits`` or more,
    and ``hits`` or fewer, are each no less probable than half of what the confidence leaves.
    """
    if not 0 <= hits <= tries or tries == 0:
        raise ValueError(f"hits={hits} of tries={tries} is no share")
    tail = (1.0 - confidence) / 2.0
    low = 0.0 if hits == 0 else float(betaincinv(hits, tries - hits + 1, tail))
    high = 1.0 if hits == tries else float(betaincinv(hits + 1, tries - hits, 1.0 - tail))
    return low, high


def most_events(count: int, confidence: float = 0.95) -> float:
    """
    Return the exact upper bound of a Poisson mean of which ``count`` were counted.

    The mean under which ``count`` or fewer have a probability of 1 - ``confidence``: 2.996 when none was
    counted (the rule of three), at 95 %.
    """
    if count < 0:
        raise ValueError(f"count={count} must be at least 0")
    return float(gammaincinv(count + 1, confidence))


def rate_bound(count: int, hours: float, per: float = 20.0) -> float:
    """Return the upper 95 % bound of a rate in ``per`` hours when ``count`` came in ``hours``."""
    return most_events(count) * per / hours if hours > 0.0 else math.inf
