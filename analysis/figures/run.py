"""A run as it is drawn: its rows, its events, and what follows from both."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.events import Alarm, Event, State, Summary
from analysis.figures.envelope import Columns, Envelope, Floats
from analysis.figures.spans import deaf_rows, state_spans
from analysis.health import CLIPPED, QUIET
from analysis.listener import CUT

NEEDED = (
    *("level", "spindle", "between", "half", "modulation"),
    *("score", "phase", "peak", "spread", "clipped"),
)
"""The columns that a table must have."""


@dataclass(frozen=True, eq=False)
class Run:
    """
    What is to be drawn.

    Attributes
    ----------
    columns
        When the rows are, and what the picture's width shows.
    table, names
        The rows' features, shape (n, len(names)).
    events
        What the watcher said.
    """

    columns: Columns
    table: NDArray[np.floating]
    names: tuple[str, ...]
    events: tuple[Event, ...]

    @classmethod
    def of(
        cls,
        at: ArrayLike,
        table: ArrayLike,
        names: Sequence[str],
        events: Sequence[Event],
        until: float = 0.0,
    ) -> "Run":
        """
        Return the run, checked; it ends with its rows or its summary, or ``until``, s, if that is later.

        Raises
        ------
        ValueError
            If the shapes do not fit, ``at`` does not increase, or a column in ``NEEDED`` is missing.
        """
        times, rows = np.asarray(at, dtype=np.float64), np.asarray(table)
        if times.ndim != 1 or rows.shape != (len(times), len(names)):
            raise ValueError(f"at {times.shape} and table {rows.shape} must be (n,) and (n, {len(names)})")
        if not np.isfinite(times).all() or (np.diff(times) <= 0).any():
            raise ValueError("at must be finite and increase from row to row")
        missing = [name for name in NEEDED if name not in names]
        if missing:
            raise ValueError(f"the table has no column {', '.join(missing)}")
        ends = [event.at for event in events if isinstance(event, Summary)]
        return cls(Columns.of(times, max([until, *ends])), rows, tuple(names), tuple(events))

    def __getitem__(self, name: str) -> Floats:
        """Return a column, shape (n,)."""
        return np.asarray(self.table[:, self.names.index(name)], dtype=np.float64)

    @cached_property
    def states(self) -> list[tuple[float, float, State]]:
        """When the watcher was in which state: begin, end, s, and its word."""
        return state_spans(self.events, self.columns.begin, self.columns.end)

    @cached_property
    def alarms(self) -> list[Alarm]:
        """The alarms that became certain while the picture lasts, in order."""
        begin, end = self.columns.begin, self.columns.end
        return [event for event in self.events if isinstance(event, Alarm) and begin <= event.at <= end]

    @cached_property
    def heard(self) -> NDArray[np.bool_]:
        """Which rows hold anything: neither deaf nor so bad that deaf is about to be said, shape (n,)."""
        with np.errstate(invalid="ignore"):
            usable = (self["peak"] >= QUIET) & (self["spread"] > 0) & (self["clipped"] <= CLIPPED)
        return np.asarray(usable & ~deaf_rows(self.states, self.columns.at))

    @cached_property
    def cut(self) -> NDArray[np.bool_]:
        """Which rows hold a cut, shape (n,)."""
        return np.asarray(self.heard & (self["phase"] == CUT))

    def envelopes(self, name: str) -> tuple[Envelope, Envelope]:
        """Return a column's envelopes outside the cut and in it."""
        values = self[name]
        outside = self.columns.envelope(values, self.heard & ~self.cut)
        return outside, self.columns.envelope(values, self.cut)
