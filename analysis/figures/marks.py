"""The alarms of a timeline: lines through all panels, flags above them, captions and the key in words."""

import math

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from analysis.events import Alarm
from analysis.figures.bands import SPINDLE
from analysis.figures.clock import lasting, moment
from analysis.figures.looks import (
    AIR,
    CUT,
    CUT_PALE,
    SMALL,
    STATES,
    WRONG,
    Style,
    cause_words,
    key,
    place_words,
    stroke,
    swatch,
    width_of,
)
from analysis.figures.page import INNER
from analysis.figures.run import Run

FLAG_HEIGHT = 0.22  # in
_FLAG_ROWS = 2  # flags that would cover one another stand above one another, as far as this goes
_ONSET_STYLE: Style = (0, (2, 2))


def caption(alarm: Alarm, number: int) -> str:
    """Return what an alarm is about: cause, times, line, resume line."""
    times = f"began at {moment(alarm.onset)}, certain at {moment(alarm.at)}"
    return " · ".join((f"alarm {number}: {cause_words(alarm)}", times, *place_words(alarm)))


def flags(run: Run) -> list[tuple[float, str, int]]:
    """Return the flags that find room: middle, s, text, and in which row above the panels."""
    begin, end = run.columns.begin, run.columns.end
    free = [-math.inf] * _FLAG_ROWS  # up to where each row is taken
    found = []
    for number, alarm in enumerate(run.alarms, 1):
        text = f"alarm {number}" if len(run.alarms) < 10 else f"{number}"
        half = (width_of(text, SMALL) / 2 + 0.06) * (end - begin) / INNER
        middle = min(max(alarm.at, begin + half), end)
        row = next((row for row in range(_FLAG_ROWS) if free[row] <= middle - half), None)
        if row is not None:
            free[row] = middle + half
            found.append((middle, text, row))
    return found


def draw_alarms(axes: Axes, run: Run) -> None:
    """Draw each alarm from its onset to when it was certain, with its number on a flag above."""
    for alarm in run.alarms:
        axes.axvspan(alarm.onset, alarm.at, color=WRONG, alpha=0.12, linewidth=0)
        axes.axvline(alarm.onset, color=WRONG, linewidth=1.2, linestyle=_ONSET_STYLE)
        axes.axvline(alarm.at, color=WRONG, linewidth=1.4)
    for middle, text, row in flags(run):
        _flag(axes, middle, text, row)


def _flag(axes: Axes, x: float, text: str, row: int) -> None:
    box = {"facecolor": WRONG, "edgecolor": "none", "boxstyle": "square,pad=0.25"}
    axes.annotate(
        text,
        xy=(x, 1),
        xytext=(0, 72 * FLAG_HEIGHT * (row + 0.5)),
        textcoords="offset points",
        size=SMALL,
        color="white",
        weight="bold",
        ha="center",
        va="center",
        bbox=box,
        annotation_clip=False,
    )


def draw_key(figure: Figure, run: Run) -> None:
    """Say at the foot what the hatches, shades and lines mean."""
    key(figure, [swatch(word, look) for word, look in STATES.items()], columns=3, low=0.78)
    spindle = [swatch(word, look) for word, look in SPINDLE.items()]
    key(
        figure,
        [*spindle, stroke("in the cut", CUT, 2.5), stroke("outside it", AIR, 2.5)],
        columns=5,
        low=0.48,
    )
    lines: list[Artist] = []
    if run.columns.gathered:
        every = f"band: least to greatest in {lasting(run.columns.width)}, line: mean"
        lines.append(Patch(facecolor=CUT_PALE, label=every))
    if run.alarms:
        lines += [stroke("a change began", WRONG, 1.2, _ONSET_STYLE), stroke("it was certain", WRONG, 1.4)]
    if lines:
        key(figure, lines, columns=len(lines), low=0.18)
