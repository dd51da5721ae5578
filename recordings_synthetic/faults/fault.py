"""What all faults have in common: a beginning, a cause, and that they unfold while something is cut."""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from analysis.events import Cause
from recordings_synthetic.faults.trouble import Trouble

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spell:
    """How long a fault lasts: from the last tick at which all is well to the first at which it is over."""

    first: int
    last: int


@dataclass(frozen=True, eq=False)
class Setting:
    """
    What the machine does when a fault comes, at n ticks, as it would have done without it.

    Attributes
    ----------
    spell
        From when to when.
    step
        Seconds from tick to tick.
    seed
        The recording's; each fault draws from a stream of its own.
    position
        (n, 3) mm, where the bit's end is.
    cutting
        (n,) whether anything is cut.
    depth
        (n,) mm of the material ahead.
    speed
        (n,) turns per second.
    flutes, diameter
        (n,) of the bit; mm.
    steps
        Motor steps per mm of X, Y and Z.
    """

    spell: Spell
    step: float
    seed: int
    position: Floats
    cutting: NDArray[np.bool_]
    depth: Floats
    speed: Floats
    flutes: Floats
    diameter: Floats
    steps: tuple[float, float, float]

    @property
    def count(self) -> int:
        """How many ticks there are."""
        return len(self.depth)

    @property
    def since(self) -> Floats:
        """(n,) seconds since all was well; 0 outside the spell."""
        return seconds_since(self.spell, self.count, self.step)

    @property
    def velocity(self) -> Floats:
        """(n, 3) mm/s."""
        return np.asarray(np.diff(self.position, axis=0, append=self.position[-1:]) / self.step)

    @property
    def across(self) -> Floats:
        """(n,) mm/s in the plane of the sheet."""
        return np.asarray(np.linalg.norm(self.velocity[:, :2], axis=1))

    def first_tick(self, when: NDArray[np.bool_], what: str) -> int:
        """Return the spell's first tick at which something is cut and ``when`` (n,) holds."""
        found = np.flatnonzero((self.cutting & when)[self.spell.first : self.spell.last - 1])
        if not len(found):
            raise ValueError(f"{what} from there on")
        return self.spell.first + int(found[0])


def seconds_since(spell: Spell, count: int, step: float) -> Floats:
    """Return (count,) seconds since a spell's first tick; 0 before it and from its last on."""
    since = np.maximum(np.arange(count) - spell.first, 0) * step
    since[spell.last :] = 0.0
    return since


@dataclass(frozen=True)
class Fault(ABC):
    """
    Something that goes wrong.

    Attributes
    ----------
    at_line, at
        From when on: from where that line of the file (counted from 1) is first cut, or from a time in the
        recording, s. Give one. The sound changes from the first cutting after that.
    cause
        What an alarm should call it.
    with_bit
        Whether it is over when the bit is changed.
    """

    cause: ClassVar[Cause] = "unknown"
    with_bit: ClassVar[bool] = True

    at_line: int | None = None
    at: float | None = None

    def __post_init__(self) -> None:
        """Refuse a fault that has no beginning, or two."""
        if (self.at_line is None) == (self.at is None):
            raise ValueError(f"at_line={self.at_line} and at={self.at}: give one of them")

    @abstractmethod
    def unfold(self, setting: Setting) -> Trouble:
        """Return what is wrong at each tick; nothing up to the spell's first tick and from its last on."""
