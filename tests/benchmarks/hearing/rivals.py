"""
What a person would use instead of chipsong, on the same sound.

They are given more than chipsong is: the simulator's truth of when which bit cuts, and in which kind of cut
(slot, wide, narrow, down), where chipsong has to find that out. Each learns from the first seconds of each
bit and kind, as many as chipsong does, and hears only what lies wholly inside one cut. A kind that was never
long enough to be learned is passed over. Scores are averaged over a second of cutting.

The plain level alarm is what a person would rig up: 3 dB above the first seconds of cutting with a bit, for a
second without a break.
"""

import warnings
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray
from sklearn.covariance import LedoitWolf
from sklearn.ensemble import IsolationForest
from sklearn.exceptions import ConvergenceWarning
from sklearn.neural_network import MLPRegressor
from sklearn.preprocessing import StandardScaler

from analysis.watcher import USUAL
from hearing.truth import Cutting

Floats = NDArray[np.float64]
# From learned rows to a function that scores rows: the higher, the stranger.
Learner = Callable[[Floats], Callable[[Floats], Floats]]

SECONDS = 1.0  # of averaging
PLAIN = "level, 3 dB for 1 s"
PLAIN_LIMIT = 3.0


def level(learned: Floats) -> Callable[[Floats], Floats]:
    """Return how many dB a row is louder than what was learned."""
    usual = float(np.median(learned))
    return lambda rows: np.asarray(rows[:, 0] - usual)


def forest(learned: Floats) -> Callable[[Floats], Floats]:
    """Return the score of an isolation forest of 100 trees."""
    model = IsolationForest(n_estimators=100, random_state=0).fit(learned)
    return lambda rows: np.asarray(-model.score_samples(rows))


def mahalanobis(learned: Floats) -> Callable[[Floats], Floats]:
    """Return the squared Mahalanobis distance, the covariance shrunk after Ledoit and Wolf."""
    scaler = StandardScaler().fit(learned)
    model = LedoitWolf().fit(scaler.transform(learned))
    return lambda rows: np.asarray(model.mahalanobis(scaler.transform(rows)))


def autoencoder(learned: Floats) -> Callable[[Floats], Floats]:
    """Return the squared error of a small autoencoder (20, 12, 4, 12, 20) on standardised rows."""
    scaler = StandardScaler().fit(learned)
    rows = scaler.transform(learned)
    model = MLPRegressor(
        hidden_layer_sizes=(12, 4, 12),
        activation="tanh",
        solver="lbfgs",
        alpha=0.1,
        max_iter=75,
        random_state=0,
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)
        model.fit(rows, rows)

    def score(new: Floats) -> Floats:
        given = scaler.transform(new)
        return np.asarray(np.mean((model.predict(given) - given) ** 2, axis=1))

    return score


LEARNERS: Mapping[str, Learner] = {
    "level": level,
    "isolation forest": forest,
    "Mahalanobis distance": mahalanobis,
    "autoencoder": autoencoder,
}
RIVALS = (PLAIN, *LEARNERS)


def scores(coefficients: Floats, levels: Floats, cutting: Cutting, step: float) -> dict[str, Floats]:
    """
    Return each rival's score of each row, NaN where it has none.

    Parameters
    ----------
    coefficients, levels
        Cepstra, (n, m), and levels, (n,) dB, of the rows.
    cutting
        What was being cut in them.
    step
        Seconds from row to row.
    """
    learn, long = round(USUAL.learn / step), round(SECONDS / step)
    loud = levels[:, np.newaxis]
    found = {}
    for name, learner in LEARNERS.items():
        rows = loud if learner is level else coefficients
        found[name] = _averaged(_scored(rows, cutting.cuts, cutting.group, learner, learn), cutting.bit, long)
    found[PLAIN] = _lasting(_plain(levels, cutting, learn), long)
    return found


def _plain(levels: Floats, cutting: Cutting, learn: int) -> Floats:
    """Return how much louder each row is than the first seconds of cutting with its bit, heard throughout."""
    found = np.full(len(levels), np.nan)
    for number in np.unique(cutting.bit):
        own = cutting.bit == number
        cuts = np.flatnonzero(own & cutting.cuts)
        if len(cuts) > learn:
            after = own & (np.arange(len(levels)) > cuts[learn - 1])
            found[after] = levels[after] - np.median(levels[cuts[:learn]])
    return found


def _scored(
    rows: Floats, use: NDArray[np.bool_], group: NDArray[np.intp], learner: Learner, learn: int
) -> Floats:
    """Return the score of each row by what was learned from the first rows of its group."""
    found = np.full(len(rows), np.nan)
    for number in np.unique(group[use]):
        own = np.flatnonzero(use & (group == number))
        if len(own) > learn:
            found[own[learn:]] = learner(rows[own[:learn]])(rows[own[learn:]])
    return found


def _averaged(score: Floats, bit: NDArray[np.intp], long: int) -> Floats:
    """Return the mean of the last ``long`` scored rows of a bit, NaN where there are none yet."""
    found = np.full(len(score), np.nan)
    for number in np.unique(bit):
        own = np.flatnonzero(~np.isnan(score) & (bit == number))
        if len(own) >= long:
            total = np.concatenate(([0.0], np.cumsum(score[own])))
            found[own[long - 1 :]] = (total[long:] - total[:-long]) / long
    return found


def _lasting(score: Floats, long: int) -> Floats:
    """Return the least of the last ``long`` rows, NaN where one of them has no score."""
    if len(score) < long:
        return np.full(len(score), np.nan)
    least = np.lib.stride_tricks.sliding_window_view(score, long).min(axis=1)
    return np.concatenate((np.full(long - 1, np.nan), least))
