"""
The capture loop: blocks from a source go through the listener, and what it says goes to everyone.

Live and replay differ in their source alone.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import nullcontext, suppress
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.errors import JournalError, SoundError
from analysis.events import Alarm, Deaf, Event, Heard, Place, Summary, to_dict
from analysis.listener import Listener, Step
from analysis.pumping import SAID as PUMPS
from monitor.actions.kind import Done
from monitor.actions.telling import ACTION, done_to_dict
from monitor.controls import ALARM, DOUBT, PRESSED, Press
from monitor.journal import Journal
from monitor.kept.heard import BIT, GAP, NOTICE, HeardNotes, gap
from monitor.kept.places import PLACES, PlaceNotes
from monitor.output import printable
from monitor.sources import Block, Source

# Blocks that may fail to come before the listener is told, and before the first has come. A microphone waits
# half a second for each, so that it is said within 2 s; a sound system that slept takes as long to wake.
_MISSING, _MISSING_AT_FIRST = 3, 6

# Sound that has waited for so long, s, tells nothing of what is cut now; from when on it is of now again.
_OLD, _OF_NOW = 2.0, 0.5


@dataclass(frozen=True)
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
        Whether to stop now; asked after each block, after each that failed to come, and after each second of
        lost time that is caught up with.
    at_once
        Gets each event before anything is written down. It must not take time.
    done
        Gives what became of actions since it was last asked, as ``stop`` is. Asked with True it is for the
        last time, and may wait a little for what is not over.
    asked
        Gives what a person has said since it was last asked, as ``stop`` is: a sign that the loop goes on.
    heeded
        Gets what a person has said once it was done, after the events that came of it, with the listener and
        where the cut was taken to be before; not what was refused.
    at_alarm
        Does what is to be done at an alarm, after its event; gives why there is no restart program, in words,
        or nothing where there is one or there is none to be had.
    refused
        Gets that.
    rows
        Gets what came of each block, before progress.
    ends
        Called once when the listening is over and what is left is being done: of that there may be much, and
        nobody is to take it for listening, nor for listening that hangs.
    lines
        Takes the line numbers from outside that have come, and gives what is to be kept of them; asked after
        each block, and after each that failed to come, with how long the run is by then, s, and at the end
        with True.
    """

    event: Callable[[Event], None] = lambda _: None
    progress: Callable[[Listener], None] = lambda _: None
    warn: Callable[[str], None] = lambda _: None
    stop: Callable[[], bool] = lambda: False
    at_once: Callable[[Event], None] = lambda _: None
    done: Callable[[bool], Iterable[Done]] = lambda _: ()
    asked: Callable[[], Iterable[Press]] = tuple
    heeded: Callable[[Press, Listener, Place | None], None] = lambda _press, _listener, _before: None
    at_alarm: Callable[[Alarm], str] = lambda _: ""
    refused: Callable[[str], None] = lambda _: None
    rows: Callable[[Step], None] = lambda _: None
    ends: Callable[[], None] = lambda: None
    lines: Callable[[float, bool], Iterable[Mapping[str, Any]]] = lambda _at, _last: ()


def together(*ears: Ears) -> Ears:
    """Return ears of which each is told and asked, in this order: none has to pass on what others hear."""

    def each(what: str) -> Callable[..., list[Any]]:
        calls = [getattr(one, what) for one in ears]
        return lambda *said: [call(*said) for call in calls]

    def all_of(what: str) -> Callable[..., list[Any]]:
        calls = each(what)
        return lambda *said: [got for gave in calls(*said) for got in gave]

    told: dict[str, Any] = {field.name: each(field.name) for field in fields(Ears)}
    told |= {what: all_of(what) for what in ("done", "asked", "lines")}
    stop, at_alarm = each("stop"), each("at_alarm")
    told |= {"stop": lambda: any(stop()), "at_alarm": lambda alarm: "".join(at_alarm(alarm))}
    return Ears(**told)


@dataclass(frozen=True)
class Outcome:
    """
    How a run ended.

    Attributes
    ----------
    summary
        Of all that was heard.
    alarms
        In order.
    trouble
        What ended the run before its time; empty when nothing did.
    """

    summary: Summary
    alarms: tuple[Alarm, ...] = ()
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
        What keeps it; closed in any case.
    """
    loop = _Loop(listener, ears, journal)
    trouble = ""
    with journal or nullcontext():
        try:
            loop.take_all(source)
        except SoundError as error:
            trouble = str(error)
            loop.alert(trouble)
        except KeyboardInterrupt:
            ears.warn("stopped by hand")
        except Exception as error:
            loop.alert(f"chipsong broke down: {error or type(error).__name__}")
            with suppress(Exception):  # what is broken may be the very screen
                ears.ends()
                loop.note_places()
                loop.note_done(last=True)
            raise
        return loop.end(trouble)


class _Loop:
    def __init__(self, listener: Listener, ears: Ears, journal: Journal | None) -> None:
        self._listener = listener
        self._ears = ears
        self._journal = journal
        self._missing = 0
        self._patience = _MISSING_AT_FIRST
        self._old = 0.0  # for how long what is heard has waited, s, once that is too long
        self._presses: deque[Press] = deque()
        self._alarms: list[Alarm] = []
        self._places = PlaceNotes()
        self._heard = HeardNotes()
        self._pumps = False

    def alert(self, because: str) -> None:
        """Let actions tell the person at the machine that nobody listens any more."""
        self._ears.at_once(Deaf(self._listener.at, because))

    def take_all(self, source: Source) -> None:
        for block in source.blocks():
            if block is None:
                self._take_nothing()
            else:
                self._take(block)
            self._look_up()
            self._note_lines(last=False)
            while self._presses:
                self._heed(self._presses.popleft())
            if self._ears.stop():
                break

    def _look_up(self) -> None:
        self.note_done(last=False)
        self._presses += self._ears.asked()

    def _take_nothing(self) -> None:
        self._missing += 1
        if self._missing == self._patience:
            self._say(self._listener.lost("nothing arrives from the microphone: is it plugged in?"))

    def _take(self, block: Block) -> None:
        self._missing, self._patience = 0, _MISSING
        if block.note or block.lost:
            self._miss(block.lost, block.note or "a gap: some sound never arrived")
        for _ in self._lost_time(block.lost):
            # A night takes minutes. What a person says, and lines told by the machine, are of now, and wait.
            self._look_up()
            if self._ears.stop():
                return
        if len(block.samples):
            self._mind_age(block.age)
        self._hear(block.samples)

    def _miss(self, lost: int, why: str) -> None:
        note = printable(why)
        self._keep_note(GAP, gap(self._listener, lost, note))
        self._say(self._listener.lost(note))

    def _lost_time(self, lost: int) -> Iterator[None]:
        """
        Let the clock go on by what never came, second by second, and nobody judge it.

        No window with a sample that is no number is usable, whereas half a window of zeros would be a strange
        sound. The journal keeps silence for it.
        """
        for first in range(0, lost, self._listener.rate):
            count = min(self._listener.rate, lost - first)
            self._hear(np.full(count, np.nan, dtype=np.float32))
            yield

    def _mind_age(self, age: float) -> None:
        """Say that what is heard is old, for then all that is shown is; and that it no longer is."""
        told = self._old > 0.0
        if age > _OLD or (told and age > _OF_NOW):
            self._old = age
            if not told:
                self._say([Deaf(self._listener.at, _TOO_BUSY)])
        elif told:
            self._old = 0.0
            # Else it is deaf for another reason, and heard again when that is over.
            if self._listener.watcher.state != "deaf":
                self._say([Heard(self._listener.at, "what is heard is of now again")])

    def _leave_what_waits(self) -> None:
        """Count as lost what nobody will hear."""
        if not self._old:
            return
        # Whoever does not want to wait still gets the summary.
        with suppress(KeyboardInterrupt):
            lost = round(self._old * self._listener.rate)
            self._miss(lost, f"the last {self._old:.0f} s were not heard: this computer was too busy")
            for _ in self._lost_time(lost):
                self._look_up()

    def _hear(self, samples: NDArray[np.float32]) -> None:
        step = self._listener.hear(samples)
        # Sound last: what was decided is to be told and kept though the disk has no room for sound.
        self._keep_note(BIT, self._heard.look(self._listener, step))
        self._say(step.events)
        self._keep_note(PLACES, self._places.look(self._listener))
        self._mind_gain()
        self._keep_sound(samples, step.at, step.table)
        self._ears.rows(step)
        self._ears.progress(self._listener)

    def _mind_gain(self) -> None:
        """Say once that a gain moves by itself."""
        if self._listener.pumps and not self._pumps:
            self._pumps = True
            self._ears.warn(PUMPS)
            self._keep_note(NOTICE, {"event": NOTICE, "at": self._listener.at, "said": PUMPS})

    def _keep_sound(
        self, samples: NDArray[np.float32], at: NDArray[np.float64], table: NDArray[np.float32]
    ) -> None:
        self._keep(lambda journal: journal.sound(samples))
        if len(at):
            self._keep(lambda journal: journal.rows(at, table))

    def _keep_note(self, name: str, body: Mapping[str, Any] | None) -> None:
        if body is not None:
            self._keep(lambda journal: journal.event(name, body["at"], body))

    def _say(self, events: Iterable[Event]) -> None:
        for event in events:
            self._ears.at_once(event)
            if isinstance(event, Alarm):
                self._alarms.append(event)
            self._note(event)
            self._ears.event(event)
            if isinstance(event, Alarm) and (why := self._ears.at_alarm(event)):
                self._ears.refused(why)
            if isinstance(event, Heard):
                self._old = 0.0  # what is old all the same is told anew

    def _note(self, event: Event) -> None:
        body = to_dict(event)
        self._keep(lambda journal: journal.event(str(body["event"]), event.at, body))

    def _heed(self, press: Press) -> None:
        """Do what a person asks for; what cannot be done is refused with a warning."""
        of, before = _meant(press, self._listener), self._listener.locator.place(self._listener.at)
        try:
            said = self._obey(press)
        except ValueError as error:
            self._ears.warn(str(error))
            return
        at = self._listener.at
        body = {"event": PRESSED, "at": at, "kind": press.kind, "line": press.line, **of}
        self._keep(lambda journal: journal.event(PRESSED, at, body))
        self._say(said)
        self._ears.heeded(press, self._listener, before)

    def _obey(self, press: Press) -> list[Event]:
        match press:
            case Press("nothing"):
                if said := self._listener.nothing():
                    return said
                raise ValueError("there is no alarm to take back")
            case Press("tightened"):
                return self._listener.tightened()
            case Press("mark", int(line)):
                return self._listener.mark(line)
        return []

    def note_done(self, *, last: bool) -> None:
        for done in self._ears.done(last):
            self._keep_done(done_to_dict(done, self._listener.at))

    def note_places(self) -> None:
        self._keep_note(PLACES, self._places.rest())

    def _note_lines(self, *, last: bool) -> None:
        for body in self._ears.lines(self._listener.at, last):
            self._keep_note(str(body["event"]), body)

    def _keep_done(self, body: Mapping[str, object]) -> None:
        self._keep(lambda journal: journal.event(ACTION, self._listener.at, body))

    def _keep(self, write: Callable[[Journal], None]) -> None:
        if self._journal is None:
            return
        try:
            write(self._journal)
        except JournalError as error:
            # Once: a journal that has failed does nothing any more, without a word.
            without = "the run" if self._journal.failed else "its sound"
            self._ears.warn(f"{error}; listening goes on without keeping {without}")

    def end(self, trouble: str) -> Outcome:
        self._ears.ends()
        self._leave_what_waits()
        summary = self._listener.end()
        self.note_done(last=True)
        self._note_lines(last=True)
        self.note_places()
        self._say([summary])
        learned = self._heard.learned(self._listener, summary.cut_s)
        self._keep(lambda journal: journal.close(to_dict(summary), learned))
        return Outcome(summary, tuple(self._alarms), trouble)


_TOO_BUSY = (
    f"what is heard now sounded more than {_OLD:.0f} s ago: this computer is too busy; watch the cut yourself"
)


def _meant(press: Press, listener: Listener) -> dict[str, Any]:
    """Return of which bit a person speaks, and whether it was an alarm or a doubt that was nothing."""
    if press.kind == "mark":
        return {}
    bit = {"bit": listener.watcher.meant}
    return bit | {"of": ALARM if listener.watcher.takes_back else DOUBT} if press.kind == "nothing" else bit
