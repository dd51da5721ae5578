"""The sheet from above: what was cut, what is good, where it went wrong, where to carry on."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Polygon

from analysis.events import Alarm, PartVerdict, Place, ResumeLine, Verdict
from analysis.figures.clock import moment
from analysis.figures.labels import Box
from analysis.figures.looks import (
    INK,
    SOFT,
    VERDICTS,
    WRONG,
    cause_words,
    heading,
    key,
    line_words,
    place_words,
    point,
    stroke,
    swatch,
)
from analysis.figures.paper import RAPIDS, Paper, above, limits, paper, short
from analysis.figures.ways import midpoint, straight_down, way
from analysis.locate import Plan
from analysis.program import Moves, Part

_FOOT = 1.55  # in
_DOUBT = "#e3b04b"


@dataclass(frozen=True)
class _Mark:
    """A point to be marked and named."""

    point: tuple[float, float]
    text: str
    line: str
    shape: str
    colour: str


def sheet(
    plan: Plan, verdicts: Sequence[PartVerdict], *, alarm: Alarm | None = None, called: str = "alarm"
) -> Figure:
    """
    Draw the program from above, with what is thought of each part.

    Parameters
    ----------
    plan
        The program.
    verdicts
        What is thought of its parts. A part that has none is unheard.
    alarm
        Whose place and resume line are to be marked.
    called
        What it is called, where it is one of several.

    Returns
    -------
    Figure
        Not saved anywhere.

    Raises
    ------
    ValueError
        If a verdict is of a part that the program does not have.
    """
    known = _known(plan, verdicts)
    marks = _marks(plan, alarm)
    lines = _lines(plan, alarm, called)
    boxes = [part.box for part in plan.parts] + [(*mark.point, *mark.point) for mark in marks]
    drawn = paper(limits(boxes), lines=len(lines), foot=_FOOT)
    heading(drawn.figure, 0.3, _title(known), lines)
    drawn.draw_above(plan.program.moves, plan.parts)
    for part in plan.parts:
        _draw_part(drawn.axes, plan.program.moves, part, known[part.name])
    doubt = alarm is not None and alarm.line is not None and _draw_doubt(drawn.axes, plan, alarm.line)
    _draw_words(drawn, plan.parts, known, marks)
    _draw_key(drawn.figure, doubt=doubt)
    return drawn.figure


def _known(plan: Plan, verdicts: Sequence[PartVerdict]) -> dict[str, Verdict]:
    """Return each part's verdict by its name."""
    known: dict[str, Verdict] = {part.name: "unheard" for part in plan.parts}
    for verdict in verdicts:
        if verdict.name not in known:
            raise ValueError(
                f"there is a verdict of {verdict.name!r}, but {plan.program.name} has no such part"
            )
        known[verdict.name] = verdict.verdict
    return known


def _title(known: dict[str, Verdict]) -> str:
    if not known:
        return "Nothing is cut"
    counts = {word: list(known.values()).count(word) for word in VERDICTS}
    parts = f"{len(known)} part" + "s" * (len(known) > 1)
    return f"{parts}: " + ", ".join(f"{count} {word}" for word, count in counts.items() if count)


def _lines(plan: Plan, alarm: Alarm | None, called: str) -> tuple[str, ...]:
    lines = [short(plan.program.name)]
    if alarm:
        lines.append(f"{called}: {cause_words(alarm)}, began at {moment(alarm.onset)}")
        lines.append(" · ".join(place_words(alarm)))
    return tuple(lines)


def _marks(plan: Plan, alarm: Alarm | None) -> list[_Mark]:
    """Return the marks of an alarm, as far as its places are known and lie in the program."""
    marks = []
    if alarm and alarm.line and (at := onset_point(plan.program.moves, plan.parts, alarm.line)):
        marks.append(_Mark(at, "the change began on", line_words(alarm.line), "X", WRONG))
    if alarm and alarm.resume and (at := resume_point(plan.program.moves, alarm.resume)):
        marks.append(_Mark(at, "resume at", line_words(alarm.resume), "^", INK))
    return marks


def onset_point(moves: Moves, parts: Sequence[Part], line: Place) -> tuple[float, float] | None:
    """Return the middle of the longest cut of a line, or of its longest move if it cuts nothing."""
    found = np.flatnonzero(moves.file_line == line.file)
    cuts = np.setdiff1d(found, above(len(moves), parts))
    found = cuts if len(cuts) else found
    return midpoint(moves, int(found[moves.length[found].argmax()])) if len(found) else None


def resume_point(moves: Moves, line: ResumeLine) -> tuple[float, float] | None:
    """Return where the bit stands before a line: where the first move from there on begins."""
    found = np.flatnonzero(moves.file_line == line.file)
    if not len(found):
        found = np.flatnonzero(moves.file_line > line.file)
    return (float(moves.start[found[0], 0]), float(moves.start[found[0], 1])) if len(found) else None


def _draw_part(axes: Axes, moves: Moves, part: Part, verdict: Verdict) -> None:
    look = VERDICTS[verdict]
    if part.area > 0:
        area = Polygon(part.outline, facecolor=look.fill, edgecolor=look.pale, hatch=look.hatch, linewidth=0)
        axes.add_patch(area)
    path = way(moves, part.moves)
    axes.add_patch(PathPatch(path, fill=False, edgecolor=look.line, linewidth=look.width, zorder=2))
    if look.hollow:
        axes.add_patch(PathPatch(path, fill=False, edgecolor="white", linewidth=look.width / 2, zorder=2.1))
    x, y = moves.end[part.moves[straight_down(moves, part.moves)], :2].T
    axes.plot(x, y, linestyle="", marker="o", markersize=3.2, color=look.line, zorder=2.2)


def _draw_doubt(axes: Axes, plan: Plan, line: Place) -> bool:
    """Draw where else it may have begun; return whether there is such a place."""
    moves = plan.program.moves
    inside = (moves.file_line >= line.first) & (moves.file_line <= line.last)
    inside[above(len(moves), plan.parts)] = False
    if line.first == line.last or not inside.any():
        return False
    path = way(moves, np.flatnonzero(inside))
    axes.add_patch(PathPatch(path, fill=False, edgecolor=_DOUBT, linewidth=6, zorder=1.8))
    return True


def _draw_words(
    drawn: Paper, parts: Sequence[Part], known: dict[str, Verdict], marks: Sequence[_Mark]
) -> None:
    """Name the parts and the marks, where no word covers another."""
    board = drawn.board(parts)
    around = [drawn.around(mark.point) for mark in marks]
    for mark, area in zip(marks, around, strict=True):
        board.take(area)
        drawn.axes.plot(
            *mark.point, marker=mark.shape, markersize=13, color=mark.colour, mec="white", zorder=4
        )
    for part in parts:
        text, area = f"{part.name}\n{known[part.name]}", Box(*part.box)
        drawn.write(text, board.into(text, area), VERDICTS[known[part.name]].line, area.middle)
    for mark, area in zip(marks, around, strict=True):
        text = f"{mark.text}\n{mark.line}"
        drawn.write(text, board.beside(text, area), mark.colour, mark.point)


def _draw_key(figure: Figure, *, doubt: bool) -> None:
    handles: list[Artist] = [swatch(word, look) for word, look in VERDICTS.items()]
    handles.append(stroke("moves above the work", SOFT, 0.8, RAPIDS))
    handles.append(point("the bit goes straight down", INK, "o", 3.2))
    if doubt:
        handles.append(stroke("the change may have begun anywhere here", _DOUBT, 6))
    key(figure, handles, columns=2, low=0.25)
