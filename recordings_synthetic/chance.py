"""Random streams by name from one seed, and the slow random curves made from them."""

import math
import zlib

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def stream(seed: int, name: str) -> np.random.Generator:
    """
    Return the random stream called ``name`` of a recording's ``seed``.

    Each source of sound draws from a stream of its own, so that adding one leaves the others as they were.
    """
    return np.random.Generator(np.random.PCG64([seed, zlib.crc32(name.encode())]))


def wander(rng: np.random.Generator, count: int, step: float, *, memory: float) -> Floats:
    """
    Return a slow random curve of mean 0 and standard deviation 1.

    Parameters
    ----------
    rng
        Where its chance comes from; ``count`` numbers are drawn.
    count, step
        How many points, and seconds from one to the next.
    memory
        Seconds after which the curve has forgotten 63 % of where it was.

    Notes
    -----
    A first-order autoregression ``x[i] = a x[i-1] + sqrt(1 - a²) w[i]`` with ``a = exp(-step / memory)``,
    started in its steady state, so that its standard deviation is 1 from the first point on.
    """
    keep = math.exp(-step / memory)
    push = rng.standard_normal(count)
    push[1:] *= math.sqrt(1.0 - keep * keep)
    return lag(push, keep)


def lag(push: Floats, keep: float) -> Floats:
    """Return the running sum ``x[i] = keep x[i-1] + push[i]``, from ``x[-1] = 0``."""
    from scipy.signal import lfilter  # noqa: PLC0415 - takes a second to import; only rendering needs it

    return np.asarray(lfilter([1.0], [1.0, -keep], push), dtype=np.float64)


def spells(
    rng: np.random.Generator, seconds: float, on: tuple[float, float], off: tuple[float, float]
) -> list[tuple[float, float]]:
    """
    Return when something that comes and goes is on.

    Parameters
    ----------
    rng
        Where its chance comes from.
    seconds
        For how long; the last spell may end after it.
    on, off
        Shortest and longest of a spell and of a pause, s; all between are equally likely. It begins with half
        a pause.

    Returns
    -------
    list of (float, float)
        Beginning and end of each spell, s.
    """
    found, now = [], 0.5 * rng.uniform(*off)
    while now < seconds:
        last = now + rng.uniform(*on)
        found.append((now, last))
        now = last + rng.uniform(*off)
    return found
