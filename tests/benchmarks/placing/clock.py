"""
The place by a plain clock.

From the moment the spindle is heard to start, put right whenever cutting is heard to begin or end where the
program expects it. Pauses and bit changes last as long as they last: the spindle's next start begins the
next stint. What `SoundLocator` is measured against: nothing else uses it.
"""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.events import Place
from analysis.locate import APART, Plan
from analysis.presence import Phase
from analysis.which_bit import Fit

# How wrong the clock is, s: at once after it was put right, and more for each second since.
_SURE, _DRIFT = 0.5, 0.05
# How far off, s, a cut may begin and still be the one that was expected.
_NEAR, _NEAR_AT_FIRST = 1.5, 4.0
# Seconds that a stint may last longer than planned: the spindle takes time to stop.
_OVERTIME = 4.0


class ClockLocator:
    """
    Follows a plan by the clock and by what is heard to begin and end.

    Parameters
    ----------
    plan
        The program being cut.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._stint = -1
        self._offset: float | None = None
        self._anchored = 0.0
        self._first_cut = True
        self._phase: Phase | None = None
        self._since = 0.0

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """Take in what the spindle does at ``at`` seconds; the level tells this clock nothing."""
        del level, bits
        before, self._phase = self._phase, phase
        lasted = at - self._since
        if phase is not before:
            self._since = at
        if phase is not Phase.OFF and before in (None, Phase.OFF):
            self._spindle_on(at, heard_start=before is Phase.OFF)
        # What was only called air because the plan says so tells nothing of the plan.
        told = self._offset is not None and before is Phase.CUT and not self._may_cut(at)
        if phase is not before and Phase.CUT in (phase, before) and lasted >= APART / 2 and not told:
            self._cut_edge(at, begin=phase is Phase.CUT)

    def place(self, at: float) -> Place | None:
        """Return where ``at`` was; ``None`` when that is unknown."""
        if self._offset is None or self._is_past(at):
            return None
        now, early, late = self._moves_at(at)
        return self.plan.place(early, now, late, "clock" if self._first_cut else "sound")

    def _may_cut(self, at: float) -> bool:
        """Return whether the program may cut at ``at``; where it may be over, only the sound can tell."""
        _, early, late = self._moves_at(at)
        return self._is_past(at) or self.plan.cutting_between(early, late)[0] > 0.0

    def _is_past(self, at: float) -> bool:
        """Return whether ``at`` is later than this stint can have lasted."""
        if self._offset is None:
            return False
        end = float(self.plan.times.end[self.plan.stints[self._stint][1]])
        return at - self._offset > end + max(_OVERTIME, self._uncertainty(at))

    def _uncertainty(self, at: float) -> float:
        first = 1.0 if self._first_cut else 0.0
        return _SURE + first + _DRIFT * max(0.0, at - self._anchored)

    def _moves_at(self, at: float) -> tuple[int, int, int]:
        """Return the likeliest move at ``at``, the earliest and the latest possible."""
        assert self._offset is not None
        first, last = self.plan.stints[self._stint]
        clock = at - self._offset
        doubt = self._uncertainty(at)
        begins = self.plan.times.begin[first : last + 1]
        found = np.searchsorted(begins, [clock, clock - doubt, clock + doubt], side="right") - 1
        now, early, late = (int(index) for index in np.clip(found, 0, last - first) + first)
        return now, early, late

    def _spindle_on(self, at: float, *, heard_start: bool) -> None:
        if not self.plan.stints or not self._is_due(at):
            return
        self._stint += 1
        self._first_cut = True
        self._anchored = at
        first = self.plan.stints[self._stint][0]
        # A recording that begins with the spindle running tells nothing of when it started.
        self._offset = at - float(self.plan.times.begin[first]) if heard_start else None

    def _is_due(self, at: float) -> bool:
        """Return whether the next stint may begin now: it exists, and the last one is nearly through."""
        if self._stint < 0:
            return True
        if self._stint + 1 >= len(self.plan.stints):
            return False
        if self._offset is None:
            return True
        first, last = self.plan.stints[self._stint]
        begin, end = float(self.plan.times.begin[first]), float(self.plan.times.end[last])
        return at - self._offset >= end - max(3.0, 0.15 * (end - begin))

    def _cut_edge(self, at: float, *, begin: bool) -> None:
        """Put the clock right where cutting is heard to begin or end."""
        if not 0 <= self._stint < len(self.plan.stints):
            return
        if begin and self._is_past(at) and self._stint + 1 < len(self.plan.stints):
            # Something in the shop hid that the spindle stopped and started: the next bit is cutting.
            self._stint += 1
            self._offset = None
        edges = self._edges(begin=begin)
        if not len(edges):
            return
        if self._offset is None:
            if begin:
                self._anchor(at, float(edges[0]))
            return
        clock = at - self._offset
        nearest = int(np.abs(edges - clock).argmin())
        # A cut ends by and by, in a finishing pass: that tells less than its beginning.
        near = _NEAR_AT_FIRST if self._first_cut else _NEAR if begin else _NEAR / 2
        gaps = np.abs(np.delete(edges, nearest) - edges[nearest])
        if not self._first_cut and len(gaps):
            near = min(near, 0.45 * float(gaps.min()))
        if self._first_cut and begin:
            nearest = 0
        if abs(float(edges[nearest]) - clock) <= near:
            self._anchor(at, float(edges[nearest]))

    def _anchor(self, at: float, clock: float) -> None:
        self._offset = at - clock
        self._anchored = at
        self._first_cut = False

    def _edges(self, *, begin: bool) -> NDArray[np.float64]:
        """Return when, on the program's clock, cutting is expected to be heard to begin or end now."""
        begins, ends = self.plan.spells[self._stint]
        return begins if begin else ends
