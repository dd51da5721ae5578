"""One recording, heard by chipsong, as ``chipsong replay`` would hear it with the program given."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.events import Alarm, Deaf, Event, StateChange
from analysis.listener import COLUMNS, Listener
from analysis.locate import Plan
from analysis.place import SoundLocator
from hearing.programs import Job
from recordings_synthetic import Recording


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
        (n,) whether the row was heard as cutting and compared with a baseline: alarms can come of it.
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
    listener = Listener(recording.rate, job.known, SoundLocator(plan))
    end = int(min(until * recording.rate, len(recording.samples)))
    events: list[Event] = []
    rows: list[tuple[NDArray[np.float64], NDArray[np.float32]]] = []
    for first in range(0, end, recording.rate):
        step = listener.hear(recording.samples[first : min(first + recording.rate, end)])
        events.extend(step.events)
        rows.append((step.at, step.table[:, COLUMNS.index("compared")]))
    states = tuple(event for event in events if isinstance(event, StateChange))
    at = np.concatenate([moments for moments, _ in rows])
    hop = round(float(at[1] - at[0]) * recording.rate)
    return Heard(
        alarms=tuple(event for event in events if isinstance(event, Alarm)),
        deaf=sum(isinstance(event, Deaf) for event in events),
        states=states,
        at=at,
        compared=np.concatenate([compared for _, compared in rows]) > 0.0,
        size=round(float(at[0]) * recording.rate),
        hop=hop,
    )
