"""How many samples there should have been by the clock."""

from collections import deque
from typing import Final

# The least lateness of this many seconds of blocks tells a gap: what is merely late catches up.
_SPAN: Final = 0.5
# A lateness that lasts is a gap from here on, s; from here on where PortAudio itself tells of one.
_GAP: Final = 0.2
_TOLD: Final = 0.02
# For how long, s, PortAudio's word is remembered.
_REMEMBERED: Final = 2.0
# How much a sound card's clock may go wrong, s per s.
_DRIFT: Final = 1e-3
# Blocks that come early by this much, s, in this many seconds, come at another rate.
_EARLY: Final = 0.1
_WHILE: Final = 1.5
# A stream may begin with sound that waited, s.
_BEGINNING: Final = 2.0


class Tally:
    """
    Counts samples against the clock, and finds those that never came.

    PortAudio tells that samples were lost, and not always, but never how many. Blocks come when the system
    gets round to it; yet the least late of half a second is on time within milliseconds. When that is late
    by a fifth of a second, and stays late, samples are missing; what is late once is caught up with. Less may
    be nothing: a sound server hands out sound by up to a block later or earlier from when another program
    begins to record as well. The card's own clock is followed, up to 0.1 %.

    Parameters
    ----------
    rate
        Samples per second, Hz.

    Attributes
    ----------
    counted
        Samples so far, lost ones included.
    hurried
        Whether samples come faster than the rate allows: somebody changed it.
    """

    def __init__(self, rate: int) -> None:
        self.counted = 0
        self.hurried = False
        self._rate = rate
        self._due: float | None = None  # when the next sample is due
        self._began = 0.0
        self._told = -_REMEMBERED
        self._taken_for_gap = -_REMEMBERED, 0.0  # when, s, and how much lateness, s, was
        self._late: deque[tuple[float, float]] = deque()
        self._early: deque[tuple[float, float]] = deque()

    def begin(self, at: float, frames: int) -> int:
        """Take in a stream's first block, called back ``at`` s; return how many samples lack before it."""
        starts = at - frames / self._rate
        lost = self.away(starts)
        self._due = starts if self._due is None else min(self._due, starts)
        self._began, self.hurried = at, False
        self._early.clear()
        self._count(frames)
        return lost

    def take(self, at: float, frames: int, *, told: bool = False) -> int:
        """
        Take in a block; return how many samples are now known to have been lost before it.

        Parameters
        ----------
        at
            When it was called back, s.
        frames
            Its samples.
        told
            Whether PortAudio tells that some were lost before it.
        """
        if self._due is None:
            return self.begin(at, frames)
        self._told = at if told else self._told
        self._count(frames)
        late = at - self._due
        if late < 0.0:
            self._hurry(at, self._not_caught_up(at, -late))
        self._due += min(late, _DRIFT * frames / self._rate)
        return self._gap(at, late)

    def away(self, at: float) -> int:
        """Return how many samples that were due before ``at`` s never came, and count them as lost."""
        if self._due is None:
            return 0
        return self.dropped(max(0, round((at - self._due) * self._rate)))

    def dropped(self, samples: int) -> int:
        """Count samples that are known to be lost; return how many."""
        if samples:
            self._count(samples)
            self._late.clear()
        return samples

    def _count(self, samples: int) -> None:
        self.counted += samples
        if self._due is not None:
            self._due += samples / self._rate

    def _gap(self, at: float, late: float) -> int:
        self._late.append((at, late))
        while len(self._late) > 1 and self._late[1][0] <= at - _SPAN:
            self._late.popleft()
        if at - self._late[0][0] < _SPAN:
            return 0
        least = min(late for _, late in self._late)
        if least <= (_TOLD if at - self._told < _REMEMBERED else _GAP):
            return 0
        self._taken_for_gap = at, least
        return self.dropped(round(least * self._rate))

    def _not_caught_up(self, at: float, early: float) -> float:
        """Return by how much a block is early, s, less what was late for long and taken for a gap before."""
        when, late = self._taken_for_gap
        if at - when >= _REMEMBERED:
            return early
        self._taken_for_gap = when, max(0.0, late - early)
        return max(0.0, early - late)

    def _hurry(self, at: float, early: float) -> None:
        if at - self._began < _BEGINNING:
            return
        self._early.append((at, early))
        while self._early[0][0] <= at - _WHILE:
            self._early.popleft()
        self.hurried = sum(early for _, early in self._early) > _EARLY
