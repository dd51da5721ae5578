"""The pictures of a run, as PNG files."""

import io

from matplotlib.figure import Figure

from analysis.errors import ChipsongError
from analysis.figures import orders_picture, sheet, timeline
from analysis.locate import Plan
from monitor.kept.job import bits_of
from monitor.story.comparing import Compared
from monitor.story.story import Story

_DPI = 110


def timeline_of(story: Story) -> Figure | None:
    """Return the run over time; ``None`` when there are no rows of features, or those of another version."""
    rows = story.rows
    try:
        return timeline(
            rows.at,
            rows.values,
            rows.columns,
            story.events,
            parts_at=story.parts_at,
            until=story.seconds,
        )
    except ValueError:
        return None


def timeline_png(story: Story) -> bytes | None:
    """Return the run over time, as `timeline_of` draws it, as a PNG file."""
    drawn = timeline_of(story)
    return None if drawn is None else png(drawn)


def sheet_png(story: Story) -> bytes | None:
    """Return the sheet from above with the verdict on each part; ``None`` without a program or its bits."""
    if story.program is None:
        return None
    try:
        plan = Plan.of(story.program, bits_of(story.run))
        alarm = story.incidents[0].alarm if story.incidents else None
        return png(sheet(plan, story.verdicts, alarm=alarm))
    except (ChipsongError, KeyError, ValueError):
        return None


def orders_png(found: Compared) -> bytes:
    """Return normal against now in orders."""
    drawn = orders_picture(found.orders, found.normal, found.now, flutes=found.flutes, speed=found.speed)
    return png(drawn)


def png(figure: Figure) -> bytes:
    """Return a figure as a PNG file."""
    held = io.BytesIO()
    figure.savefig(held, format="png", dpi=_DPI)
    return held.getvalue()
