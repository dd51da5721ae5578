"""Which of several channels is heard."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from analysis.health import FULL, trouble


def best_channel(pieces: Iterable[NDArray[np.float32]]) -> int:
    """
    Return the channel that has most sound in it where nothing is wrong with it; one that is spoilt last.

    It is heard alone, and not the mean of all. Two that are each other turned round would cancel, and those
    of two microphones do so at frequencies that change as the bit moves; one that clips, or holds what are no
    numbers, would spoil the others, and would not look clipped any more.

    Parameters
    ----------
    pieces
        Sound from all over the recording, a row for each frame: (n, c).
    """
    power = sum((np.array([_power(channel) for channel in piece.T]) for piece in pieces), np.zeros((1, 2)))
    return max(range(len(power)), key=lambda channel: tuple(power[channel]))


def _power(samples: NDArray[np.float32]) -> tuple[float, float]:
    """Return the power of a piece of sound, of usable sound alone and of any; a constant has none."""
    size = np.abs(samples)
    if not len(samples) or not np.isfinite(size).all():
        return 0.0, 0.0
    power = float(np.var(samples, dtype=np.float64))
    wrong = trouble(float(size.max()), float(np.ptp(samples)), float(np.mean(size >= FULL)))
    return 0.0 if wrong else power, power
