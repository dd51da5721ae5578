"""
Parts that touch: side by side on shared lines, or with a frame around them.

Ways that are closed, each by itself, and go as deep as any set a piece free each, also where they share an
edge. One that goes around several others is a frame, and they are parts in it, only where all are gone around
in the same sense: with the bit on one side of the wood a hole is gone around the other way than an outline,
so that a plate with holes is one part. That is a habit and no law: all that is cut in a frame counts for the
frame too. If it is a plate after all, it is never good where a hole is spoiled.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.program.areas import GRID, LEAST_AREA, NEAR, SAME_DEPTH, faces_of, shape_of
from analysis.program.chains import Chain
from analysis.program.moves import Moves
from analysis.program.paths import lines

_TOUCH = 4 * NEAR
"""mm; a way that lies on an outline for no longer only meets it."""


@dataclass(frozen=True)
class Piece:
    """One of several parts that touch: its area, the numbers of its chains, and whether it is a frame."""

    inside: shapely.Polygon
    chains: tuple[int, ...]
    is_frame: bool = False


@dataclass(frozen=True)
class Cutting:
    """
    What is cut in one coordinate system.

    Attributes
    ----------
    pieces, shapes
        Its chains, as they are and as lines.
    bottoms
        (n,) the lowest Z of each, mm.
    rows
        The numbers of those that make a closed way with tabs between them.
    """

    pieces: Sequence[Chain]
    shapes: Sequence[shapely.Geometry]
    bottoms: NDArray[np.float64]
    rows: Sequence[tuple[int, ...]]

    @cached_property
    def deepest(self) -> float:
        """The lowest Z to which anything is cut along, mm: holes are drilled deeper."""
        ways = [i for i, shape in enumerate(self.shapes) if not isinstance(shape, shapely.Point)]
        return float(self.bottoms[ways].min(initial=np.inf))


@dataclass(frozen=True)
class _Ring:
    """A way as deep as any around one area and nowhere else: with which chains, and in which sense."""

    inside: shapely.Polygon
    chains: tuple[int, ...]
    counter_clockwise: bool


@dataclass(frozen=True)
class _Outline:
    """A closed way, with the rings that go along it: it may be gone around once more at the bottom."""

    inside: shapely.Polygon
    rings: tuple[_Ring, ...]

    @property
    def chains(self) -> tuple[int, ...]:
        """The numbers of the chains that make it."""
        return tuple(i for ring in self.rings for i in ring.chains)


def set_apart(region: shapely.Polygon, numbers: Sequence[int], cut: Cutting) -> list[Piece]:
    """
    Return the parts that a region holds, a frame around the others last; none where it is one part.

    Parameters
    ----------
    region
        What is enclosed by ways that touch.
    numbers
        The chains that are cut in it.
    cut
        All chains.
    """
    rings = list(_rings(numbers, cut))
    if len(rings) < 2:
        return []
    found = _outlines(rings)
    frames = [outline for outline in found if _is_same(outline.inside, region)]
    within = [outline for outline in found if outline not in frames]
    # A part that is only gone around several times has none.
    parts = _outermost(within) if within else []
    if len(parts) < 2 or _overlap(parts):
        return []
    if not (_in_one_sense([*frames, *parts]) if frames else _fill(region, parts)):
        return []
    return _shared_out(parts, frames, numbers, cut)


def along(
    moves: Moves, rows: NDArray[np.intp], outlines: Sequence[NDArray[np.float64]]
) -> list[NDArray[np.intp]]:
    """Return for each outline, (m, 2) mm, which moves of ``rows`` cut along it, and do not only meet it."""
    ways = lines(moves, rows)
    zones = shapely.buffer([shapely.LinearRing(outline) for outline in outlines], NEAR)
    zone, line = shapely.STRtree(ways).query(zones, predicate="intersects")
    on = shapely.covers(zones[zone], ways[line])
    part = np.flatnonzero(~on)
    on[part] = shapely.length(shapely.intersection(zones[zone[part]], ways[line[part]])) > _TOUCH
    return [rows[line[on & (zone == i)]] for i in range(len(outlines))]


def _rings(numbers: Sequence[int], cut: Cutting) -> Iterator[_Ring]:
    here = set(numbers)
    in_rows = [row for row in cut.rows if here.issuperset(row)]
    alone = here.difference(*in_rows)
    for chains in (*((i,) for i in sorted(alone)), *in_rows):
        if cut.bottoms[list(chains)].min() > cut.deepest + SAME_DEPTH:
            continue
        points = np.concatenate([cut.pieces[i].points for i in chains])
        bridged = len(chains) > 1
        way = shape_of(np.concatenate([points, points[:1]])) if bridged else cut.shapes[chains[0]]
        inside = _only_area(way)
        if inside is not None:
            yield _Ring(inside, chains, _signed_area(points) > 0)


def _only_area(way: shapely.Geometry) -> shapely.Polygon | None:
    """Return the area that a way goes around; ``None`` where it is not one, or it goes elsewhere as well."""
    if isinstance(way, shapely.Point) or (way.is_simple and not way.is_closed):
        return None
    whole = shapely.Polygon(way) if way.is_ring else shapely.unary_union(faces_of([way]))
    if not isinstance(whole, shapely.Polygon) or whole.area <= LEAST_AREA:
        return None
    inside = shapely.Polygon(whole.exterior)
    return inside if shapely.covers(shapely.buffer(inside.exterior, NEAR), way) else None


def _signed_area(points: NDArray[np.float64]) -> float:
    """Return the area that a way goes around counter-clockwise, mm², by the shoelace formula."""
    x, y = (points - points[0]).T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2


def _is_same(one: shapely.Polygon, other: shapely.Polygon) -> bool:
    """Whether two areas have one outline."""
    if np.abs(np.subtract(one.bounds, other.bounds)).max() > NEAR:
        return False
    both = ((one.exterior, other.exterior), (other.exterior, one.exterior))
    return all(shapely.covers(shapely.buffer(edge, NEAR), way) for edge, way in both)


def _outlines(rings: Sequence[_Ring]) -> list[_Outline]:
    """Put the passes along one outline together."""
    corners = shapely.points([ring.inside.bounds[:2] for ring in rings])
    near = shapely.STRtree(corners).query(corners, predicate="dwithin", distance=2 * NEAR)
    lead = list(range(len(rings)))
    for later, earlier in near.T.tolist():
        if earlier < later and lead[later] == later and _is_same(rings[earlier].inside, rings[later].inside):
            lead[later] = lead[earlier]
    same: dict[int, list[_Ring]] = {}
    for ring, first in zip(rings, lead, strict=True):
        same.setdefault(first, []).append(ring)
    return [_Outline(passes[0].inside, tuple(passes)) for passes in same.values()]


def _outermost(found: Sequence[_Outline]) -> list[_Outline]:
    """Return the outlines that lie in no other."""
    areas = [outline.inside for outline in found]
    inner, outer = shapely.STRtree(shapely.buffer(areas, NEAR)).query(areas, predicate="covered_by")
    within = set(inner[inner != outer].tolist())
    return [outline for i, outline in enumerate(found) if i not in within]


def _slack(parts: Sequence[_Outline]) -> float:
    """Return by how much areas may be off for their corners lie on a grid, mm²."""
    return LEAST_AREA + GRID * float(sum(part.inside.length for part in parts))


def _overlap(parts: Sequence[_Outline]) -> bool:
    areas = [part.inside for part in parts]
    return bool(sum(area.area for area in areas) > shapely.unary_union(areas).area + _slack(parts))


def _fill(region: shapely.Polygon, parts: Sequence[_Outline]) -> bool:
    """Whether parts leave nothing between them: what they only enclose may be a part as well."""
    return bool(region.area <= sum(part.inside.area for part in parts) + _slack(parts))


def _in_one_sense(outlines: Sequence[_Outline]) -> bool:
    return len({ring.counter_clockwise for outline in outlines for ring in outline.rings}) == 1


def _shared_out(
    parts: Sequence[_Outline], frames: Sequence[_Outline], numbers: Sequence[int], cut: Cutting
) -> list[Piece]:
    """Return each part with what is cut in it; none where something lies in no part, or in several."""
    members = [list(outline.chains) for outline in (*parts, *frames)]
    rest = sorted(set(numbers).difference(*members))
    room = [*(part.inside for part in parts), *(frame.inside.exterior for frame in frames)]
    tree = shapely.STRtree(shapely.buffer(room, NEAR))
    ways = np.array([cut.shapes[i] for i in rest], dtype=np.object_)
    chain, part = tree.query(ways, predicate="covered_by")
    if not np.array_equal(np.sort(chain), np.arange(len(rest))):
        return []
    for i, k in zip(chain.tolist(), part.tolist(), strict=True):
        members[k].append(rest[i])
    return [
        Piece(outline.inside, tuple(sorted(held)), is_frame=k >= len(parts))
        for k, (outline, held) in enumerate(zip((*parts, *frames), members, strict=True))
    ]
