"""The trade of a limit: false alarms against delay."""

import math
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.figures.looks import CUT, INK, RULE, SMALL, SOFT, TEXT, WRONG, heading, quiet
from analysis.tuning import Row

# Where no false alarm was counted, the axis ends here, an hour.
_NONE = 0.01


def trade_picture(
    rows: Sequence[Row], today: Row, proposed: Row | None, *, budget: float, name: str
) -> Figure:
    """
    Draw what each limit costs and gains.

    Parameters
    ----------
    rows
        What happened at each limit.
    today, proposed
        Today's limit and the one that is proposed, two of ``rows``; ``None`` where none is.
    budget
        Bearable false alarms an hour.
    name
        Of the bit.

    Returns
    -------
    Figure
        Not saved anywhere.
    """
    figure = Figure(figsize=(9.0, 7.2), dpi=120, facecolor="white")
    false = figure.add_axes((0.1, 0.47, 0.86, 0.36))
    delay = figure.add_axes((0.1, 0.09, 0.86, 0.3), sharex=false)
    lines = (
        f"{today.hours:.2f} h of good cutting, {today.faults} faults, as labelled",
        "bars: exact 95 % intervals; empty rings: no false alarm was counted",
    )
    heading(figure, 0.25, f"{name}: what a limit costs, and what it gains", lines)
    _draw_false(false, rows, budget)
    _draw_delay(delay, rows)
    for axes in (false, delay):
        _mark(axes, today, proposed)
        quiet(axes)
    return figure


def _draw_false(axes: Axes, rows: Sequence[Row], budget: float) -> None:
    floor = min(_NONE, budget / 3.0)
    for row in rows:
        axes.plot([row.factor] * 2, [max(row.low, floor), row.high], color=SOFT, linewidth=1.0)
        fill = CUT if row.false else "white"
        axes.plot(row.factor, max(row.rate, floor), "o", color=CUT, markerfacecolor=fill, markersize=5)
    axes.axhline(budget, color=WRONG, linewidth=1.0, linestyle="--")
    axes.text(rows[-1].factor, budget * 1.1, "bearable", color=WRONG, size=SMALL, ha="right", va="bottom")
    axes.set_yscale("log")
    axes.set_ylim(floor / 1.5, None)
    axes.set_ylabel("false alarms an hour", size=TEXT, color=INK)


def _draw_delay(axes: Axes, rows: Sequence[Row]) -> None:
    known = [row for row in rows if math.isfinite(row.delay)]
    axes.plot([row.factor for row in known], [row.delay for row in known], "o-", color=CUT, markersize=4)
    for row in rows:
        if row.faults and not math.isfinite(row.delay):
            axes.plot(row.factor, 0.0, "x", color=WRONG, markersize=6)
    axes.set_ylim(0.0 - 0.02, None)
    axes.set_ylabel("delay, s (median)", size=TEXT, color=INK)
    axes.set_xlabel("limit, times the one that follows from the budget by theory", size=TEXT, color=INK)
    if any(row.faults and row.caught < row.faults for row in rows):
        least = min(row.caught for row in rows)
        most = max(row.caught for row in rows)
        told = f"{least} to {most} of {rows[0].faults} faults noticed; x: half or more were missed"
        axes.text(0.01, 0.97, told, transform=axes.transAxes, size=SMALL, color=INK, va="top")


def _mark(axes: Axes, today: Row, proposed: Row | None) -> None:
    for row, word, style, side in ((today, "today", ":", "left"), (proposed, "proposed", "-", "right")):
        if row is None:
            continue
        axes.axvline(row.factor, color=INK if row is proposed else SOFT, linewidth=1.2, linestyle=style)
        axes.annotate(
            f" {word} {row.factor:g} ",
            (row.factor, 1.0),
            xycoords=("data", "axes fraction"),
            ha=side,
            va="bottom",
            size=SMALL,
            color=INK,
        )
    axes.grid(visible=True, color=RULE, linewidth=0.5)
