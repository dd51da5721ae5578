"""
Where in a program the watcher will have heard enough of a bit to know its normal sound.

A baseline belongs to one bit, and to cutting straight down or to cutting across. It is learned from all
such cutting that is heard, cut by cut, until there is enough; the first and last windows of each cut hold
air as well and are left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.cut import FAMILIES
from analysis.locate import KINDS, Plan
from analysis.watcher import Settings

Floats = NDArray[np.float64]
_MOMENT = 1e-6  # s
# Seconds of one kind of cut that make a baseline.
_NEEDED = Settings.learn


@dataclass(frozen=True)
class Learned:
    """
    Where a bit's first baseline is learned.

    Attributes
    ----------
    kind
        Of `FAMILIES`.
    first, last
        The moves with which the learning begins and ends.
    begins, done
        When it begins and is complete, s that the bit has turned; where a person switches the spindle, s of
        the moves between stops in which it cuts.
    """

    kind: str
    first: int
    last: int
    begins: float
    done: float


@dataclass(frozen=True)
class Unlearned:
    """Why it is nowhere learned, as the end of a sentence."""

    because: str


def baseline_of(plan: Plan, number: int, hop: float) -> Learned | Unlearned:
    """
    Return where the first baseline of a bit is learned.

    Parameters
    ----------
    plan
        The program; its depths and widths must have been worked out.
    number
        T number of the bit.
    hop
        Seconds from one window to the next.

    Returns
    -------
    Learned or Unlearned
        By the program's own clock, as if all that is cut were heard: in a noisy shop it takes longer.
    """
    bit = plan.program.moves.bit
    mine = [at for at, (first, last) in enumerate(plan.stints) if (bit[first : last + 1] == number).any()]
    if not (plan.cuts & (bit == number)).any():
        return Unlearned("it cuts nothing")
    if not mine:
        return Unlearned("the program does not start the spindle for it (M3), so it is not expected")
    spells = np.concatenate([np.stack(plan.spells[at], axis=1) for at in mine])
    bit_heard = _Heard(plan, number, [plan.stints[at] for at in mine], _Clear.of(spells, hop))
    totals = bit_heard.totals()
    found = [bit_heard.learned(kind, total) for kind, total in enumerate(totals) if total[-1] >= _NEEDED]
    if found:
        return min(found, key=lambda each: each.done)
    return Unlearned(_too_little(spells, float(totals[:, -1].max())))


@dataclass(frozen=True, eq=False)
class _Clear:
    """
    When a cut is heard without any air, on the program's clock.

    Attributes
    ----------
    edges
        When each such stretch begins and ends, s, one after the other.
    lasted
        How long such stretches have lasted at each edge, s.
    """

    edges: Floats
    lasted: Floats

    @classmethod
    def of(cls, spells: Floats, mixed: float) -> "_Clear":
        """Return the stretches of spells of cutting, each without so many seconds at both ends."""
        inner = spells + np.array([mixed, -mixed])
        inner = inner[inner[:, 1] > inner[:, 0]]
        total = np.concatenate([[0.0], np.cumsum(inner[:, 1] - inner[:, 0])])
        return cls(inner.ravel(), np.stack([total[:-1], total[1:]], axis=1).ravel())

    def until(self, moment: Floats) -> Floats:
        """Return how long such stretches have lasted at some moments."""
        return np.interp(moment, self.edges, self.lasted) if len(self.edges) else np.zeros_like(moment)

    def when(self, lasted: float) -> float:
        """Return the moment at which such stretches have lasted so long."""
        return float(np.interp(lasted, self.lasted, self.edges))


@dataclass(frozen=True, eq=False)
class _Heard:
    """What is heard of one bit: the stints in which it turns, and when it is heard to cut without any air."""

    plan: Plan
    number: int
    stints: list[tuple[int, int]]
    clear: _Clear

    def totals(self) -> Floats:
        """Return for how long each family was heard after each move, s, shape (len(FAMILIES), n)."""
        plan = self.plan
        within = self.clear.until(plan.times.end) - self.clear.until(plan.cut_begin)
        within[~(plan.cuts & (plan.program.moves.bit == self.number))] = 0.0
        down = np.where(plan.kinds == KINDS.index("down"), within, 0.0)
        return np.cumsum([down, within - down], axis=1)

    def learned(self, kind: int, total: Floats) -> Learned:
        """Return where one kind of cut has been heard for long enough, by its total after each move."""
        first, last = int(np.argmax(total > 0.0)), int(np.searchsorted(total, _NEEDED))
        before = self.clear.until(self.plan.cut_begin[[first, last]])
        rest = _NEEDED - (float(total[last - 1]) if last else 0.0)
        begins, done = (self._turned(float(at)) for at in before + np.array([_MOMENT, rest]))
        return Learned(FAMILIES[kind], first, last, begins, done)

    def _turned(self, lasted: float) -> float:
        """Return for how many seconds the bit has turned when it has been heard for so long."""
        moment, times = self.clear.when(lasted), self.plan.times
        total = 0.0
        for first, last in self.stints:
            begin, end = float(times.begin[first]), float(times.end[last])
            total += min(max(moment - begin, 0.0), end - begin)
        return total


def _too_little(spells: Floats, most: float) -> str:
    longest = float((spells[:, 1] - spells[:, 0]).max(initial=0.0))
    return (
        f"it can't be watched against a baseline, for its cuts last at most {longest:.1f} s each: without "
        f"their beginnings and ends that leaves {most:.1f} s of one kind of cut, and {_NEEDED:g} s are needed"
    )
