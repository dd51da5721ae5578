"""Where in the program the cut was over time, as the journal keeps it."""

from dataclasses import dataclass
from typing import Any, NamedTuple

from analysis.listener import Listener
from analysis.program import Part, Program, find_parts
from monitor.journal import Run
from monitor.kept.job import program_of

PLACES = "places"
"""The name of the journal's event that holds places."""

# s between two looks, and s after which what was seen is written down.
_EVERY, _TOGETHER = 1.0, 30.0


class Passed(NamedTuple):
    """The line of the file that was being cut at ``at``, s, and the first and last that it may have been."""

    at: float
    line: int
    first: int
    last: int


class PlaceNotes:
    """
    Notes where the cut is, once a second where that has changed, and gives it in bundles to be kept.

    A row in the journal for each would cost more than all the rest of it.
    """

    def __init__(self) -> None:
        self._next = 0.0
        self._since = 0.0
        self._noted: list[Passed] = []
        self._last: tuple[int, int, int] | None = None

    def look(self, listener: Listener) -> dict[str, Any] | None:
        """Note where the cut is now; return what is to be kept, if it is time for that."""
        if listener.at < self._next:
            return None
        self._next = listener.at + _EVERY
        where = listener.locator.place(listener.at)
        if where is not None and (where.file, where.first, where.last) != self._last:
            self._last = (where.file, where.first, where.last)
            self._noted.append(Passed(round(listener.at, 2), *self._last))
        if listener.at - self._since < _TOGETHER:
            return None
        self._since = listener.at
        return self.rest()

    def rest(self) -> dict[str, Any] | None:
        """Return what has not been given yet, if there is any."""
        noted, self._noted = self._noted, []
        return {"event": PLACES, "at": noted[-1].at, "places": noted} if noted else None


def places_of(run: Run) -> tuple[Passed, ...]:
    """Return where the cut was, from second to second where that changed; empty in runs of old."""
    bundles = (event.body["places"] for event in run.events() if event.name == PLACES)
    return tuple(Passed(*place) for bundle in bundles for place in bundle)


@dataclass(frozen=True, eq=False)
class WasCut:
    """
    What was cut in a run, and when.

    Attributes
    ----------
    program
        As it was then; ``None`` where none was kept.
    parts
        Its parts, as they are counted today.
    places
        Where the cut was over time.
    """

    program: Program | None
    parts: tuple[Part, ...]
    places: tuple[Passed, ...]


def was_cut(run: Run) -> WasCut:
    """Return what was cut in a run."""
    program = program_of(run)
    return WasCut(program, find_parts(program) if program else (), places_of(run))
