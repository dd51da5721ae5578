"""What a run holds, put together for whoever looks at it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.events import Alarm, Checked, Event, PartVerdict, State, Summary
from analysis.figures.spans import state_spans
from analysis.program import Part, Program
from monitor.journal import Rows, Run
from monitor.kept.job import bits_of
from monitor.kept.labels import Label, labels
from monitor.kept.places import Passed, WasCut, was_cut
from monitor.kept.spoiled import Judged, Spell, judged_since, spells
from monitor.review import SAID_OTHERWISE, event_of


@dataclass(frozen=True)
class Incident:
    """
    An alarm of a run.

    Attributes
    ----------
    number
        From 1, in order.
    index
        Which of ``run.events()`` it is, as `monitor.kept.labels.label` wants it.
    alarm
        The alarm.
    label
        What a person said of it.
    """

    number: int
    index: int
    alarm: Alarm
    label: Label | None


@dataclass(frozen=True, eq=False)
class Story:
    """
    A run, read once.

    Attributes
    ----------
    run
        As kept.
    events
        What the listener said, in order.
    incidents
        The alarms among them.
    """

    run: Run
    events: tuple[Event, ...]
    incidents: tuple[Incident, ...]

    @property
    def checks(self) -> tuple[Checked, ...]:
        """What was found of the bits, in order."""
        return tuple(event for event in self.events if isinstance(event, Checked))

    @property
    def meant(self) -> tuple[Incident, ...]:
        """The alarms that ask for something: of which nobody said that they were nothing."""
        return tuple(incident for incident in self.incidents if incident.label != "nothing")

    @cached_property
    def rows(self) -> Rows:
        """The rows of features."""
        return self.run.rows()

    @cached_property
    def was_cut(self) -> WasCut:
        """What was cut, and when."""
        return was_cut(self.run)

    @property
    def program(self) -> Program | None:
        """The program that was cut, ``None`` if none was kept."""
        return self.was_cut.program

    @property
    def parts(self) -> tuple[Part, ...]:
        """The parts of the program."""
        return self.was_cut.parts

    @property
    def places(self) -> tuple[Passed, ...]:
        """Where the cut was over time."""
        return self.was_cut.places

    @cached_property
    def bits(self) -> dict[int, Bit]:
        """The bit behind each T number, and behind 0 the one for all others."""
        return bits_of(self.run)

    @property
    def summary(self) -> Summary | None:
        """How the run ended; ``None`` while it goes on, or if it was broken off."""
        return next((event for event in reversed(self.events) if isinstance(event, Summary)), None)

    @cached_property
    def spells(self) -> tuple[Spell, ...]:
        """When bits spoiled what they cut, as far as nobody has reckoned with that at the end."""
        return spells(self.run)

    @cached_property
    def judged(self) -> Judged:
        """What is thought of each part by all that is known since, and why that is otherwise than it was."""
        told = None if self.summary is None else self.summary.parts
        return judged_since(self.run, self.was_cut, told, self.spells)

    @property
    def verdicts(self) -> tuple[PartVerdict, ...]:
        """What is thought of each part."""
        return self.judged.parts

    @property
    def seconds(self) -> float:
        """How long it is, s."""
        ends = [self.summary.at] if self.summary else [event.at for event in self.events[-1:]]
        return max([*ends, *self.rows.at[-1:].tolist()], default=0.0)

    @cached_property
    def states(self) -> list[tuple[float, float, State]]:
        """When the watcher was in which state: begin and end, s, and its word."""
        return state_spans(self.events, 0.0, self.seconds)

    def column(self, name: str) -> NDArray[np.float64]:
        """Return a column of the rows, shape (n,); zeros in a run that is older than the column."""
        rows = self.rows
        if name not in rows.columns:
            return np.zeros(len(rows.at))
        return np.asarray(rows.values[:, rows.columns.index(name)], dtype=np.float64)

    def bit_at(self, line: int | None) -> Bit | None:
        """Return the bit that cuts a line of the file; ``None`` in runs of old."""
        if line is None or self.program is None:
            return self.bits.get(0)
        moves = self.program.moves
        number = moves.bit[moves.file_line <= line][-1:].tolist() or [0]
        return self.bits.get(int(number[0]), self.bits.get(0))

    @cached_property
    def parts_at(self) -> tuple[tuple[str, float, float], ...]:
        """When each part was cut: its name, begin and end, s; once for each bit that came to it."""
        if self.program is None or not self.places:
            return ()
        moves = self.program.moves
        owner = {
            int(line): part.name for part in self.parts for line in np.unique(moves.file_line[part.moves])
        }
        return _spells([(place.at, owner.get(place.line)) for place in self.places], self.seconds)


def _spells(passed: Sequence[tuple[float, str | None]], end: float) -> tuple[tuple[str, float, float], ...]:
    """Join what follows one another under one name; moves above the work end nothing until another begins."""
    spells: list[tuple[str, float, float]] = []
    for (at, name), until in zip(passed, [*(at for at, _ in passed[1:]), end], strict=True):
        if name is None:
            continue
        if spells and spells[-1][0] == name:
            spells[-1] = (name, spells[-1][1], until)
        else:
            spells.append((name, at, until))
    return tuple(spells)


def tell(run: Run) -> Story:
    """
    Read a run.

    Raises
    ------
    JournalError
        When it cannot be understood.
    """
    said = labels(run)
    kept = [(index, event) for index, event in enumerate(run.events()) if event.name not in SAID_OTHERWISE]
    heard = [(index, event_of(run, event)) for index, event in kept]
    alarms = [(index, event) for index, event in heard if isinstance(event, Alarm)]
    incidents = (
        Incident(number, index, alarm, said.get(index)) for number, (index, alarm) in enumerate(alarms, 1)
    )
    return Story(run, tuple(event for _, event in heard), tuple(incidents))
