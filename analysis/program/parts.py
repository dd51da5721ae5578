"""
Parts: the closed pieces of a program's cutting, each with all that is cut inside it.

Seen from above, the ways of the bit's centre at one depth enclose areas; areas that touch are one part, but
where each has a way around it of its own (`analysis.program.nests`). Whatever is cut inside a part, with
whatever bit and in whatever pass, belongs to it. Cutting that encloses nothing makes parts of its own: lines
that touch, and holes drilled in a row. What is cut in another coordinate system lies elsewhere, and is
another part; so is what is cut from another sheet.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from analysis.program.areas import LEAST_AREA, NEAR, SAME_DEPTH, faces_of, shape_of
from analysis.program.chains import Chain, bridged, chains, rows
from analysis.program.moves import lowest
from analysis.program.nests import Cutting, Piece, along, set_apart
from analysis.program.program import Program
from analysis.program.sheets import sheets_apart
from analysis.program.tabs import Tab, find_tabs
from analysis.program.work import cutting


@dataclass(frozen=True, eq=False)
class Part:
    """
    One part.

    Attributes
    ----------
    name
        "part 1" and so on, in the order in which their cutting begins.
    moves
        Indices of the moves that cut it, in the order of execution.
    first_line, last_line
        File lines of the first and the last line that cut it, from 1. Others may lie between.
    box
        xmin, ymin, xmax, ymax of the bit's centre, mm, in the coordinates of the moves.
    area
        mm² inside the way of the bit's centre (the bit's radius is not known); 0 if it encloses nothing.
    outline
        (m, 2) mm, the way around it, closed; where nothing is enclosed, the corners of what is cut.
    tabs
        What its closed outlines leave standing, in the order in which the bit passes over.
    shared
        Indices of the moves of other parts that cut it as well: along its outline, or all inside a frame.
    """

    name: str
    moves: NDArray[np.intp]
    first_line: int
    last_line: int
    box: tuple[float, float, float, float]
    area: float
    outline: NDArray[np.float64]
    tabs: tuple[Tab, ...] = ()
    shared: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))

    @cached_property
    def cut_by(self) -> NDArray[np.intp]:
        """Indices of all moves that cut it, those of other parts too, in the order of execution."""
        return np.union1d(self.moves, self.shared)

    def holds(self, other: "Part") -> bool:
        """Whether another part is all cut inside this one, or along its outline."""
        return bool(np.isin(other.moves, self.shared).all())


def find_parts(program: Program) -> tuple[Part, ...]:
    """
    Return the parts of a program, in the order in which their cutting begins.

    Parameters
    ----------
    program
        As read.

    Returns
    -------
    tuple of Part
        Every move that cuts belongs to exactly one of them.
    """
    program = sheets_apart(program)
    systems: dict[int, list[Chain]] = {}
    for piece in chains(program):
        systems.setdefault(int(program.moves.system[piece.moves[0]]), []).append(piece)
    found = [part for pieces in systems.values() for part in _in_one_system(program, pieces)]
    found.sort(key=lambda part: int(part.moves[0]))
    return tuple(replace(part, name=f"part {number}") for number, part in enumerate(found, 1))


def _in_one_system(program: Program, pieces: list[Chain]) -> list[Part]:
    """Return the parts, still without names, that are cut in one coordinate system."""
    shapes = [shape_of(_joined(piece)) for piece in pieces]
    regions = _regions(program, pieces, shapes)
    groups = _inside(regions, shapes)
    loose = [i for i, group in enumerate(groups) if group < 0]
    members: list[list[int]] = [[] for _ in regions]
    for i, group in enumerate(groups):
        if group >= 0:
            members[group].append(i)
    cut = _cutting(program, pieces, shapes)
    nests = [
        set_apart(region, held, cut) or [Piece(region, tuple(held))]
        for region, held in zip(regions, members, strict=True)
        if held
    ]
    chains_of = [[[pieces[i] for i in piece.chains] for piece in nest] for nest in nests]
    tabs = iter(_tabs(program, pieces, [held for nest in chains_of for held in nest]))
    closed = [
        part
        for nest, chains_in in zip(nests, chains_of, strict=True)
        for part in _touching(
            program,
            nest,
            [
                replace(_part(program, held, piece.inside), tabs=next(tabs))
                for piece, held in zip(nest, chains_in, strict=True)
            ],
        )
    ]
    return closed + [
        _part(program, [pieces[i] for i in group], None) for group in _loose(pieces, shapes, loose)
    ]


def _cutting(program: Program, pieces: list[Chain], shapes: list[shapely.Geometry]) -> Cutting:
    depth, number = lowest(program.moves), {id(piece): i for i, piece in enumerate(pieces)}
    bottoms = np.array([depth[piece.moves].min() for piece in pieces])
    return Cutting(pieces, shapes, bottoms, [tuple(number[id(each)] for each in row) for row in rows(pieces)])


def _touching(program: Program, nest: list[Piece], parts: list[Part]) -> list[Part]:
    """Return the parts of one region with what cuts several of them."""
    if len(parts) == 1:
        return parts
    every = np.sort(np.concatenate([part.moves for part in parts]))
    touched = along(program.moves, every, [part.outline for part in parts])
    return [
        replace(part, shared=np.setdiff1d(every if piece.is_frame else moves, part.moves))
        for piece, part, moves in zip(nest, parts, touched, strict=True)
    ]


def _tabs(program: Program, pieces: list[Chain], parts: list[list[Chain]]) -> list[tuple[Tab, ...]]:
    """Return the tabs of each part, given its chains."""
    cuts = cutting(program.moves, program.tops)
    top = float(program.tops[pieces[0].moves[0]])
    row_of = {id(chain): row for row in rows(pieces) for chain in row}
    found = []
    for members in parts:
        together = {id(row[0]): row for row in (row_of.get(id(chain), [chain]) for chain in members)}
        found.append(find_tabs(program.moves, cuts, top, list(together.values())))
    return found


def _joined(piece: Chain) -> NDArray[np.float64]:
    """Return the way of a chain, exactly closed where its ends nearly meet."""
    return np.concatenate([piece.points, piece.points[:1]]) if piece.closed else piece.points


def _regions(program: Program, pieces: list[Chain], shapes: list[shapely.Geometry]) -> list[shapely.Polygon]:
    """
    Return the areas that the ways enclose, without their holes; those that touch are one.

    Only ways of one depth enclose something together: lines of a facing pass that cross an outline do not
    join it to the next.
    """
    ways = [i for i, shape in enumerate(shapes) if not isinstance(shape, shapely.Point)]
    depth = lowest(program.moves)
    bottom = np.array([depth[pieces[i].moves].min() for i in ways])
    order = np.argsort(bottom, kind="stable")
    apart = np.flatnonzero(np.diff(bottom[order]) > SAME_DEPTH) + 1
    levels = [[shapes[ways[i]] for i in level] for level in np.split(order, apart)]
    together = [*levels, [shape_of(points) for points in bridged(pieces)]]
    faces = [face for lines in together for face in faces_of(lines)]
    joined = shapely.get_parts(shapely.unary_union([shapely.Polygon(face.exterior) for face in faces]))
    return [shapely.Polygon(area.exterior) for area in joined if area.area > LEAST_AREA]


def _inside(regions: list[shapely.Polygon], shapes: list[shapely.Geometry]) -> list[int]:
    """Return for each shape the region in which most of it lies, or around which it goes; -1 for none."""
    if not regions:
        return [-1] * len(shapes)
    grown = shapely.buffer(regions, NEAR)
    shapely.prepare(grown)
    tree = shapely.STRtree(grown)
    return [_best(shape, grown, tree.query(shape, predicate="intersects")) for shape in shapes]


def _best(shape: shapely.Geometry, grown: NDArray[np.object_], hits: NDArray[np.intp]) -> int:
    if not len(hits):
        return -1
    if isinstance(shape, shapely.Point) or bool(shapely.covers(grown[hits[0]], shape)):
        return int(hits[0])
    within = shapely.length(shapely.intersection(grown[hits], shape))
    best = int(hits[int(np.argmax(within))])
    outside = shapely.length(shapely.difference(shape, grown[best]))
    edge = shapely.boundary(grown[best])
    along = shapely.length(shapely.intersection(shapely.buffer(edge, 2 * NEAR), shape))
    return best if within.max() >= outside or along >= shapely.length(edge) / 2 else -1


def _loose(pieces: list[Chain], shapes: list[shapely.Geometry], loose: list[int]) -> list[list[int]]:
    """Group what lies in no region: lines that touch, and holes drilled one after the other."""
    if not loose:
        return []
    lead = {i: i for i in loose}

    def leader(i: int) -> int:
        while lead[i] != i:
            lead[i] = lead[lead[i]]
            i = lead[i]
        return i

    for before, after in pairwise(loose):
        both_holes = len(pieces[before].points) == 1 == len(pieces[after].points)
        if both_holes and after == before + 1 and pieces[before].bit == pieces[after].bit:
            lead[leader(after)] = leader(before)
    tree = shapely.STRtree([shapes[i] for i in loose])
    for a, b in zip(*tree.query([shapes[i] for i in loose], predicate="dwithin", distance=NEAR), strict=True):
        lead[leader(loose[int(b)])] = leader(loose[int(a)])
    groups: dict[int, list[int]] = {}
    for i in loose:
        groups.setdefault(leader(i), []).append(i)
    return list(groups.values())


def _part(program: Program, members: Iterable[Chain], region: shapely.Polygon | None) -> Part:
    """Put a part together, still without its name."""
    members = list(members)
    moves = np.sort(np.concatenate([piece.moves for piece in members]))
    points = np.concatenate([piece.points for piece in members])
    lines = program.moves.file_line[moves]
    (xmin, ymin), (xmax, ymax) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return Part(
        name="",
        moves=moves,
        first_line=int(lines.min()),
        last_line=int(lines.max()),
        box=(xmin, ymin, xmax, ymax),
        area=0.0 if region is None else float(region.area),
        outline=_hull(points) if region is None else np.array(region.exterior.coords),
    )


def _hull(points: NDArray[np.float64]) -> NDArray[np.float64]:
    hull = shapely.MultiPoint(points).convex_hull
    return np.array(hull.exterior.coords if isinstance(hull, shapely.Polygon) else hull.coords)
