"""How the place moves from cell to cell in one step, for every pace that is thought possible."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.pace import UNKNOWN, Learned
from analysis.place.track import END, LEVELS, TIMED, WAIT, WAITS

Floats = NDArray[np.float64]
Short = NDArray[np.float32]

PACES = np.array([0.45, 0.53, 0.61, 0.7, 0.8, 0.88, 0.94, 0.97, 1.0, 1.03, 1.07, 1.15, 1.25, 1.37, 1.5, 1.65])
"""Feeds, as a share of what the program asks for."""

REACH = WAITS
"""Cells that one step can go at the most."""

USUALLY = 2
"""Cells that one step goes where all is as planned."""

STIRRED = 3
"""Steps from one look at what may happen to the pace to the next: it happens in seconds."""

# Seconds that a wait lasts, and a hold of the feed; seconds between holds, and between turns of the knob.
_WAIT, _HOLD, _HOLDS, _TURNS = 8.0, 8.0, 900.0, 120.0
# Share of a second's probability that wanders to the next pace.
_WANDERS = 0.1
# How much a step differs from its mean, cells: where the feed limits, and where the machine does.
_EVEN, _UNEVEN = 0.2, 0.8
# How likely a person is to leave the feed as the program asks for it.
_LEFT_ALONE = 0.7


@dataclass(frozen=True, eq=False)
class Paces:
    """
    How far each step goes, by the sort of cell and the pace. The first pace is a hold: nothing moves.

    Attributes
    ----------
    weights
        (sorts, REACH + 1, paces + 1) probability to go 0, 1, ... cells on: together 1, but at the end.
    prior
        (paces + 1,) how likely each pace is at first, and after a knob was turned.
    seconds
        In a step.
    """

    weights: Floats
    prior: Floats
    seconds: float

    @classmethod
    def of(cls, seconds: float, learned: Learned = UNKNOWN) -> "Paces":
        """Return the steps of a filter that takes one every ``seconds``, on a machine as it was learned."""
        paces = PACES[np.newaxis, :]
        share = (np.arange(LEVELS) / (LEVELS - 1))[:, np.newaxis]
        mean = paces**share * learned.rapids ** (1.0 - share) * USUALLY
        spread = np.broadcast_to(_UNEVEN + (_EVEN - _UNEVEN) * share, mean.shape)
        weights = np.zeros((END + 1, REACH + 1, len(PACES) + 1))
        weights[:LEVELS, :, 1:] = np.moveaxis(_steps(mean, spread), -1, 1)
        timed = np.full((1, len(PACES)), float(USUALLY))
        weights[TIMED, :, 1:] = np.moveaxis(_steps(timed, np.full_like(timed, _EVEN)), -1, 1)[0]
        weights[: TIMED + 1, 0, 0] = 1.0
        leaves = seconds / _WAIT
        # Who has heard the program's end listens no longer than through a wait.
        weights[END, 0] = 1.0 - leaves
        for cell in range(WAITS):
            weights[WAIT + cell, 0] = 1.0 - leaves
            weights[WAIT + cell, WAITS - cell] = leaves
        return cls(weights, _prior(learned), seconds)

    def stir(self, heap: Short, mass: Floats, wood: NDArray[np.bool_]) -> Short:
        """
        Return probabilities, shape (paces + 1, n), after what may happen to the pace in ``STIRRED`` steps.

        ``mass``, shape (n,), is their sum over the paces. A hold is looked for only in the ``wood``, shape
        (n,): in the air it sounds like the way itself.
        """
        turned, freed, held = self._chances(wood)
        standing = heap[0]
        going = (mass - standing).astype(heap.dtype)
        new = (1.0 - turned - held) * heap
        new[1:] += self.prior[1:, np.newaxis].astype(heap.dtype) * (turned * going + freed * standing)
        new[0] = (1.0 - freed) * standing + held * going
        return self._wander(new)

    def _chances(self, wood: NDArray[np.bool_]) -> tuple[float, float, Short]:
        """Return how likely the pace is another, a hold ends, and one begins, shape (n,)."""
        seconds = STIRRED * self.seconds
        return seconds / _TURNS, seconds / _HOLD, wood * np.float32(seconds / _HOLDS)

    def _wander(self, heap: Short) -> Short:
        part = 0.5 * _WANDERS * STIRRED * self.seconds
        flow = part * (heap[2:] - heap[1:-1])
        heap[1:-1] += flow
        heap[2:] -= flow
        return heap

    def unstir(self, ahead: Short, wood: NDArray[np.bool_]) -> None:
        """Do, in place, the transpose of ``stir``: what is ahead, shape (paces + 1, n), seen from before."""
        turned, freed, held = self._chances(wood)
        self._wander(ahead)
        fresh = (self.prior[1:, np.newaxis].astype(ahead.dtype) * ahead[1:]).sum(axis=0)
        standing = ahead[0].copy()
        ahead *= 1.0 - turned - held
        ahead += turned * fresh + held * standing
        ahead[0] = (1.0 - freed) * standing + freed * fresh


def _steps(mean: Floats, spread: Floats) -> Floats:
    """Return the probability of each step, shape (..., REACH + 1), by its mean and spread in cells."""
    cells = np.arange(REACH + 1)
    room = np.minimum(mean, REACH - mean)
    found = np.zeros((*mean.shape, REACH + 1))
    for side in (-1.0, 1.0):
        middle = mean + side * np.minimum(spread, np.maximum(room, 0.0))
        middle = np.clip(middle, 0.0, REACH)[..., np.newaxis]
        found += 0.5 * np.maximum(1.0 - np.abs(cells - middle), 0.0)
    return found


def _prior(learned: Learned) -> Floats:
    near = np.exp(-0.5 * (np.log(PACES / learned.feeds) / 0.03) ** 2)
    wide = np.gradient(np.log(PACES))
    prior = _LEFT_ALONE * near / max(near.sum(), 1e-12) + (1.0 - _LEFT_ALONE) * wide / wide.sum()
    return np.concatenate(([0.0], prior / prior.sum()))
