"""
The capture loop: blocks from a source go through the listener, and what it says goes to everyone.

Live and replay differ in their source alone.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from analysis.errors import JournalError, SoundError
from analysis.events import Alarm, Deaf, Event, Summary, to_dict
from analysis.listener import Listener
from monitor.journal import Journal
from monitor.sources import Source

# Blocks that may fail to come, one second each, before the listener is told.
_MISSING = 2


@dataclass
class Ears:
    """
    Who is told what.

    Attributes
    ----------
    event
        Gets each event as it happens.
    progress
        Gets the listener after each block.
    warn
        Gets a line about trouble that does not end the listening.
    stop
        Whether to stop now.
    """

    event: Callable[[Event], None]
    progress: Callable[[Listener], None] = lambda _: None
    warn: Callable[[str], None] = lambda _: None
    stop: Callable[[Listener], bool] = lambda _: False


@dataclass
class Outcome:
    """
    How a run ended.

    Attributes
    ----------
    summary
        Of all that was heard.
    alarms
        In order.
    deaf
        How often nothing usable was heard.
    trouble
        What ended the run before its time; empty when nothing did.
    """

    summary: Summary
    alarms: list[Alarm] = field(default_factory=list)
    deaf: int = 0
    trouble: str = ""


def listen(source: Source, listener: Listener, ears: Ears, journal: Journal | None = None) -> Outcome:
    """
    Hear ``source`` to its end, or until ``ears.stop``; nothing heard is lost when it breaks off.

    Parameters
    ----------
    source
        Where the sound comes from.
    listener
        What judges it.
    ears
        Who is told.
    journal
        What keeps it.
    """
    loop = _Loop(listener, ears, journal)
    trouble = ""
    try:
        for block in source.blocks():
            if block is None:
                loop.nothing()
            else:
                if block.note:
                    loop.say(listener.lost(block.note))
                loop.hear(block.samples)
            if ears.stop(listener):
                break
    except SoundError as error:
        trouble = str(error)
    except KeyboardInterrupt:
        ears.warn("stopped by hand")
    return loop.end(trouble)


class _Loop:
    def __init__(self, listener: Listener, ears: Ears, journal: Journal | None) -> None:
        self._listener = listener
        self._ears = ears
        self._journal = journal
        self._missing = 0
        self._alarms: list[Alarm] = []
        self._deaf = 0

    def nothing(self) -> None:
        self._missing += 1
        if self._missing == _MISSING:
            self.say(self._listener.lost("nothing arrives from the microphone: is it plugged in?"))

    def hear(self, samples: "np.typing.NDArray[np.float32]") -> None:
        self._missing = 0
        step = self._listener.hear(samples)
        self._keep(lambda journal: journal.sound(samples))
        if len(step.at):
            self._keep(lambda journal: journal.rows(step.at, step.table))
        self.say(step.events)
        self._ears.progress(self._listener)

    def say(self, events: "tuple[Event, ...] | list[Event]") -> None:
        for event in events:
            if isinstance(event, Alarm):
                self._alarms.append(event)
            self._deaf += isinstance(event, Deaf)
            self._note(event)
            self._ears.event(event)

    def _note(self, event: Event) -> None:
        body = to_dict(event)
        self._keep(lambda journal: journal.event(str(body["event"]), event.at, body))

    def _keep(self, write: Callable[[Journal], None]) -> None:
        if self._journal is None:
            return
        try:
            write(self._journal)
        except JournalError as error:
            self._ears.warn(f"{error}; listening goes on without keeping the run")

    def end(self, trouble: str) -> Outcome:
        summary = self._listener.end()
        self._note(summary)
        self._ears.event(summary)
        self._keep(lambda journal: journal.close(to_dict(summary)))
        return Outcome(summary, self._alarms, self._deaf, trouble)
