"""The sheet from above as shapes that a browser draws, each part apart so that it can be tapped."""

from dataclasses import dataclass

import numpy as np
from matplotlib.path import Path as Way
from numpy.typing import NDArray

from analysis.events import Verdict
from analysis.figures.sheet import onset_point, resume_point
from analysis.figures.ways import once, way
from analysis.program import Moves, Part
from monitor.story import Story

# Of the larger side: what lies nearer is one point, and how much is left free around.
_FINE, _MARGIN = 1 / 2000, 0.06
# A way of more moves than this is too much for a browser on a phone.
_MOVES = 60_000


@dataclass(frozen=True)
class Drawn:
    """
    A part as it is drawn.

    Attributes
    ----------
    name, verdict
        Which, and what is thought of it.
    outline, cuts
        SVG paths: its area, and the bit's ways in it; mm, Y upwards turned over.
    x, y, size
        Where its name stands and how large, mm; 0 where there is no room for a word.
    """

    name: str
    verdict: Verdict
    outline: str
    cuts: str
    x: float
    y: float
    size: float


@dataclass(frozen=True)
class Mark:
    """A place that is marked: where, mm, and what is said of it."""

    x: float
    y: float
    what: str
    text: str


@dataclass(frozen=True)
class PlanView:
    """
    The sheet.

    Attributes
    ----------
    box
        SVG's view box.
    unit
        mm: as much as a hundredth of the larger side, for strokes and signs.
    parts, marks
        What is on it.
    gone
        SVG path: the way that the bit had gone; empty if that is unknown.
    how_far
        How far that is, in words.
    """

    box: str
    unit: float
    parts: tuple[Drawn, ...]
    marks: tuple[Mark, ...]
    gone: str
    how_far: str


def plan_view(story: Story) -> PlanView | None:
    """Return the sheet of a run; ``None`` without a program or parts."""
    if story.program is None or not story.parts:
        return None
    moves = story.program.moves
    boxes = np.array([part.box for part in story.parts])
    (left, low), (right, high) = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
    side = max(right - left, high - low, 1.0)
    margin, grid = _MARGIN * side, max(side * _FINE, 1e-3)
    known = {verdict.name: verdict.verdict for verdict in story.verdicts}
    gone, until = _gone(story, moves)
    return PlanView(
        box=_box(left - margin, -high - margin, right - left + 2 * margin, high - low + 2 * margin),
        unit=side / 100,
        parts=tuple(_part(moves, part, known.get(part.name, "unheard"), grid, side) for part in story.parts),
        marks=tuple(_marks(story, moves)),
        gone=_svg(way(moves, gone), grid) if len(gone) <= _MOVES else "",
        how_far=until,
    )


def _box(*numbers: float) -> str:
    return " ".join(f"{number:.2f}" for number in numbers)


def _part(moves: Moves, part: Part, verdict: Verdict, grid: float, side: float) -> Drawn:
    left, low, right, high = part.box
    size = min((right - left) / (0.66 * max(len(part.name), len(verdict))), (high - low) / 2.8, 0.05 * side)
    return Drawn(
        part.name,
        verdict,
        _svg(Way(part.outline), grid),
        _svg(once(way(moves, part.moves), grid), grid) if len(part.moves) <= _MOVES else "",
        (left + right) / 2,
        -(low + high) / 2,
        size if size > 0.018 * side else 0.0,
    )


def _marks(story: Story, moves: Moves) -> list[Mark]:
    marks = []
    for incident in story.meant:
        line, resume = incident.alarm.line, incident.alarm.resume
        if line and (at := onset_point(moves, story.parts, line)):
            marks.append(Mark(at[0], -at[1], "began", f"alarm {incident.number} began on line {line.file}"))
        if resume and (at := resume_point(moves, resume)):
            marks.append(Mark(at[0], -at[1], "resume", f"carry on from line {resume.file}"))
    return marks


def _gone(story: Story, moves: Moves) -> tuple[NDArray[np.intp], str]:
    """Return the moves that the bit had gone over until an alarm, or as far as the place was known."""
    first = next(((one.number, one.alarm.line.file) for one in story.meant if one.alarm.line), None)
    if first is not None:
        number, line = first
        return np.flatnonzero(moves.file_line <= line), f"until the change of alarm {number} began"
    if story.places:
        return np.flatnonzero(moves.file_line <= story.places[-1].line), "as far as its place was known"
    return np.zeros(0, dtype=np.intp), ""


def _svg(path: Way, grid: float) -> str:
    """Return a way as an SVG path, to the nearest ``grid`` mm."""
    points = np.rint(np.asarray(path.vertices) / grid).astype(np.int64)
    begins = np.zeros(len(points), dtype=bool)
    begins[:1] = True
    if path.codes is not None:
        begins = np.asarray(path.codes) == Way.MOVETO
    kept = begins | np.append(True, (np.diff(points, axis=0) != 0).any(axis=1))[: len(points)]
    decimals = max(0, -int(np.floor(np.log10(grid))))
    words = [
        f"{'M' if begin else 'L'}{x:.{decimals}f} {-y:.{decimals}f}"
        for (x, y), begin in zip((points[kept] * grid).tolist(), begins[kept].tolist(), strict=True)
    ]
    return "".join(words)
