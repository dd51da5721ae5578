"""
Thresholds for the rivals from a budget of false alarms.

A rival's threshold is the least at which it, and any higher one, raises no more false alarms on given healthy
runs than the budget allows. Chosen on healthy development runs, it is then applied to the judged ones.
"""

from collections.abc import Sequence

import numpy as np

from analysis.watcher import USUAL
from hearing.episodes import Series

_TRIED = 200


def false_alarms(runs: Sequence[Series], threshold: float) -> int:
    """Return how many alarms a score raises on healthy runs."""
    return sum(len(run.alarms(threshold)) for run in runs)


def threshold_for(runs: Sequence[Series], allowed: int) -> float:
    """
    Return the least threshold tried at and above which there are at most ``allowed`` alarms.

    Tried are the peaks of the runs, highest first: with none allowed it is the highest score of all.
    """
    peaks = [np.nanmax(run.values) for run in runs if not np.isnan(run.values).all()]
    if not peaks:
        raise ValueError("no healthy run has a score")
    # A run's own peak and lower ones: several alarms may come from one run.
    lower = np.concatenate([_local_peaks(run) for run in runs])
    tried = np.unique(np.concatenate((peaks, lower)))[::-1]
    best = float(tried[0])
    for threshold in tried[: _TRIED + allowed].tolist():
        # There are most alarms just below a peak: lower down some of them are one.
        if max(false_alarms(runs, level) for level in (np.nextafter(best, -np.inf), threshold)) > allowed:
            break
        best = float(threshold)
    return best


def _local_peaks(run: Series) -> np.typing.NDArray[np.float64]:
    """Return the greatest score of each stretch that is too short for two alarms."""
    length = max(1, round(USUAL.forget / run.step))
    values = np.nan_to_num(run.values, nan=-np.inf)
    padded = np.concatenate((values, np.full(-len(values) % length, -np.inf)))
    peaks = padded.reshape(-1, length).max(axis=1)
    return np.asarray(peaks[np.isfinite(peaks)])
