"""The panels of a timeline that have a scale: the score, and what is heard."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from analysis.figures.envelope import Envelope
from analysis.figures.looks import AIR, AIR_PALE, CUT, CUT_PALE, INK, RULE, SMALL, STATES, WRONG
from analysis.figures.page import Page
from analysis.figures.run import Run
from analysis.figures.spans import gathered

SCORE_LABEL = "how near to\nan alarm\n(share of the limit)"
SCORE_HEIGHT = 1.25  # in

HEARD = (
    ("level", "loudness\n(dBFS)"),
    ("spindle", "once a turn:\nthe spindle line\n(dB above noise)"),
    ("between", "the lines between\ntooth-pass lines\n(dB above noise)"),
    ("half", "every other turn:\nhalf orders\n(dB above noise)"),
    ("modulation", "swelling once a\nturn: modulation\n(dB re full)"),
    ("rocking", "swelling every\nother turn: rocking\n(dB re full)"),
)
"""What is heard: its column, and what it is in words with its unit."""
HEARD_HEIGHT = 0.82  # in

_SHADES = ((AIR, AIR_PALE), (CUT, CUT_PALE))  # outside the cut and in it: mean, and least to greatest
_RELATIVE = ("spindle", "between", "half")  # these share one scale


def heard_in(run: Run) -> tuple[tuple[str, str], ...]:
    """Return what of ``HEARD`` a run has: older ones have fewer columns."""
    return tuple((name, label) for name, label in HEARD if name in run.names)


def shade_deaf(axes: Axes, run: Run) -> None:
    """Shade where nothing usable was heard."""
    look = STATES["deaf"]
    for span in gathered(run.states, run.columns):
        if span.word == "deaf":
            axes.axvspan(
                span.begin, span.end, facecolor="#f4f5f4", edgecolor="#d5d9d6", hatch=look.hatch, linewidth=0
            )


def draw_score(axes: Axes, run: Run) -> None:
    """Draw the greatest score of each column against the limit."""
    score = run.columns.envelope(run["score"], run.heard)
    over = score.high >= 1.0
    axes.fill_between(score.x, 0, score.high, color="#d3dfdb", linewidth=0)
    axes.fill_between(
        score.x, 0, score.high, where=over, facecolor="#f3cfc5", edgecolor=WRONG, hatch="xx", linewidth=0
    )
    axes.plot(score.x, score.high, color=INK, linewidth=0.7 if run.columns.gathered else 1.2)
    axes.axhline(1.0, color=WRONG, linewidth=1.2, linestyle=(0, (6, 2)))
    _at_right(axes, 1.0, "limit")
    axes.set_ylim(0, max(1.3, 1.1 * float(np.nanmax(score.high, initial=0.0))))
    axes.yaxis.set_major_locator(MaxNLocator(nbins=3, steps=[1, 5, 10]))


def draw_heard(page: Page, run: Run) -> None:
    """Draw what is heard, one panel each: grey outside the cut, dark in it."""
    series = {name: run.envelopes(name) for name, _ in heard_in(run)}
    together = _limits([series[name] for name in _RELATIVE])
    for name, label in heard_in(run):
        axes = page.panel(label)
        for envelope, colour in zip(series[name], _SHADES, strict=True):
            axes.fill_between(envelope.x, envelope.low, envelope.high, color=colour[1], linewidth=0.5)
            axes.plot(envelope.x, envelope.mean, color=colour[0], linewidth=1.1)
        axes.set_ylim(together if name in _RELATIVE else _limits([series[name]]))
        axes.yaxis.set_major_locator(MaxNLocator(nbins=3, steps=[1, 2, 5, 10], integer=True))
        axes.grid(axis="y", color=RULE, linewidth=0.5)
        axes.set_axisbelow(True)


def _limits(series: Sequence[tuple[Envelope, Envelope]]) -> tuple[float, float]:
    """Return from where to where a scale must go to show all of it, dB; never less than 10 dB."""
    shown = [envelope for pair in series for envelope in pair if len(envelope.x)]
    low = min((float(np.nanmin(envelope.low)) for envelope in shown), default=-20.0)
    high = max((float(np.nanmax(envelope.high)) for envelope in shown), default=0.0)
    pad = max(0.08 * (high - low), (10 - (high - low)) / 2)
    return low - pad, high + pad


def _at_right(axes: Axes, y: float, text: str) -> None:
    axes.annotate(
        text,
        xy=(1, y),
        xytext=(4, 0),
        xycoords=("axes fraction", "data"),
        textcoords="offset points",
        size=SMALL,
        color=WRONG,
        va="center",
    )
