"""The sheet of paper of a timeline: panels below one another that share the time."""

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from analysis.figures.clock import time_axis
from analysis.figures.looks import INK, SMALL, TEXT, quiet

WIDTH, LEFT, RIGHT = 11.7, 2.0, 0.5  # in
INNER = WIDTH - LEFT - RIGHT
GAP, FOOT = 0.1, 1.8  # in: between panels; below the last for the time and the key


class Page:
    """
    The figure, filled with panels from the top down.

    Parameters
    ----------
    top
        What is left free above the first panel, in.
    heights
        Of the panels, in.
    span
        What the time axis shows, s.
    """

    def __init__(self, top: float, heights: list[float], span: tuple[float, float]) -> None:
        self._height = top + sum(heights) + GAP * (len(heights) - 1) + FOOT
        self.figure = Figure(figsize=(WIDTH, self._height), facecolor="white")
        self._span = span
        self._top = self._next = top
        self._heights = iter(heights)
        self._last: Axes | None = None

    def panel(self, label: str) -> Axes:
        """Return the next panel, labelled at its left."""
        bottom = self._next + next(self._heights)
        axes = self._axes(self._next, bottom)
        x = (0.3 - LEFT) / INNER
        axes.text(x, 0.5, label, size=SMALL, color=INK, va="center", transform=axes.transAxes)
        axes.tick_params(labelbottom=False, bottom=False)
        self._next = bottom + GAP
        self._last = axes
        return axes

    def band(self, label: str) -> Axes:
        """Return the next panel as a band, without a scale; y goes from 0 to 1."""
        axes = self.panel(label)
        axes.set_ylim(0, 1)
        axes.set_yticks([])
        return axes

    def across(self, order: int) -> Axes:
        """Return axes over all panels (order > 0) or behind them; y goes from 0 to 1."""
        axes = self._axes(self._top, self._height - FOOT)
        axes.set_zorder(order)
        axes.set_ylim(0, 1)
        axes.set_axis_off()
        return axes

    def finish(self) -> None:
        """Write the time below the last panel."""
        if self._last is not None:
            time_axis(self._last, *self._span)
            self._last.tick_params(labelbottom=True, bottom=True)
            self._last.xaxis.label.set(size=TEXT, color=INK)

    def _axes(self, top: float, bottom: float) -> Axes:
        place = (LEFT / WIDTH, 1 - bottom / self._height, INNER / WIDTH, (bottom - top) / self._height)
        axes = self.figure.add_axes(place)
        axes.set_xlim(*self._span)
        quiet(axes)
        return axes
