"""
Where the bit goes across above the work, and where it surely does.

Nobody traverses into wood. So wherever the bit has come to at traverse, at a place at which nothing has been
cut yet, it stands above the work, whatever the zero is.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import Kind, Moves, lowest
from analysis.program.paths import sampled

SAME_LEVEL = 1e-3
"""mm; levels closer than this are one."""

FRESH = 15.0
"""mm; farther than this from every way so far nothing has been cut, as wide as the bit may be."""


@dataclass(frozen=True, eq=False)
class Ways:
    """
    How the moves in one coordinate system go up, down and across; each array has one row per move.

    Attributes
    ----------
    moves
        n moves.
    """

    moves: Moves

    @cached_property
    def fed(self) -> NDArray[np.bool_]:
        """Which are at feed."""
        return np.asarray(np.isfinite(self.moves.feed))

    @cached_property
    def across(self) -> NDArray[np.bool_]:
        """Which go across, straight or in an arc."""
        way = self.moves.end[:, :2] - self.moves.start[:, :2]
        return np.asarray((np.hypot(way[:, 0], way[:, 1]) > 1e-6) | (self.moves.sweep != 0))

    @cached_property
    def low(self) -> NDArray[np.float64]:
        """The lower end of each, mm."""
        return np.asarray(np.minimum(self.moves.start[:, 2], self.moves.end[:, 2]))

    @cached_property
    def flat(self) -> NDArray[np.bool_]:
        """Which feed across at one known height."""
        level = np.abs(self.moves.end[:, 2] - self.moves.start[:, 2]) <= SAME_LEVEL
        return np.asarray(self.fed & self.moves.z_known & self.across & level)

    @cached_property
    def came_by(self) -> NDArray[np.intp]:
        """The last move, itself included, that went up or down; -1 before the first."""
        changes = self.moves.start[:, 2] != self.moves.end[:, 2]
        return np.asarray(np.maximum.accumulate(np.where(changes, np.arange(len(self.moves)), -1)))

    @cached_property
    def came_down(self) -> NDArray[np.bool_]:
        """Where the bit last went down, at feed or not."""
        fell = self.moves.end[:, 2] < self.moves.start[:, 2]
        return np.asarray((self.came_by >= 0) & fell[self.came_by])

    @cached_property
    def fed_down(self) -> NDArray[np.bool_]:
        """Which are fed at a known height that the bit last went down to at feed."""
        return np.asarray(self.fed & self.moves.z_known & self.came_down & self.fed[self.came_by])

    @cached_property
    def over(self) -> NDArray[np.bool_]:
        """
        Which traverse across at a height that is known.

        Some write every traverse as a feed: where nothing traverses across at all, the feeds across at the
        highest level are taken, if the bit has come up to it, and not beyond it at traverse.
        """
        rapid = (self.moves.kind == Kind.RAPID) & self.across
        if rapid.any():
            return np.asarray(rapid & self.moves.z_known)
        highest = self.low[self.flat].max(initial=-np.inf)
        links = self.flat & (self.low >= highest - SAME_LEVEL)
        quick = ~self.fed & np.isin(self.moves.kind, (Kind.RAPID, Kind.RETRACT))
        beyond = self.moves.end[quick, 2].max(initial=-np.inf) > highest + SAME_LEVEL
        return np.asarray(links & bool((links & ~self.came_down).any() and not beyond))

    @cached_property
    def feeds(self) -> NDArray[np.bool_]:
        """Which feed, in the work or not; traverses that are written as feeds left out."""
        return self.fed & ~self.over

    @cached_property
    def passes(self) -> NDArray[np.bool_]:
        """
        Which feed across at one height that the bit has come down to.

        Where it has come down to that at traverse, as beside the sheet, it is lower than what is surely above
        the work.
        """
        sure = self.moves.end[self.surely_over | self.surely_down, 2].min(initial=np.inf)
        lower = self.fed[self.came_by] | (self.low < sure - SAME_LEVEL)
        return np.asarray(self.feeds & self.flat & self.came_down & lower)

    @cached_property
    def deepest(self) -> NDArray[np.float64]:
        """How deep the bit goes at feed between two traverses across, mm."""
        apart = self.over | (self.moves.kind == Kind.BIT_CHANGE)
        apart |= (self.moves.kind == Kind.RAPID) & self.across
        run = np.cumsum(apart)
        begins = np.flatnonzero(np.diff(run, prepend=-1))
        deep = np.minimum.reduceat(np.where(self.feeds, lowest(self.moves), np.inf), begins)
        return np.asarray(deep[run - run[0]])

    @cached_property
    def surely_over(self) -> NDArray[np.bool_]:
        """Which traverse across to where nothing has been cut yet, and the bit goes down there to cut."""
        return self._fresh & self.over

    @cached_property
    def surely_down(self) -> NDArray[np.bool_]:
        """Which traverse straight up or down where nothing is cut yet, and the bit goes down there to cut."""
        drills = np.append(self.moves.kind == Kind.PECK, False)[self._goes_on]
        return np.asarray(self._fresh & self._straight & ~drills)

    @cached_property
    def _straight(self) -> NDArray[np.bool_]:
        quick = np.isin(self.moves.kind, (Kind.RAPID, Kind.RETRACT))
        return np.asarray(~self.fed & quick & ~self.across)

    @cached_property
    def _goes_on(self) -> NDArray[np.intp]:
        """The next move that feeds or traverses across; their number where there is none."""
        wanted = self.fed | ((self.moves.kind == Kind.RAPID) & self.across)
        at = np.append(np.flatnonzero(wanted), len(wanted))
        return np.asarray(at[np.searchsorted(at, np.arange(len(wanted)), side="right")])

    @cached_property
    def _fresh(self) -> NDArray[np.bool_]:
        """Which traverse to far from all that has been fed, and the bit goes down there to cut."""
        down = self.feeds & self.moves.z_known & (self.moves.end[:, 2] < self.moves.start[:, 2])
        asked = np.flatnonzero((self.over | self._straight) & np.append(down, False)[self._goes_on])
        found = np.zeros(len(self.moves), dtype=np.bool_)
        if len(asked):
            points, of = sampled(self.moves, np.flatnonzero(self.feeds), FRESH)
            found[asked] = _first_near(points, of, self.moves.end[asked, :2]) > asked
        return found


def _first_near(
    points: NDArray[np.float64], of: NDArray[np.intp], places: NDArray[np.float64]
) -> NDArray[np.intp]:
    """Return the first move that has points near each place; each place has some."""
    cells, begins = np.unique(squares(points, FRESH), return_index=True)
    first = np.full(len(places), of[-1])
    for here in around(squares(places, FRESH)):
        at = np.searchsorted(cells, here).clip(max=len(cells) - 1)
        first = np.where(cells[at] == here, np.minimum(first, of[begins[at]]), first)
    return first


_ROW = 1_000_000_000


def squares(points: NDArray[np.float64], side: float) -> NDArray[np.int64]:
    """Return a number for the square, of a side in mm, in which each place lies, shape (n, 2), mm."""
    column, row = np.floor(points / side).clip(-4e8, 4e8).astype(np.int64).T
    return np.asarray(column * _ROW + row)


def around(cells: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Return the numbers of these squares and of those around each."""
    return [cells + x * _ROW + y for x in (-1, 0, 1) for y in (-1, 0, 1)]
