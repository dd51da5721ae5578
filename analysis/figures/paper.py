"""The sheet of paper that a plan is drawn on: what it shows and how large, ways above the work, words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from numpy.typing import NDArray

from analysis.figures.labels import Board, Box, Spot
from analysis.figures.looks import HEADING, INK, LINE, SOFT, TEXT, Style, quiet
from analysis.figures.ways import way
from analysis.program import Moves, Part

RAPIDS: Style = (0, (1, 2.5))

_LARGEST, _SMALLEST = (9.6, 6.6), (7.0, 2.6)  # in: the plan fits into the one and fills the other
_LEFT, _RIGHT = 0.95, 0.35  # in
_MARGIN = 0.12  # of the larger side, around all that is cut
_LONGEST_NAME = 70
_REACH = 0.1  # in: how far around a mark no word may stand


@dataclass(frozen=True, eq=False)
class Paper:
    """
    A figure with the axes of a plan.

    Attributes
    ----------
    figure, axes
        Of matplotlib; the axes are in mm.
    scale
        mm of the plan to an inch of paper.
    """

    figure: Figure
    axes: Axes
    scale: float

    def board(self, parts: Sequence[Part]) -> Board:
        """Return where words may stand, if they can beside the parts."""
        (left, right), (low, high) = self.axes.get_xlim(), self.axes.get_ylim()
        return Board(Box(left, low, right, high), self.scale, [Box(*part.box) for part in parts])

    def around(self, point: tuple[float, float]) -> Box:
        """Return what a mark at a point covers."""
        (x, y), reach = point, _REACH * self.scale
        return Box(x - reach, y - reach, x + reach, y + reach)

    def write(self, text: str, spot: Spot, colour: str, named: tuple[float, float]) -> None:
        """Write a word on white, with a thin line to what it names if it stands beside that."""
        if spot.beside:
            (x, y), (to_x, to_y) = spot.middle, named
            self.axes.plot([x, to_x], [y, to_y], color=colour, linewidth=0.9, zorder=3)
        self.axes.text(
            *spot.middle,
            text,
            size=spot.size,
            color=colour,
            weight="bold",
            ha="center",
            va="center",
            zorder=5,
            bbox={
                "facecolor": "white",
                "edgecolor": colour if spot.beside else "none",
                "linewidth": 0.6,
                "pad": 2 if spot.beside else 1,
            },
        )

    def draw_above(self, moves: Moves, parts: Iterable[Part]) -> None:
        """Draw what goes above the work."""
        path = way(moves, above(len(moves), parts))
        self.axes.add_artist(
            PathPatch(path, fill=False, edgecolor=SOFT, linewidth=0.8, linestyle=RAPIDS, zorder=1.5)
        )


def limits(boxes: Sequence[tuple[float, float, float, float]]) -> Box:
    """Return what a plan must show of boxes, each xmin, ymin, xmax, ymax in mm, with a margin."""
    edges = np.array(boxes or [(0.0, 0.0, 100.0, 100.0)])
    low, high = edges[:, :2].min(axis=0), edges[:, 2:].max(axis=0)
    margin = max(_MARGIN * float((high - low).max()), 5.0)
    return Box(*(low - margin).tolist(), *(high + margin).tolist())


def paper(shown: Box, *, lines: int, foot: float) -> Paper:
    """
    Return the paper for a plan.

    Parameters
    ----------
    shown
        What the plan must show.
    lines
        How many lines stand below the title.
    foot
        What is left free below the plan, for its scale and the key, in.
    """
    wide, tall = shown.right - shown.left, shown.high - shown.low
    scale = max(wide / _LARGEST[0], tall / _LARGEST[1])
    width, height = max(wide / scale, _SMALLEST[0]), max(tall / scale, _SMALLEST[1])
    top = HEADING + LINE * lines + 0.2
    page = (_LEFT + width + _RIGHT, top + height + foot)
    figure = Figure(figsize=page, facecolor="white")
    axes = figure.add_axes((_LEFT / page[0], foot / page[1], width / page[0], height / page[1]))
    x, y = shown.middle
    axes.set_xlim(x - width * scale / 2, x + width * scale / 2)
    axes.set_ylim(y - height * scale / 2, y + height * scale / 2)
    axes.set_aspect("equal")
    quiet(axes)
    axes.set_xlabel("X (mm)", size=TEXT, color=INK)
    axes.set_ylabel("Y (mm)", size=TEXT, color=INK)
    return Paper(figure, axes, scale)


def cut_by(count: int, parts: Iterable[Part]) -> NDArray[np.bool_]:
    """Return for each of ``count`` moves whether it cuts one of the parts."""
    cuts = np.zeros(count, dtype=np.bool_)
    for part in parts:
        cuts[part.moves] = True
    return cuts


def above(count: int, parts: Iterable[Part]) -> NDArray[np.intp]:
    """Return which of ``count`` moves cut nothing."""
    return np.flatnonzero(~cut_by(count, parts))


def short(name: str) -> str:
    """Return a program's name, cut off where it would not fit the paper."""
    return name if len(name) <= _LONGEST_NAME else f"{name[:_LONGEST_NAME]}…"
