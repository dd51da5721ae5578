"""The pictures of a run, as PNG files."""

from matplotlib.figure import Figure

from analysis.figures import orders_picture, sheet, timeline
from monitor.kept.job import plan_of
from monitor.saving import drawn
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
    figure = timeline_of(story)
    return None if figure is None else png(figure)


def sheet_of(story: Story) -> Figure | None:
    """
    Return the sheet from above with the verdict on each part; ``None`` without a program or its bits.

    Of several alarms that ask for something it shows the last that has a place.
    """
    if story.program is None:
        return None
    placed = [incident for incident in story.meant if incident.alarm.line]
    shown = next(reversed(placed or story.meant), None)
    called = f"alarm {shown.number} of {len(story.incidents)}" if shown and story.incidents[1:] else "alarm"
    plan = plan_of(story.run, story.program)
    if plan is None:
        return None
    return sheet(plan, story.verdicts, alarm=shown.alarm if shown else None, called=called)


def sheet_png(story: Story) -> bytes | None:
    """Return the sheet from above, as `sheet_of` draws it, as a PNG file."""
    figure = sheet_of(story)
    return None if figure is None else png(figure)


def orders_png(found: Compared) -> bytes:
    """Return normal against now in orders."""
    figure = orders_picture(found.orders, found.normal, found.now, flutes=found.flutes, speed=found.speed)
    return png(figure)


def png(figure: Figure) -> bytes:
    """Return a figure as a PNG file."""
    return drawn(figure, "png", _DPI)
