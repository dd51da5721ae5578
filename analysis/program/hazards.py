"""
What makes it unsafe to cut some of a sheet's parts again, or alone. Common practice of the trade.

A part that has been cut free, or that hangs on its tabs only, has little to hold it when the bit comes again:
it can be caught, turned and thrown. On a fresh sheet a part may find wood above it that another part's
cutting took away in the whole job, and its first pass is then deeper than it was meant to be. What lies
inside the outline of a part belongs to that part (`analysis.program.parts`), pieces that are cut free in
there as well.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.program.areas import NEAR
from analysis.program.chains import Chain
from analysis.program.loops import Segments, joined, segments_of
from analysis.program.moves import lowest
from analysis.program.parts import Part
from analysis.program.program import Program
from analysis.program.tabs import LARGEST_BIT
from analysis.program.work import cutting

THROUGH = 0.05
"""mm; what is cut as near as this to the deepest that the program goes is taken as cut through."""

MOSTLY = 0.5
"""From this share of an outline on, the way that is cut there goes around it."""

OVERLAP = 1.0
"""mm; cutting that goes less far into another part only touches it."""


@dataclass(frozen=True)
class Crossing:
    """Cutting of `part` that goes over `over`: down to Z `bottom`, all around it, before `over` is begun."""

    part: str
    over: str
    bottom: float
    around: bool
    before: bool


def crossings(program: Program, parts: Sequence[Part], pieces: Sequence[Chain]) -> list[Crossing]:
    """
    Return where the cutting of one part goes over another one.

    Parameters
    ----------
    program
        As read.
    parts, pieces
        Its parts and its chains.
    """
    ways = [chain for chain in pieces if len(chain.points) > 1]
    if not ways:
        return []
    owner = np.full(len(program.moves), -1)
    for number, part in enumerate(parts):
        owner[part.moves] = number
    low, system = lowest(program.moves), program.moves.system
    lines = [shapely.LineString(chain.points) for chain in ways]
    tree = shapely.STRtree(lines)
    found = []
    for number, part in enumerate(parts):
        if not part.area:
            continue
        ring = shapely.LinearRing(part.outline)
        area, edge = shapely.Polygon(ring).buffer(NEAR), ring.buffer(NEAR)
        for i in tree.query(area, predicate="intersects").tolist():
            other = int(owner[ways[i].moves[0]])
            elsewhere = system[ways[i].moves[0]] != system[part.moves[0]]
            if other == number or elsewhere or lines[i].intersection(area).length <= OVERLAP:
                continue
            if part.holds(parts[other]):
                continue
            # A part that shares a line with this one has a way of its own all around it.
            beside = bool(np.isin(ways[i].moves, part.shared).any())
            around = not beside and lines[i].intersection(edge).length >= MOSTLY * ring.length
            before = not beside and bool(ways[i].moves[0] < part.moves[0])
            bottom = float(low[ways[i].moves].min())
            found.append(Crossing(parts[other].name, part.name, bottom, around, before))
    return found


def hazards(
    program: Program,
    wanted: Sequence[Part],
    pieces: Sequence[Chain],
    crossed: Sequence[Crossing],
    written: Callable[[float], str],
) -> Iterator[str]:
    """
    Yield what a person is to heed before the chosen parts are cut.

    Parameters
    ----------
    program
        As read.
    wanted
        The chosen parts.
    pieces
        All chains of the program.
    crossed
        Where parts meet.
    written
        Writes a length, mm, for a person.
    """
    deep = _deepest(program, {int(program.moves.system[part.moves[0]]) for part in wanted}) + THROUGH
    through = {part.name: _cut_through(program, part, pieces, deep) for part in wanted if part.area}
    closed = [part for part in wanted if part.area]
    yield from _on_tabs([part for part in closed if part.tabs], written)
    yield from _free([part for part in closed if not part.tabs and _goes_around(part, through[part.name])])
    yield from _loose_inside([part for part in closed if _frees_pieces(part, through[part.name])])
    yield from _shared({part.name for part in wanted}, crossed, written)
    yield "what has been cut too deep is not mended by cutting again."


def _deepest(program: Program, systems: Collection[int]) -> float:
    """Return the lowest Z that is cut in some coordinate systems, mm."""
    moves = program.moves
    cuts = cutting(moves, program.tops) & np.isin(moves.system, list(systems))
    return float(lowest(moves)[cuts].min(initial=np.inf))


def listed(parts: Sequence[Part]) -> str:
    """Return the names of parts in one phrase."""
    names = [part.name for part in parts]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def in_frames(wanted: Sequence[Part], parts: Sequence[Part]) -> Iterator[str]:
    """Yield what a person is to heed where chosen parts lie in a frame that is not cut with them."""
    for frame in parts:
        inside = [part for part in wanted if frame.holds(part)]
        if inside and frame not in wanted:
            yield (
                f"{listed(inside)}: inside {frame.name}, which is left out here. Where that is cut through "
                "already, all that lies inside may be loose: hold it down."
            )


def _on_tabs(parts: Sequence[Part], written: Callable[[float], str]) -> Iterator[str]:
    if not parts:
        return
    high = written(max(tab.height for part in parts for tab in part.tabs))
    count = sum(len(part.tabs) for part in parts)
    tabs = f"{'one tab' if count == 1 else f'{count} tabs'} up to {high} high"
    yield (
        f"held by {tabs} once cut: {listed(parts)}. Where that is done already, a second pass at full depth "
        "can break a tab and throw the part: make sure that it holds, or screw it down."
    )


def _free(parts: Sequence[Part]) -> Iterator[str]:
    if parts:
        yield (
            f"cut through, no tabs: {listed(parts)}. What is cut already lies loose, the bit can catch and "
            "throw it: screw it down, or take it out and leave it."
        )


def _loose_inside(parts: Sequence[Part]) -> Iterator[str]:
    if parts:
        yield f"pieces are cut free inside {listed(parts)}: take out what lies loose there."


def _shared(names: set[str], crossed: Sequence[Crossing], written: Callable[[float], str]) -> Iterator[str]:
    """Yield where chosen parts and others meet."""
    for part, over in dict.fromkeys((crossing.part, crossing.over) for crossing in crossed):
        both = [crossing for crossing in crossed if (crossing.part, crossing.over) == (part, over)]
        bottom = written(min(crossing.bottom for crossing in both))
        if over in names and part not in names and any(crossing.before for crossing in both):
            yield (
                f"{part}, left out here, cuts over {over} as well, before it and down to Z {bottom}: on a "
                f"fresh sheet the first pass of {over} is deeper than it was meant to be."
            )
        elif part in names and over not in names:
            yield f"{part} cuts over {over} as well, which is left out here."


def _goes_around(part: Part, through: Segments) -> bool:
    """Whether most of a part's outline is cut as deep as the program goes."""
    ring = shapely.LinearRing(part.outline)
    return bool(through.length[_along(through, ring)].sum() >= MOSTLY * ring.length)


def _frees_pieces(part: Part, through: Segments) -> bool:
    """Whether a way that is cut as deep goes around something inside, wider than any bit."""
    inner = through.take(~_along(through, shapely.LinearRing(part.outline)))
    if not len(inner):
        return False
    lines = shapely.linestrings(np.stack([inner.start[:, :2], inner.end[:, :2]], axis=1))
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.unary_union(lines))))
    return any(not shapely.is_empty(shapely.buffer(face, -LARGEST_BIT / 2)) for face in faces)


def _along(way: Segments, ring: shapely.LinearRing) -> NDArray[np.bool_]:
    middles = shapely.points((way.start + way.end)[:, :2] / 2)
    return np.asarray(shapely.dwithin(middles, ring, NEAR), dtype=bool)


def _cut_through(program: Program, part: Part, pieces: Sequence[Chain], deep: float) -> Segments:
    """Return what of the part's way lies as deep as the program goes."""
    moves = program.moves
    cuts = cutting(moves, program.tops)
    mine = np.flatnonzero(np.isin([chain.moves[0] for chain in pieces], part.moves)).tolist()
    way = joined([segments_of(moves, cuts, [pieces[i]]) for i in mine])
    return way.take(way.cuts & (np.maximum(way.start[:, 2], way.end[:, 2]) <= deep))
