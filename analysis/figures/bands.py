"""Strips that say in words what was going on: the watcher, the spindle, the parts."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from analysis.figures.envelope import COLUMNS, Floats
from analysis.figures.looks import AIR, CUT, INK, SMALL, STATES, Look, width_of
from analysis.figures.page import INNER
from analysis.figures.run import Run
from analysis.figures.spans import Span, gathered, runs

# Whether a spindle that is not heard turns nobody knows: noise may cover it.
_UNHEARD = "not heard"
SPINDLE = {
    _UNHEARD: Look("#ffffff", AIR, "", "still, or covered"),
    "in the air": Look("#e6e9e7", AIR, "..", "turning, not cutting"),
    "cutting": Look("#8fbab1", CUT, "//", "the bit is in the work"),
}
_PART = (Look("#ece7db", "#8d8468", "", ""), Look("#ffffff", "#8d8468", "", ""))


def draw_states(axes: Axes, run: Run) -> None:
    """Draw the watcher's states, each with its hatch, and its word where there is room."""
    spans = gathered(run.states, run.columns)
    for word, look in STATES.items():
        _boxes(axes, [span for span in spans if span.word == word], look)
    _words(axes, spans, run)


def draw_parts(axes: Axes, run: Run, parts: Sequence[tuple[str, float, float]]) -> None:
    """Draw when each part was cut, with its name where there is room."""
    spans = [Span(begin, end, name) for name, begin, end in parts]
    for shade, look in enumerate(_PART):
        _boxes(axes, spans[shade::2], look)
    _words(axes, spans, run)


def draw_spindle(axes: Axes, run: Run) -> None:
    """
    Draw what the spindle was doing.

    Where many rows share a column, the height of each shade is its share of the column's time.
    """
    shares = _shares(run)
    edges = np.linspace(run.columns.begin, run.columns.end, COLUMNS + 1)
    x = np.repeat(edges, 2)[1:-1]
    floor = np.zeros(COLUMNS)
    for (word, look), share in zip(reversed(SPINDLE.items()), shares[::-1], strict=True):
        if word != _UNHEARD:
            low, high = np.repeat(floor, 2), np.repeat(floor + share, 2)
            axes.fill_between(
                x, low, high, facecolor=look.fill, edgecolor=look.line, hatch=look.hatch, linewidth=0
            )
        floor = floor + share
    _words(axes, _mostly(shares, edges), run)


def _shares(run: Run) -> Floats:
    """Return each column's shares of off, air and cut, shape (3, COLUMNS); zero where nothing is known."""
    columns = run.columns
    rows = np.flatnonzero(run.heard)
    phases = np.clip(run["phase"][rows], 0, 2).astype(np.intp)
    # A row lasts from the one before to its own end; it counts in each column that it touches.
    first = columns.column(columns.at[rows] - columns.spacing + 1e-9)
    last = columns.column(columns.at[rows] - 1e-9)
    change = np.zeros((3, COLUMNS + 1))
    np.add.at(change, (phases, first), 1.0)
    np.add.at(change, (phases, last + 1), -1.0)
    count = np.cumsum(change, axis=1)[:, :COLUMNS]
    shares: Floats = count / np.maximum(count.sum(axis=0), 1.0)
    return shares


def _mostly(shares: Floats, edges: Floats) -> list[Span]:
    """Return the spans in which one word holds nearly all the time."""
    words = tuple(SPINDLE)
    main = np.where(shares.max(axis=0) > 0.8, shares.argmax(axis=0), -1)
    return [Span(float(edges[a]), float(edges[b]), words[main[a]]) for a, b in runs(main) if main[a] >= 0]


def _boxes(axes: Axes, spans: Iterable[Span], look: Look) -> None:
    corners = [[(span.begin, 0), (span.begin, 1), (span.end, 1), (span.end, 0)] for span in spans]
    axes.add_collection(
        PolyCollection(corners, facecolor=look.fill, edgecolor=look.line, hatch=look.hatch, linewidth=0.4),
        autolim=False,
    )


def _words(axes: Axes, spans: Iterable[Span], run: Run) -> None:
    """Write each span's word where there is room for it, beside the lines of the alarms."""
    begin, end = axes.get_xlim()
    per_inch = (end - begin) / INNER
    lines = sorted({moment for alarm in run.alarms for moment in (alarm.onset, alarm.at)})
    for span in spans:
        first, last = _widest(max(span.begin, begin), min(span.end, end), lines)
        if (last - first) / per_inch > width_of(span.word, SMALL) + 0.1:
            _word(axes, (first + last) / 2, span.word)


def _widest(begin: float, end: float, lines: Sequence[float]) -> tuple[float, float]:
    """Return the longest stretch from ``begin`` to ``end`` that no line crosses."""
    edges = [begin, *(line for line in lines if begin < line < end), end]
    return max(pairwise(edges), key=lambda stretch: stretch[1] - stretch[0])


def _word(axes: Axes, x: float, word: str) -> None:
    box = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
    axes.text(x, 0.48, word, size=SMALL, color=INK, ha="center", va="center", bbox=box)
