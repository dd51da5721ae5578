"""How much a row resembles the one before: from the windows' overlap, and from the rows themselves."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def overlap_correlation(window: NDArray[np.floating], hop: int, *, wide: bool = False) -> NDArray[np.float64]:
    """
    Return how the powers of white noise correlate from row to row, by the windows' overlap alone.

    Parameters
    ----------
    window
        The window's taps.
    hop
        Samples from one row to the next.
    wide
        Whether the power is that of a wide band rather than of one bin. Bands of a few bins lie between.

    Returns
    -------
    array of float64
        Correlation with the next row, the one after it and so on while windows overlap; empty if they do
        not. For a periodic Hann window and one bin 1/36 at half overlap, .4345 at three quarters; for a
        wide band 3/70 and .4855.

    Raises
    ------
    ValueError
        If ``hop`` is not positive.

    Notes
    -----
    With v(n) = w(n) w(n + lag): (sum v / sum w²)² for one bin, sum v² / sum w⁴ for the whole spectrum.
    Real sound adds its own correlation to this: see :func:`serial_correlation`.
    """
    if hop < 1:
        raise ValueError(f"hop={hop} must be a positive integer")
    taps = window.astype(np.float64)
    shared = [taps[lag:] * taps[: len(taps) - lag] for lag in range(hop, len(taps), hop)]
    if wide:
        return np.array([np.sum(v**2) / np.sum(taps**4) for v in shared], dtype=np.float64)
    return np.array([(np.sum(v) / np.sum(taps**2)) ** 2 for v in shared], dtype=np.float64)


def serial_correlation(rows: ArrayLike) -> NDArray[np.float64]:
    """
    Return the correlation of each row with the one before, by channel, as far as it is positive.

    Parameters
    ----------
    rows
        Shape (m, channels) or (m,), m at least 8.

    Returns
    -------
    array of float64, shape (channels,) or ()
        From 0 to .95. Its standard error is about 1/sqrt(m).

    Raises
    ------
    ValueError
        If there are too few rows.

    Notes
    -----
    The usual estimate r is too small by about (1 + 4 r)/m when the mean is estimated from the same rows
    (Kendall's and Marriott & Pope's result of 1954, from memory); that much is added.
    """
    x = np.asarray(rows, dtype=np.float64)
    if len(x) < 8:
        raise ValueError(f"{len(x)} rows are too few to tell how they correlate; 8 is the least")
    x = x - x.mean(axis=0)
    spread = np.sum(x**2, axis=0)
    r = np.sum(x[1:] * x[:-1], axis=0) / np.where(spread > 0.0, spread, 1.0)
    return np.asarray(np.clip(r + (1.0 + 4.0 * r) / len(x), 0.0, 0.95))


def independent_share(correlation: float) -> float:
    """
    Return how many independent rows tell as much of a mean as one row that resembles those before it.

    Parameters
    ----------
    correlation
        Of a row with the one before, in a first-order autoregression.

    Returns
    -------
    float
        ``(1 - correlation) / (1 + correlation)``.
    """
    return (1.0 - correlation) / (1.0 + correlation)
