"""
Tabs: short stretches of a closed outline that are left standing to hold the part in the sheet.

Along the last pass around an outline the bit lifts, straight up or up a ramp, and goes across shallower, or
the outline has a gap there. What stands is what the lowest pass over that place leaves. A ramp on which a
pass goes in is none, and neither is the step of a pocket's floor: there the wood beside the way goes too.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.program.chains import TAB, Chain, carries_on
from analysis.program.loops import Segments, joined, loops, segments_of
from analysis.program.moves import Moves

FLAT = 0.01
"""mm; levels nearer than this are one."""

LEAST_HEIGHT = 0.2
"""mm; what stands less holds nothing."""

LEAST_WIDTH = 1.0
"""mm; a shorter way across leaves nothing under any bit."""

LEAST_AREA = 0.5
"""mm²; a loop around less is a way out and back."""

STEP = 0.25
"""mm; how finely the way is looked at."""

NEAR = 0.05
"""mm; ways nearer than this are one."""

BULGE = 0.17
"""How far, in widths of a gap, the outline may lie off the straight line across it (`chains.STRAIGHT_ON`)."""

CLEARED = 1.5
"""How far, in distances from one way to the next, the middle of a cleared pocket may lie off any way."""

LARGEST_BIT = 13.0
"""mm in diameter; what lies farther than its radius from any way is not cleared."""


@dataclass(frozen=True)
class Tab:
    """
    One tab.

    Places are those of the bit's centre. Where the bit lifts straight up, the wood that stands is narrower
    than the way across by the bit's diameter.

    Attributes
    ----------
    along
        mm along the outline, from where its last pass begins, to where the tab begins.
    begin, end
        x and y, mm; where the last pass leaves its depth, and where it is back.
    width
        mm along the outline between the two.
    height
        mm left standing above the deepest of the outline's cut.
    first_line, last_line
        File lines of the moves over it, the lift and the way down included.
    """

    along: float
    begin: tuple[float, float]
    end: tuple[float, float]
    width: float
    height: float
    first_line: int
    last_line: int


@dataclass(frozen=True, eq=False)
class _Loop:
    """
    A loop in small pieces.

    `way` are its straight pieces; of each small one `of` says which of those it belongs to, `middle` is its
    place, `low` the Z that the lowest pass over it leaves; `deep` is the depth of this pass.
    """

    way: Segments
    of: NDArray[np.intp]
    middle: NDArray[np.float64]
    length: NDArray[np.float64]
    low: NDArray[np.float64]
    deep: float

    @property
    def stands(self) -> NDArray[np.bool_]:
        return np.asarray(self.low > self.deep + FLAT)

    @property
    def polygon(self) -> shapely.Polygon:
        return shapely.Polygon(self.way.start[:, :2])


def find_tabs(
    moves: Moves, cuts: NDArray[np.bool_], top: float, rows: Sequence[Sequence[Chain]]
) -> tuple[Tab, ...]:
    """
    Return the tabs of one part.

    Parameters
    ----------
    moves
        Of the whole program.
    cuts
        (n,) which of them cut.
    top
        Z of the work's top, mm.
    rows
        The part's chains; those that make one outline with gaps between them stand together.

    Returns
    -------
    tuple of Tab
        In the order in which they are cut over.
    """
    ways = [way for row in rows if _may_hold(moves, cuts, row) for way in _loops_of(moves, cuts, row)]
    if not ways:
        return ()
    pieces = [segments_of(moves, cuts, row) for row in rows]
    cut = joined([found.take(found.cuts) for found in pieces])
    last = [loop for loop in (_measured(way, cut, top) for way in ways) if _is_last(loop)]
    tabs: list[Tab] = []
    for loop in reversed(last):
        floors = [outer for outer in last if abs(outer.deep - loop.deep) <= FLAT]
        tabs += [tab for tab in _tabs_on(loop, floors, cut, moves) if not any(_same(tab, t) for t in tabs)]
    return tuple(sorted(tabs, key=lambda tab: (tab.first_line, tab.along)))


def _may_hold(moves: Moves, cuts: NDArray[np.bool_], row: Sequence[Chain]) -> bool:
    """Whether the bit, once it cuts across at its deepest, goes across anything that is shallower."""
    if len(row) > 1 or (not row[0].closed and carries_on(row[0].points, row[0].points)):
        return True
    inside = slice(int(row[0].moves[0]), int(row[-1].moves[-1]) + 1)
    start, end, cut = moves.start[inside], moves.end[inside], cuts[inside]
    high = np.maximum(start[:, 2], end[:, 2])
    across = (np.abs(end - start)[:, :2].max(axis=1) > 1e-6) | (moves.sweep[inside] != 0)
    deep = cut & across & (high <= end[cut, 2].min() + FLAT)
    begins = int(np.argmax(deep))
    return bool(deep.any() and (across & ~deep)[begins:].any())


def _loops_of(moves: Moves, cuts: NDArray[np.bool_], row: Sequence[Chain]) -> list[Segments]:
    """Return the loops of a row most of which lie at one depth, and the rest higher."""
    inside = np.concatenate([chain.moves for chain in row])
    way = moves.end[inside] - moves.start[inside]
    down = inside[(np.abs(way[:, :2]).max(axis=1) <= 1e-6) & (way[:, 2] < 0)]
    entries = np.unique(moves.end[down][:, :2], axis=0)
    found = []
    for loop in loops(segments_of(moves, cuts, row), entries):
        deep = loop.cuts & (_high(loop) <= _deepest(loop) + FLAT)
        flat, around = float(loop.length[deep].sum()), float(loop.length.sum())
        if around / 2 <= flat < around and _area(loop) > LEAST_AREA:
            found.append(loop)
    return found


def _area(loop: Segments) -> float:
    """Return what a loop encloses, mm²; none for a way out and back."""
    (x0, y0), (x1, y1) = loop.start[:, :2].T, loop.end[:, :2].T
    return abs(float((x0 * y1 - x1 * y0).sum())) / 2


def _high(way: Segments) -> NDArray[np.float64]:
    return np.maximum(way.start[:, 2], way.end[:, 2])


def _deepest(way: Segments) -> float:
    return float(np.minimum(way.start[:, 2], way.end[:, 2])[way.cuts].min(initial=np.inf))


def _measured(way: Segments, cut: Segments, top: float) -> _Loop:
    """Look at a loop piece by piece, and how low any pass goes there."""
    count = np.ceil(way.length / STEP).astype(np.intp)
    of = np.repeat(np.arange(len(way)), count)
    share = (np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[of]
    middle = (way.start[of] + share[:, None] * (way.end - way.start)[of])[:, :2]
    from_ends = np.minimum(share, 1 - share) * way.length[of]
    reach = np.where(way.cuts[of], NEAR, np.minimum(NEAR + BULGE * way.length[of], 0.9 * from_ends))
    low = _lowest_near(middle, reach, cut, top)
    return _Loop(way, of, middle, (way.length / count)[of], low, _deepest(way))


def _lowest_near(
    places: NDArray[np.float64], reach: NDArray[np.float64], cut: Segments, top: float
) -> NDArray[np.float64]:
    """Return the lowest Z of what is cut within reach of each place, or the top of the work."""
    low = np.full(len(places), top)
    margin = float(reach.max())
    near = (np.minimum(cut.start, cut.end)[:, :2] <= places.max(axis=0) + margin).all(axis=1)
    near &= (np.maximum(cut.start, cut.end)[:, :2] >= places.min(axis=0) - margin).all(axis=1)
    cut = cut.take(near)
    if not len(cut):
        return low
    lines = shapely.linestrings(np.stack([cut.start[:, :2], cut.end[:, :2]], axis=1))
    at, which = shapely.STRtree(lines).query(shapely.points(places), predicate="dwithin", distance=reach)
    way = (cut.end - cut.start)[which]
    share = ((places[at] - cut.start[which, :2]) * way[:, :2]).sum(axis=1) / (way[:, :2] ** 2).sum(axis=1)
    np.minimum.at(low, at, cut.start[which, 2] + np.clip(share, 0.0, 1.0) * way[:, 2])
    return low


def _is_last(loop: _Loop) -> bool:
    """Whether no other pass goes deeper there, and most of it goes to this depth."""
    around = float(loop.length.sum())
    lower = float(loop.length[loop.low < loop.deep - FLAT].sum())
    return lower <= 0.1 * around and float(loop.length[loop.stands].sum()) <= around / 2


def _tabs_on(loop: _Loop, floors: Sequence[_Loop], cut: Segments, moves: Moves) -> list[Tab]:
    found = []
    for run in _runs(loop.stands):
        height = float(loop.low[run].max()) - loop.deep
        width = float(loop.length[run].sum())
        upper = float(loop.length[run][loop.low[run] > loop.deep + height / 2].sum())
        if height < LEAST_HEIGHT or width < LEAST_WIDTH or upper > TAB:
            continue
        if _goes_in(loop, run) or _is_floor(loop, run, floors, cut):
            continue
        found.append(_tab(loop, run, height, moves))
    return found


def _runs(stands: NDArray[np.bool_]) -> list[NDArray[np.intp]]:
    """Return the indices of each run of small pieces that stand; one may go over the loop's seam."""
    begins = np.flatnonzero(stands & ~np.roll(stands, 1))
    ends = np.flatnonzero(stands & ~np.roll(stands, -1))
    if len(ends) and ends[0] < begins[0]:
        ends = np.roll(ends, -1)
    count = len(stands)
    return [np.arange(a, b + 1 + count * (b < a)) % count for a, b in zip(begins, ends, strict=True)]


def _goes_in(loop: _Loop, run: NDArray[np.intp]) -> bool:
    """Whether this is the ramp down which the pass begins, and the pass does not end on a lift."""
    own = loop.way.take(np.unique(loop.of[run]))
    return bool(run[0] == 0 and (own.cuts & (own.end[:, 2] < own.start[:, 2])).all())


def _is_floor(loop: _Loop, run: NDArray[np.intp], floors: Sequence[_Loop], cut: Segments) -> bool:
    """Whether the wood beside it is cut to the same level: the step of a pocket's floor."""
    level = float(loop.low[run].max())
    high, deep = _high(cut), np.minimum(cut.start[:, 2], cut.end[:, 2])
    lines = shapely.linestrings(np.stack([cut.start[:, :2], cut.end[:, :2]], axis=1))
    middle = shapely.Point(loop.middle[run[len(run) // 2]])
    off = shapely.distance(lines, shapely.LinearRing(loop.way.start[:, :2]))
    at_level = (off > 2 * NEAR) & (np.maximum(abs(high - level), abs(deep - level)) <= FLAT)
    beside = float(shapely.distance(lines[at_level], middle).min(initial=np.inf))
    if beside > TAB:
        return False
    ways = shapely.MultiLineString(list(lines[(high <= level + FLAT) & (deep >= loop.deep - FLAT)]))
    farthest = min(CLEARED * beside, LARGEST_BIT / 2)
    around = [outer.polygon for outer in floors]
    return any(area.buffer(NEAR).contains(middle) and _farthest(area, ways) <= farthest for area in around)


def _farthest(area: shapely.Polygon, ways: shapely.MultiLineString) -> float:
    """Return how far, mm, a place in the area can be from any way."""
    xmin, ymin, xmax, ymax = area.bounds
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(xmin, xmax, 41), np.linspace(ymin, ymax, 41)))
    within = shapely.contains_xy(area, x, y)
    return float(shapely.distance(shapely.points(x[within], y[within]), ways).max(initial=0.0))


def _tab(loop: _Loop, run: NDArray[np.intp], height: float, moves: Moves) -> Tab:
    first, last = int(run[0]), int(run[-1])
    lines = moves.file_line[_moves_over(loop, run)]
    return Tab(
        along=float(loop.length[:first].sum()),
        begin=_place(loop, first, 0.0),
        end=_place(loop, last, 1.0),
        width=float(loop.length[run].sum()),
        height=height,
        first_line=int(lines.min()),
        last_line=int(lines.max()),
    )


def _place(loop: _Loop, small: int, end: float) -> tuple[float, float]:
    """Return where a small piece begins (0) or ends (1)."""
    i = int(loop.of[small])
    within = int((loop.of[:small] == i).sum())
    share = (within + end) * float(loop.length[small]) / float(loop.way.length[i])
    x, y = loop.way.start[i, :2] + share * (loop.way.end - loop.way.start)[i, :2]
    return float(x), float(y)


def _moves_over(loop: _Loop, run: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the moves of a run, and those straight up and down around it."""
    own = loop.way.move[np.unique(loop.of[run])]
    before = int(loop.way.move[loop.of[run[0] - 1]])
    after = int(loop.way.move[loop.of[(run[-1] + 1) % len(loop.of)]])
    between = np.arange(before + 1, after)
    return between if len(between) else own


def _same(one: Tab, other: Tab) -> bool:
    """Whether two passes leave the same tab."""
    middles = [(np.array(tab.begin) + np.array(tab.end)) / 2 for tab in (one, other)]
    return bool(np.hypot(*(middles[0] - middles[1])) < max(one.width, other.width) / 2)
