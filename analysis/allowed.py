"""What a person has said to be nothing: from then on it counts as normal, of the bit that it was said of."""

from dataclasses import replace

import numpy as np

from analysis.baseline import TRUE_ENOUGH, Array64, Baseline
from analysis.comparison import LIKE
from analysis.events import Cause
from analysis.reference import Known, compare


class Allowed:
    """Keeps, by bit, what was said to be nothing: also where a reference, or physics, knows better."""

    def __init__(self) -> None:
        # How far signs had risen and how strong they were, and how much of its colour the sound had lost, dB.
        self._risen: dict[int, Array64] = {}
        self._plain: dict[int, Array64] = {}
        self._faded: dict[int, float] = {}
        self._causes: set[tuple[int, Cause]] = set()

    def allow(self, bit: int, risen: Array64, plain: Array64 | None) -> None:
        """Allow signs that have ``risen`` by so much, dB, and are so strong, if that was heard; (SIGNS,)."""
        self._risen[bit] = np.maximum(self._risen.get(bit, 0.0), np.maximum(risen, 0.0))
        if plain is not None:
            self._plain[bit] = np.maximum(self._plain.get(bit, TRUE_ENOUGH), plain)

    def allow_colour(self, bit: int, faded: float) -> None:
        """Allow a sound that has lost so much of its colour, dB."""
        self._faded[bit] = max(self._faded.get(bit, 0.0), faded)

    def allow_fault(self, bit: int, cause: Cause) -> None:
        """Allow another fault than a loose bit."""
        self._causes.add((bit, cause))

    def no_more(self, bit: int) -> None:
        """Allow nothing more of how a bit sounds; whether there is another fault is not meant by that."""
        self._risen.pop(bit, None)
        self._plain.pop(bit, None)
        self._faded.pop(bit, None)

    def risen(self, bit: int) -> Array64:
        """Return how far each sign may rise, dB, shape (SIGNS,)."""
        return self._risen.get(bit, LIKE)

    def faded(self, bit: int) -> float:
        """Return how much of its colour the sound may lose, dB."""
        return self._faded.get(bit, 0.0)

    def bears(self, bit: int, cause: Cause) -> bool:
        """Return whether another fault than a loose bit was said to be nothing."""
        return (bit, cause) in self._causes

    def covers(self, bit: int, fresh: Baseline, correlation: float) -> bool:
        """Return whether a fresh baseline is no looser than what was said to be nothing."""
        if bit not in self._plain:
            return False
        normal = replace(fresh.normal, plain=self._plain[bit])
        known = Known.of([replace(fresh, normal=normal)])
        return compare(fresh, known, correlation).verdict != "loose"
