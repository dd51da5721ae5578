"""The run over time: what the watcher thought, why, and what it heard."""

from collections.abc import Sequence

from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from analysis.events import Event, Summary
from analysis.figures.bands import draw_parts, draw_spindle, draw_states
from analysis.figures.clock import heard_for, lasting
from analysis.figures.looks import HEADING, LINE, heading
from analysis.figures.marks import FLAG_HEIGHT, caption, draw_alarms, draw_key, flags
from analysis.figures.page import Page
from analysis.figures.panels import (
    HEARD_HEIGHT,
    SCORE_HEIGHT,
    SCORE_LABEL,
    draw_heard,
    draw_score,
    heard_in,
    shade_deaf,
)
from analysis.figures.run import Run

_MOST_CAPTIONS, _MOST_REASONS = 4, 2
_WATCHER, _SPINDLE, _PARTS = 0.42, 0.34, 0.32  # in


def timeline(  # noqa: PLR0913 - all but four are named
    at: ArrayLike,
    table: ArrayLike,
    columns: Sequence[str],
    events: Sequence[Event],
    *,
    parts_at: Sequence[tuple[str, float, float]] = (),
    until: float = 0.0,
) -> Figure:
    """
    Draw a run over time.

    Parameters
    ----------
    at
        When each row was complete, s from the first sample, increasing, shape (n,).
    table
        The rows' features, shape (n, len(columns)).
    columns
        Names of the table's columns, as ``analysis.listener.COLUMNS``.
    events
        What the watcher said; a ``Summary`` among them says where the picture ends.
    parts_at
        When each part was cut: its name, begin and end, s. Without any that strip is left out.
    until
        When the run ended, s, where that is later than its last row and nobody summed it up: an alarm just
        before a run was broken off is younger than the rows that were saved.

    Returns
    -------
    Figure
        Not saved anywhere.

    Raises
    ------
    ValueError
        If the shapes do not fit, ``at`` does not increase, or a needed column is missing.

    Notes
    -----
    More rows than fit are gathered in columns, each drawn from its least to its greatest value with the mean
    inside: no peak is lost. Where nothing usable was heard the series have gaps.
    """
    run = Run.of(at, table, columns, events, until)
    captions = _captions(run)
    flag_rows = 1 + max((row for _, _, row in flags(run)), default=-1)
    page = Page(
        HEADING + LINE * len(captions) + FLAG_HEIGHT * flag_rows + 0.08,
        [_WATCHER, _SPINDLE, *[_PARTS] * bool(parts_at), SCORE_HEIGHT, *[HEARD_HEIGHT] * len(heard_in(run))],
        (run.columns.begin, run.columns.end),
    )
    heading(page.figure, 0.3, _title(run), captions)
    shade_deaf(page.across(-1), run)
    draw_states(page.band("the watcher"), run)
    draw_spindle(page.band("the spindle"), run)
    if parts_at:
        draw_parts(page.band("the part"), run, parts_at)
    draw_score(page.panel(SCORE_LABEL), run)
    draw_heard(page, run)
    draw_alarms(page.across(1), run)
    page.finish()
    draw_key(page.figure, run)
    return page.figure


def _title(run: Run) -> str:
    if not len(run.columns.at):
        return "Nothing was heard"
    count = len(run.alarms)
    alarms = "No alarm" if not count else f"{count} alarm" + "s" * (count > 1)
    title = f"{alarms} in {lasting(run.columns.end - run.columns.begin)}"
    deaf = sum(end - begin for begin, end, state in run.states if state == "deaf")
    return f"{title}, but deaf for {lasting(deaf)} of it" if deaf else title


def _captions(run: Run) -> tuple[str, ...]:
    """Return what each of the first alarms is about, and how long something was heard."""
    lines = []
    for number, alarm in enumerate(run.alarms[:_MOST_CAPTIONS], 1):
        lines.append(caption(alarm, number))
        if len(run.alarms) <= _MOST_REASONS and alarm.because:
            lines.append(f"        because {alarm.because[0]}")
    if len(run.alarms) > _MOST_CAPTIONS:
        lines.append(f"and {len(run.alarms) - _MOST_CAPTIONS} more alarms")
    ends = [event for event in run.events if isinstance(event, Summary)]
    return (*lines, *(heard_for(end) for end in ends))
