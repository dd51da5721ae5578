"""
Where in a program the watcher will have heard enough of a bit to know its normal sound.

A baseline belongs to one bit and one kind of cut. It is learned from all cutting of that kind that is heard,
cut by cut, until there is enough; the first and last windows of each cut hold air as well and are left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.locate import KINDS, Plan
from analysis.watcher import Settings

MIXED = 2
"""Windows at either end of a cut that the watcher leaves out."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Learned:
    """
    Where a bit's first baseline is learned.

    Attributes
    ----------
    kind
        Of `analysis.locate.KINDS`.
    first, last
        The moves with which the learning begins and ends.
    begins, done
        When it begins and is complete, s that the bit has turned.
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


def baseline_of(plan: Plan, number: int, hop: float, needed: float = Settings.learn) -> Learned | Unlearned:
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
    needed
        Seconds of one kind of cut that make a baseline.

    Returns
    -------
    Learned or Unlearned
        By the program's own clock, as if all that is cut were heard: in a noisy shop it takes longer.
    """
    bit = plan.program.moves.bit
    mine = [at for at, (first, _) in enumerate(plan.stints) if bit[first] == number]
    if not (plan.cuts & (bit == number)).any():
        return Unlearned("it cuts nothing")
    if not plan.stints:
        return Unlearned(
            "the program never starts the spindle (S and M3), so it is learned from the first cutting that "
            "is heard, on a line that nobody knows"
        )
    if not mine:
        return Unlearned("the program does not start the spindle for it (S and M3), so it is not expected")
    spells = np.concatenate([np.stack(plan.spells[at], axis=1) for at in mine])
    heard = _heard(plan, number, spells, MIXED * hop)
    ends = [(total[-1], kind, total) for kind, total in enumerate(np.cumsum(heard, axis=1))]
    found = [_found(plan, mine, kind, total, needed) for most, kind, total in ends if most >= needed]
    if found:
        return min(found, key=lambda learned: learned.done)
    return Unlearned(_too_little(spells, max(float(most) for most, _, _ in ends), needed))


def _heard(plan: Plan, number: int, spells: Floats, mixed: float) -> Floats:
    """Return the seconds of each move that can be learned from, shape (len(KINDS), n)."""
    inner = spells + np.array([mixed, -mixed])
    inner = inner[inner[:, 1] > inner[:, 0]]
    if not len(inner):
        return np.zeros((len(KINDS), len(plan.kinds)))
    # Up to each moment, how much of the way was inside a cut.
    lasted = np.concatenate([[0.0], np.cumsum(inner[:, 1] - inner[:, 0])])
    known = np.stack([lasted[:-1], lasted[1:]], axis=1).ravel()
    edges = inner.ravel()
    within = np.interp(plan.times.end, edges, known) - np.interp(plan.cut_begin, edges, known)
    within[~(plan.cuts & (plan.program.moves.bit == number))] = 0.0
    return np.stack([np.where(plan.kinds == kind, within, 0.0) for kind in range(len(KINDS))])


def _found(plan: Plan, mine: list[int], kind: int, total: Floats, needed: float) -> Learned:
    first, last = int(np.argmax(total > 0.0)), int(np.searchsorted(total, needed))
    begins = float(plan.cut_begin[first])
    done = float(plan.times.end[last]) - (float(total[last]) - needed)
    return Learned(KINDS[kind], first, last, _turned(plan, mine, begins), _turned(plan, mine, done))


def _turned(plan: Plan, mine: list[int], moment: float) -> float:
    """Return for how many seconds the bit has turned at a moment of the program's clock."""
    total = 0.0
    for first, last in (plan.stints[at] for at in mine):
        begin, end = float(plan.times.begin[first]), float(plan.times.end[last])
        total += min(max(moment - begin, 0.0), end - begin)
    return total


def _too_little(spells: Floats, most: float, needed: float) -> str:
    longest = float((spells[:, 1] - spells[:, 0]).max(initial=0.0))
    return (
        f"it can't be watched against a baseline, for its cuts last at most {longest:.1f} s each: without "
        f"their beginnings and ends that leaves {most:.1f} s of one kind of cut, and {needed:g} s are needed"
    )
