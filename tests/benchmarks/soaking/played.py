"""Whether what was kept is what was played, sample by sample."""

import numpy as np
from numpy.typing import NDArray

# So many samples alike, and not all the same, are no chance.
_PROBE = 480

Samples = NDArray[np.int16]


class Played:
    """
    Follows a sound that is played over and over in what was kept of it.

    Parameters
    ----------
    loop
        What is played, (n,). No stretch of 480 samples comes twice in it.

    Attributes
    ----------
    size
        Samples of what is played.
    before
        Samples kept before the first that was played.
    same
        Samples kept that are the ones played.
    strange
        Samples kept that are not, silence in place of them for instance.
    missing
        Samples played and not kept.
    """

    def __init__(self, loop: Samples) -> None:
        self.before = self.same = self.strange = self.missing = 0
        self.size = len(loop)
        self._loop = loop
        self._bytes = np.concatenate([loop, loop[:_PROBE]]).tobytes()
        self._next: int | None = None  # which sample of the loop comes next; None while it is lost
        self._lost = 0  # which came next when it was lost
        self._rest: Samples = np.empty(0, dtype=np.int16)  # what came since
        self._looked = 0  # how much of that was looked for in vain

    def take(self, kept: Samples) -> None:
        """Take in what was kept next, (n,)."""
        self._rest = np.concatenate([self._rest, kept])
        while len(self._rest) and (self._find() if self._next is None else self._follow(self._next)):
            pass

    def end(self) -> None:
        """Count what is left, in which nothing that was played was found."""
        self.strange += len(self._rest)
        self._rest = self._rest[:0]

    def _follow(self, first: int) -> bool:
        """Go on for as long as it is the same; return whether something is left."""
        differs = np.flatnonzero(self._rest != self._loop_from(first, len(self._rest)))
        count = int(differs[0]) if len(differs) else len(self._rest)
        self.same += count
        self._rest, self._looked = self._rest[count:], 0
        after = (first + count) % self.size
        self._next, self._lost = (None, after) if len(differs) else (after, 0)
        return bool(len(differs))

    def _find(self) -> bool:
        """Look for what came in what is played; return whether it was found."""
        while self._looked + _PROBE <= len(self._rest):
            if (at := self._place(self._rest[self._looked :][:_PROBE])) is not None:
                back = self._alike_before(at)
                self._found(self._looked - back, (at - back) % self.size)
                return True
            self._looked += _PROBE
        return False

    def _found(self, skipped: int, at: int) -> None:
        """Go on with sample ``at`` of the loop, after some samples that are not of it."""
        if self.same:
            self.strange += skipped
            self.missing += (at - self._lost) % self.size
        else:
            self.before += skipped
        self._rest, self._next = self._rest[skipped:], at

    def _place(self, probe: Samples) -> int | None:
        """Return where some samples are in the loop."""
        if np.all(probe == probe[0]):
            return None
        at = self._bytes.find(probe.tobytes())
        while at % 2 and at >= 0:
            at = self._bytes.find(probe.tobytes(), at + 1)
        return at // 2 if at >= 0 else None

    def _alike_before(self, at: int) -> int:
        """Return how many samples before the place that was found are alike as well."""
        before = self._rest[: self._looked]
        differs = np.flatnonzero(before != self._loop_from(at - len(before), len(before)))
        return len(before) - (int(differs[-1]) + 1 if len(differs) else 0)

    def _loop_from(self, first: int, count: int) -> Samples:
        return self._loop.take(np.arange(first, first + count), mode="wrap")
