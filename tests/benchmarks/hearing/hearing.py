"""One recording, heard by chipsong, as ``chipsong replay`` would hear it with the program given."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.events import Alarm, Deaf, Event, StateChange
from analysis.health import Health
from analysis.listener import COLUMNS, Listener
from analysis.locate import ClockLocator, Plan
from analysis.watcher import Moment, Watcher
from hearing.programs import Job
from recordings_synthetic import Recording

COMPARES = ("listen", "uneasy", "alarm")
_CUT = 2.0


@dataclass(frozen=True, eq=False)
class Heard:
    """
    What chipsong made of a recording.

    Attributes
    ----------
    alarms
        In the order they came.
    deaf
        How often it said that it hears nothing usable.
    states
        Its states, as it said them.
    at
        (n,) s, when each row was complete.
    compared
        (n,) whether the row was heard as cutting and compared with a baseline: alarms can come of it. The
        state alone would not tell: rows that something covers are passed over in the state ``listen`` too.
    size, hop
        Samples in a row's window, and from one row to the next.
    """

    alarms: tuple[Alarm, ...]
    deaf: int
    states: tuple[StateChange, ...]
    at: NDArray[np.float64]
    compared: NDArray[np.bool_]
    size: int
    hop: int

    def state_at(self, moment: float) -> str:
        """Return the state that it was in at a moment, s."""
        said = [change.state for change in self.states if change.at <= moment]
        return said[-1] if said else "settle"


def hear(recording: Recording, job: Job, plan: Plan, until: float = np.inf) -> Heard:
    """Return what chipsong makes of a recording up to a moment, s."""
    bits = dict(job.bits)
    bits.setdefault(0, next(iter(job.bits.values())))
    listener = Listener(recording.rate, bits, ClockLocator(plan))
    tested = _watch_tests(listener.watcher)
    end = int(min(until * recording.rate, len(recording.samples)))
    events: list[Event] = []
    moments: list[NDArray[np.float64]] = []
    tables: list[NDArray[np.float32]] = []
    for first in range(0, end, recording.rate):
        step = listener.hear(recording.samples[first : min(first + recording.rate, end)])
        events.extend(step.events)
        moments.append(step.at)
        tables.append(step.table)
    states = tuple(event for event in events if isinstance(event, StateChange))
    at, table = np.concatenate(moments), np.concatenate(tables)
    cut = table[:, COLUMNS.index("phase")] == _CUT
    hop = round(float(at[1] - at[0]) * recording.rate)
    return Heard(
        alarms=tuple(event for event in events if isinstance(event, Alarm)),
        deaf=sum(isinstance(event, Deaf) for event in events),
        states=states,
        at=at,
        compared=cut & np.array(tested) & _comparing(states, at),
        size=round(float(at[0]) * recording.rate),
        hop=hop,
    )


def _watch_tests(watcher: Watcher) -> list[bool]:
    """Return a list that grows with each row that a watcher takes in: whether the row went into its tests."""
    tested: list[bool] = []
    row = watcher.row

    def watched(moment: Moment, health: Health) -> list[Event]:
        before = watcher._tests  # noqa: SLF001 - nothing else tells whether a row was compared
        said = row(moment, health)
        tested.append(watcher._tests is not before)  # noqa: SLF001
        return said

    watcher.row = watched  # type: ignore[method-assign]
    return tested


def _comparing(states: tuple[StateChange, ...], at: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return whether the watcher was comparing at each moment."""
    when = np.array([change.at for change in states])
    compares = np.array([False, *(change.state in COMPARES for change in states)])
    return np.asarray(compares[np.searchsorted(when, at, side="right")])
