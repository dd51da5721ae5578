"""The program from above, before any run: its parts, what each bit cuts, where each bit is learned."""

from dataclasses import dataclass
from itertools import cycle

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch, Polygon
from numpy.typing import NDArray

from analysis.contents import BitUse, Contents, Learned, tool_name
from analysis.figures.clock import lasting
from analysis.figures.labels import Box
from analysis.figures.looks import BITS, INK, SOFT, STATES, BitLook, heading, key, stroke
from analysis.figures.paper import RAPIDS, Paper, cut_by, limits, paper, short
from analysis.figures.ways import once, straight_down, way
from analysis.program import Moves, Part

_FOOT, _ROW = 0.92, 0.21  # in: what stands below the plan, and a row of the key
_IN_FULL, _BESIDE = 24, 60  # up to so many parts are named in full, and beside them where they are small
_DETAILED = 50_000  # moves; of longer programs only what an eye can tell apart is drawn
_GRID, _COARSE = 0.001, 1 / 240  # mm, and in: what lies nearer is one
_CHUNK = 10_000  # points that are drawn at once
_LEARN = STATES["learn"]
_TAB, _TAB_WIDTH = "#e3b04b", 5.0


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A bit, how it is drawn, and the moves that it cuts."""

    bit: BitUse
    look: BitLook
    moves: NDArray[np.intp]


def plan_view(contents: Contents) -> Figure:
    """
    Draw a program from above.

    Parameters
    ----------
    contents
        What is in it.

    Returns
    -------
    Figure
        Not saved anywhere. In mm, whatever the unit of the program.
    """
    moves, parts = contents.program.moves, [use.part for use in contents.parts]
    bits = _bits(contents, moves, parts)
    handles = _key(bits, tabs=any(part.tabs for part in parts))
    lines = _lines(contents)
    foot = _FOOT + _ROW * -(-len(handles) // 2)
    drawn = paper(limits([part.box for part in parts]), lines=len(lines), foot=foot)
    heading(drawn.figure, 0.3, _title(contents), lines)
    drawn.draw_above(moves, parts)
    for part in parts:
        if part.area > 0:
            drawn.axes.add_artist(Polygon(part.outline, facecolor="#f3f2ec", linewidth=0))
    grid = _GRID if len(moves) <= _DETAILED else _COARSE * drawn.scale
    _draw_tabs(drawn, parts)
    for bit in bits:
        _draw_learning(drawn, moves, bit)
        _draw_cuts(drawn, moves, bit, grid)
    _draw_words(drawn, moves, parts, bits)
    key(drawn.figure, handles, columns=2, low=0.2)
    return drawn.figure


def _bits(contents: Contents, moves: Moves, parts: list[Part]) -> list[_Drawn]:
    cuts = cut_by(len(moves), parts)
    return [
        _Drawn(bit, look, np.flatnonzero(cuts & (moves.bit == bit.number)))
        for bit, look in zip(contents.bits, cycle(BITS), strict=False)
    ]


def _title(contents: Contents) -> str:
    if not contents.parts:
        return "Nothing is cut"
    counts = ((len(contents.parts), "part"), (len(contents.bits), "bit"))
    told = ", ".join(f"{count} {what}{'s' * (count > 1)}" for count, what in counts)
    return f"{told}, about {lasting(contents.seconds)}"


def _lines(contents: Contents) -> tuple[str, ...]:
    lines = [short(contents.program.name)]
    if contents.inches:
        lines.append("written in inches, drawn in mm")
    unlearned = [
        tool_name(bit.number)
        for bit in contents.bits
        if bit.baseline and not isinstance(bit.baseline, Learned)
    ]
    if unlearned:
        lines.append(f"nowhere to learn a baseline for {', '.join(unlearned)}")
    if not contents.measured:
        lines.append("so long a program that it was not worked out where baselines are learned")
    if len(contents.parts) > _IN_FULL:
        small = ", where they have room" if len(contents.parts) > _BESIDE else ""
        lines.append(f"each part's number stands in it{small}")
    return tuple(lines)


def _draw_cuts(drawn: Paper, moves: Moves, bit: _Drawn, grid: float) -> None:
    look, path = bit.look, once(way(moves, bit.moves), grid)
    vertices, codes = np.asarray(path.vertices), np.asarray(path.codes)
    for begin in range(0, len(vertices), _CHUNK):
        # One point of the next, so that nothing is left out between; a broken way stays broken there.
        chunk = slice(begin, begin + _CHUNK + 1)
        piece = type(path)(vertices[chunk], np.concatenate([[path.MOVETO], codes[chunk][1:]]))
        patch = PathPatch(piece, fill=False, edgecolor=look.line, linewidth=look.width, linestyle=look.style)
        drawn.axes.add_artist(patch)
        patch.set_zorder(2)
    x, y = _holes(moves, bit.moves).T
    drawn.axes.plot(x, y, linestyle="", marker=look.marker, markersize=4.2, color=look.line, zorder=2.2)


def _holes(moves: Moves, indices: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return where the bit goes straight down, each place once, shape (k, 2)."""
    down = moves.end[indices[straight_down(moves, indices)], :2]
    return np.unique(np.round(down, 3), axis=0).reshape(-1, 2)


def _draw_learning(drawn: Paper, moves: Moves, bit: _Drawn) -> None:
    """Draw a broad band along what the bit's sound is learned from."""
    if not isinstance(found := bit.bit.baseline, Learned):
        return
    inside = bit.moves[(bit.moves >= found.first) & (bit.moves <= found.last)]
    band = PathPatch(way(moves, inside), fill=False, edgecolor=_LEARN.line, linewidth=8, alpha=0.45)
    band.set_zorder(1.8)
    drawn.axes.add_artist(band)
    x, y = _holes(moves, inside).T
    drawn.axes.plot(
        x, y, linestyle="", marker="o", markersize=11, color=_LEARN.line, alpha=0.45, mew=0, zorder=1.8
    )


def _draw_tabs(drawn: Paper, parts: list[Part]) -> None:
    for tab in (tab for part in parts for tab in part.tabs):
        (x, y), (to_x, to_y) = tab.begin, tab.end
        drawn.axes.plot(
            [x, to_x], [y, to_y], color=_TAB, linewidth=_TAB_WIDTH, solid_capstyle="butt", zorder=2.1
        )


def _draw_words(drawn: Paper, moves: Moves, parts: list[Part], bits: list[_Drawn]) -> None:
    """Name the parts, and where the bits are learned, where no word covers another."""
    board = drawn.board(parts)
    learned = [(bit, *begin) for bit in bits if (begin := _begin(moves, bit.bit))]
    for bit, point, _ in learned:
        board.take(drawn.around(point))
        drawn.axes.plot(*point, marker="v", markersize=11, color=bit.look.line, mec="white", zorder=4)
    for part in parts:
        name = part.name if len(parts) <= _IN_FULL else part.name.removeprefix("part ")
        area = Box(*part.box)
        spot = board.into(name, area) if len(parts) <= _BESIDE else board.inside(name, area)
        if spot:
            drawn.write(name, spot, INK, area.middle)
    for bit, point, line in learned:
        text = f"{tool_name(bit.bit.number)} is learned\nfrom line {line}"
        drawn.write(text, board.beside(text, drawn.around(point)), bit.look.line, point)


def _begin(moves: Moves, bit: BitUse) -> tuple[tuple[float, float], int] | None:
    """Return where the learning of a bit begins, and on which file line."""
    if not isinstance(bit.baseline, Learned):
        return None
    first = bit.baseline.first
    x, y = moves.start[first, :2].tolist()
    return (x, y), int(moves.file_line[first])


def _key(bits: list[_Drawn], *, tabs: bool) -> list[Artist]:
    handles: list[Artist] = [_entry(drawn) for drawn in bits]
    handles.append(stroke("moves above the work", SOFT, 0.8, RAPIDS))
    if any(isinstance(drawn.bit.baseline, Learned) for drawn in bits):
        handles.append(stroke("the bit's sound is learned here", _LEARN.line, 8))
    if tabs:
        handles.append(stroke("a tab is left standing", _TAB, _TAB_WIDTH))
    return handles


def _entry(drawn: _Drawn) -> Line2D:
    look, comment = drawn.look, drawn.bit.comment
    name = tool_name(drawn.bit.number) + (f": {comment}" if comment else "")
    return Line2D(
        [],
        [],
        color=look.line,
        linewidth=look.width,
        linestyle=look.style,
        marker=look.marker,
        markersize=4.2,
        label=name if len(name) <= 45 else f"{name[:45]}…",
    )
