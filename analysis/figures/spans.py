"""What lasts: states, and what the spindle was doing, as spans of time."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.events import Event, State, StateChange
from analysis.figures.envelope import COLUMNS, Columns, Floats
from analysis.figures.looks import STATES

_URGENCY = {state: rank for rank, state in enumerate(STATES)}


@dataclass(frozen=True)
class Span:
    """A word that holds from ``begin`` to ``end``, s."""

    begin: float
    end: float
    word: str

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.end - self.begin


def state_spans(events: Iterable[Event], begin: float, end: float) -> list[tuple[float, float, State]]:
    """
    Return when the watcher was in which state, from ``begin`` to ``end``, s.

    A watcher that has said nothing yet is in ``settle``.
    """
    changes = [event for event in events if isinstance(event, StateChange) and event.at <= end]
    changes.sort(key=lambda change: change.at)
    states: list[State] = ["settle", *(change.state for change in changes)]
    edges = [begin, *(max(change.at, begin) for change in changes), end]
    spans = zip(edges[:-1], edges[1:], states, strict=True)
    # A state that is entered with the last row has no length and is seen all the same.
    return [(a, b, state) for a, b, state in spans if b > a or a == end]


def gathered(spans: Sequence[tuple[float, float, State]], columns: Columns) -> list[Span]:
    """
    Return the spans to draw: where several states share a column, the most urgent is seen.

    So a moment of alarm in hours of listening still fills a column.
    """
    worst = np.full(COLUMNS, -1)
    for begin, end, state in spans:
        first, last = columns.column(np.array([begin, end]))
        inside = slice(first, max(int(last), int(first) + 1) if end < columns.end else COLUMNS)
        worst[inside] = np.maximum(worst[inside], _URGENCY[state])
    edges = np.linspace(columns.begin, columns.end, COLUMNS + 1)
    return [
        Span(float(edges[a]), float(edges[b]), tuple(STATES)[worst[a]])
        for a, b in runs(worst)
        if worst[a] >= 0
    ]


def deaf_rows(spans: Sequence[tuple[float, float, State]], at: Floats) -> NDArray[np.bool_]:
    """Return which rows fall into a deaf span, shape (n,)."""
    deaf = np.zeros(len(at), dtype=np.bool_)
    for begin, end, state in spans:
        if state == "deaf":
            first, last = np.searchsorted(at, [begin, end], side="left")
            deaf[first : last if end < at[-1] else len(at)] = True
    return deaf


def runs(values: NDArray[np.int_]) -> list[tuple[int, int]]:
    """Return first and one past the last index of each stretch of equal values."""
    edges = [0, *(np.flatnonzero(np.diff(values)) + 1).tolist(), len(values)]
    return list(pairwise(edges))
