"""Times in words and on an axis, for runs of seconds and of hours."""

import math
from collections.abc import Callable

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MultipleLocator

from analysis.events import Summary

_STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)


def lasting(seconds: float) -> str:
    """Return a duration in words: ``9.4 s``, ``4 min 10 s``, ``3 h 0 min``."""
    if seconds < 59.95:
        return f"{seconds:.1f} s"
    if seconds < 3599.5:
        return f"{round(seconds) // 60} min {round(seconds) % 60} s"
    return f"{round(seconds / 60) // 60} h {round(seconds / 60) % 60} min"


def heard_for(end: Summary) -> str:
    """Return for how long something was heard, cut and, where that is known, compared."""
    heard = f"heard for {lasting(end.heard_s)}, cutting for {lasting(end.cut_s)} of that"
    return heard if end.compared_s is None else f"{heard}, compared for {lasting(end.compared_s)}"


def moment(seconds: float) -> str:
    """Return a moment to a tenth of a second: ``9.4 s``, ``4:10.0``, ``3:00:02.5``."""
    tenths = round(10 * seconds)
    if tenths < 600:
        return f"{tenths / 10:.1f} s"
    minutes, rest = divmod(tenths, 600)
    if minutes < 60:
        return f"{minutes}:{rest / 10:04.1f}"
    return f"{minutes // 60}:{minutes % 60:02d}:{rest / 10:04.1f}"


def time_axis(axes: Axes, begin: float, end: float) -> None:
    """Give the x axis, s, ticks that a person would choose, and say their unit."""
    wanted = (end - begin) / 10
    step = next((step for step in _STEPS if step >= wanted), 3600.0 * math.ceil(wanted / 3600))
    axes.set_xlim(begin, end)
    axes.xaxis.set_major_locator(MultipleLocator(step))
    write, unit = _notation(end, step)
    axes.xaxis.set_major_formatter(FuncFormatter(write))
    axes.set_xlabel(f"time since the first sample ({unit})")


def _notation(end: float, step: float) -> tuple[Callable[[float, int | None], str], str]:
    if end < 120:
        return (lambda x, _: f"{x:.1f}" if step < 1 else f"{x:.0f}"), "s"
    if end < 3600 or step < 60:
        return (lambda x, _: f"{round(x) // 60}:{round(x) % 60:02d}"), "min:s"
    return (lambda x, _: f"{round(x / 60) // 60}:{round(x / 60) % 60:02d}"), "h:min"
