"""
Where the spindle was stopped though the program does not stop it: there it mostly goes on.

Somebody holds the feed, stops the spindle to look at the bit, and carries on. Nothing in the program stands
for that, so what is heard meanwhile fits the program's own stops alone, far from there.
"""

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.place.levels import AIR
from analysis.place.track import Track

# A spindle that stands is heard to stand this late, s, and its feed may be held even earlier.
_BEFORE = 5.0
# For how long it must stand, and turn again, s: less may be misheard.
_STANDS, _TURNS = 5.0, 0.4
# By how many dB it must be quieter than the air was: in a loud shop a spindle may be misheard for long.
_QUIETER = 4.0
# A stop of the program's own that is so near, s of the program, explains why it stands.
_JUST_PASSED, _SOON = 5.0, 15.0


@dataclass(frozen=True, eq=False)
class Thought:
    """
    What was thought of n cells.

    Attributes
    ----------
    first
        The first of them.
    mass
        (n,) how likely each is.
    own
        (rows, n) what each place has learned.
    """

    first: int
    mass: NDArray[np.float64]
    own: NDArray[np.float32]

    @property
    def cells(self) -> slice:
        """Which they are."""
        return slice(self.first, self.first + len(self.mass))


class Halts:
    """
    Remembers what was thought before the spindle stood.

    Parameters
    ----------
    track
        The program.
    seconds
        From one step to the next.
    """

    def __init__(self, track: Track, seconds: float) -> None:
        self._seconds = seconds
        self._about = round(_BEFORE / track.step)
        self._explained = _near(~track.turning, round(_JUST_PASSED / track.step), round(_SOON / track.step))
        self._lately: deque[Thought] = deque(maxlen=max(1, round(_BEFORE / seconds)))
        self._levels: deque[float] = deque(maxlen=max(1, round(_STANDS / seconds)))
        self.forget()

    def forget(self) -> None:
        """Forget all: somebody has told where it is."""
        self._lately.clear()
        self._levels.clear()
        self._stood = self._turned = 0.0
        self._misheard = False

    def think(self, thought: Thought) -> None:
        """Take in what is thought after a step."""
        if self._stood == 0.0:
            self._lately.append(thought)

    def hear(self, level: float | None, *, turns: bool, thought: bool) -> Thought | None:
        """
        Take in a level, dBFS, whether the spindle is heard to turn, and whether it is thought to.

        Returns
        -------
        Thought or None
            When it turns again and the program had not stopped it: what was thought before.
        """
        if not turns:
            self._stood, self._turned = self._stood + self._seconds, 0.0
            self._misheard = thought
            if level is not None:
                self._levels.append(level)
            return None
        if self._stood == 0.0:
            return None
        self._turned += self._seconds
        long = self._stood >= _STANDS
        if long and self._turned < _TURNS:
            return None
        before = self._lately[0] if self._lately and long and not self._misheard else None
        halted = before is not None and self._is_quiet(before) and not self._is_explained(before)
        self.forget()
        return before if halted else None

    def goes_on(self, before: Thought, cells: int) -> NDArray[np.float64]:
        """Return how likely each of the program's ``cells`` is to be the one where it stopped, shape (n,)."""
        found = np.zeros(cells)
        found[before.cells] = before.mass
        # It went on until the feed was held.
        total = np.cumsum(found)
        later = np.concatenate((np.zeros(self._about), total[: cells - self._about]))[:cells]
        where = total - later
        return np.asarray(where / where.sum())

    def _is_quiet(self, before: Thought) -> bool:
        """Return whether it was quieter of late than the air was thought to be."""
        air = float(before.mass @ before.own[AIR]) / float(before.mass.sum())
        return bool(self._levels) and float(np.median(self._levels)) < air - _QUIETER

    def _is_explained(self, before: Thought) -> bool:
        return float(before.mass @ self._explained[before.cells]) > 0.5 * float(before.mass.sum())


def _near(some: NDArray[np.bool_], before: int, after: int) -> NDArray[np.bool_]:
    """Return which cells have one of ``some`` among so many before them, or after."""
    count = np.concatenate(([0], np.cumsum(some)))
    cells = np.arange(len(some))
    first, last = np.maximum(cells - before, 0), np.minimum(cells + after + 1, len(some))
    return np.asarray(count[last] > count[first])
