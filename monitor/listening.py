"""``chipsong replay`` and ``chipsong watch``."""

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import FrameType

from analysis.errors import ChipsongError, JournalError
from analysis.events import Alarm, Event
from analysis.listener import COLUMNS
from analysis.program import Program, find_parts
from monitor.actions.beside import with_actions
from monitor.actions.reading import ACTIONS, read_actions
from monitor.actions.telling import at_the_start
from monitor.bits import read_shelf
from monitor.controls import Controls, Press
from monitor.journal import Journal, home
from monitor.kept import bits_to_plain, keep_program
from monitor.resuming import refusal, write_beside
from monitor.screen import JsonLines, Screen, Shown
from monitor.screen.keys import is_in_front
from monitor.screen.seen import Looking
from monitor.setup import SHELF, Wanted, bits_for, make_listener, read_program
from monitor.sources import Microphone, Recording
from monitor.status import Status
from monitor.trouble import warn
from monitor.watch import Ears, Outcome, listen
from monitor.words import CAUTIONS


def now() -> datetime:
    """Return the time on the wall."""
    return datetime.now().astimezone()


def ears_for(
    screen: Shown,
    on_alarm: Callable[[Alarm], str],
    *,
    stop: Callable[[], bool] = lambda: False,
    controls: Controls | None = None,
) -> Ears:
    """
    Return ears that show each event.

    Parameters
    ----------
    screen
        What shows it.
    on_alarm
        What is done at an alarm; returns what to tell of it, in words.
    stop
        When to stop.
    controls
        What the person says.
    """
    said_by_hand = controls or Controls()

    def say(event: Event) -> None:
        screen.event(event)
        if isinstance(event, Alarm):
            act(event)

    def act(alarm: Alarm) -> None:
        try:
            screen.alarm(on_alarm(alarm))
        except ChipsongError as error:
            # An alarm is an alarm where no restart is safe as well: that is told with it.
            screen.refused(refusal(error))

    def asked() -> tuple[Press, ...]:
        presses = said_by_hand.take()
        screen.pressed(presses)
        return presses

    return Ears(say, screen.progress, screen.warn, stop, asked=asked, rows=screen.rows)


@contextmanager
def asked_to_end() -> Iterator[Callable[[], bool]]:
    """
    Turn Ctrl-C, and the system's request to end, into something to ask for; the second one is obeyed at once.

    A run that is ended so has its summary, and no event is lost in the middle of being told.
    """
    asked: list[int] = []

    def note(number: int, _frame: FrameType | None) -> None:
        if asked:
            raise KeyboardInterrupt
        asked.append(number)

    # What runs in the background may have been told not to heed Ctrl-C.
    heeded = [which for which in _ENDS if signal.getsignal(which) is not signal.SIG_IGN]
    kept = [signal.signal(which, note) for which in heeded]
    try:
        yield lambda: bool(asked)
    finally:
        for which, handler in zip(heeded, kept, strict=True):
            signal.signal(which, handler)
        if asked:
            warn("stopped by hand")


_ENDS = (signal.SIGINT, signal.SIGTERM)


def replay(recording: Path, wanted: Wanted, *, as_json: bool, keep: bool) -> Status:
    """Listen to a recording; return the exit status."""
    program = read_program(wanted.program, warn) if wanted.program else None
    with Recording(recording) as source, asked_to_end() as stop:
        listener = make_listener(source.rate, program, wanted, home(), warn)
        journal = _open(recording.stem, wanted, program, source.rate, keep_sound=True) if keep else None
        with JsonLines() if as_json else Screen(sys.stdout) as screen:
            ears = ears_for(screen, lambda alarm: _how_to_resume(alarm, wanted), stop=stop)
            outcome = listen(source, listener, ears, journal)
    _tell_kept(journal, as_json=as_json)
    return _status(outcome)


@dataclass(frozen=True)
class Live:
    """
    How to listen live.

    Attributes
    ----------
    device, rate
        Which microphone, and its samples per second.
    seconds
        After how many to stop, by the clock: a microphone that gives nothing must not hold up the end.
    title
        What to call the run.
    keep_sound
        Whether sound is kept.
    """

    device: str | None
    rate: int | None
    seconds: float | None
    title: str | None
    keep_sound: bool


def watch(live: Live, wanted: Wanted, *, as_json: bool) -> Status:
    """Listen to the microphone; return the exit status."""
    actions = read_actions(home() / ACTIONS)
    program = read_program(wanted.program, warn) if wanted.program else None
    source = Microphone(live.device, live.rate)
    listener = make_listener(source.rate, program, wanted, home(), warn)
    title = live.title or (wanted.program.stem if wanted.program else "watch")
    with source, asked_to_end() as asked:
        journal = _open(title, wanted, program, source.rate, keep_sound=live.keep_sound)
        over, controls = _after(live.seconds), Controls()
        first: Shown = JsonLines() if as_json else Screen(sys.stdout)
        if not as_json:
            first.note(_greeting(source, journal, keep_sound=live.keep_sound))
        for line in at_the_start(actions):
            first.note(line)
        with (
            first
            if as_json
            else _screen(first, f"{title}, listening to {source.name}", program, controls) as screen
        ):
            ears = ears_for(
                screen,
                lambda alarm: _write_restart(alarm, wanted, program, journal),
                stop=lambda: asked() or over(),
                controls=controls,
            )
            outcome = listen(source, listener, with_actions(ears, actions, screen.note), journal)
    _tell_kept(journal, as_json=as_json)
    return _status(outcome)


def _screen(lines: Shown, title: str, program: Program | None, controls: Controls) -> Shown:
    """Return the screen, where there is a terminal for it; else ``lines``."""
    if not is_in_front(sys.stdout) or os.environ.get("TERM", "") in _NO_SCREEN:
        return lines
    from monitor.screen.board import Board  # noqa: PLC0415 - a terminal only

    parts = find_parts(program) if program else ()
    return Board(sys.stdout, sys.stdin, title, Looking(parts), controls)


# Terminals, by their name, that can't place what is written.
_NO_SCREEN = ("", "dumb", "unknown")


def _after(seconds: float | None) -> Callable[[], bool]:
    if seconds is None:
        return lambda: False
    end = time.monotonic() + seconds
    return lambda: time.monotonic() >= end


def _greeting(source: Microphone, journal: Journal | None, *, keep_sound: bool) -> str:
    sound = "; voices near the microphone are on it too" if keep_sound else ", without its sound"
    kept = f"The run is kept in {journal.folder}{sound}." if journal else "The run is not kept."
    return "\n".join([f"Listening to {source.name} at {source.rate} Hz. End with Ctrl-C.", kept, *CAUTIONS])


def _how_to_resume(alarm: Alarm, wanted: Wanted) -> str:
    if alarm.resume is None or wanted.program is None:
        return ""
    return f"Restart program: chipsong resume {wanted.program} --line {alarm.resume.file}"


def _write_restart(alarm: Alarm, wanted: Wanted, program: Program | None, journal: Journal | None) -> str:
    """Write the restart program at once where there is a place for it; return what to tell the user."""
    if journal is None or program is None or alarm.resume is None:
        return _how_to_resume(alarm, wanted)
    return write_beside(program, alarm.resume.file, journal.folder)[1]


def _open(
    title: str, wanted: Wanted, program: Program | None, rate: int, *, keep_sound: bool
) -> Journal | None:
    meta = {
        "program": str(wanted.program) if wanted.program else None,
        "bit": wanted.bit,
        "rpm": wanted.speed,
        "flutes": wanted.flutes,
        "diameter": wanted.diameter,
        "bits": bits_to_plain(bits_for(wanted, program, read_shelf(home() / SHELF))),
    }
    try:
        journal = Journal.create(
            home(), title, meta, rate=rate, columns=COLUMNS, keep_sound=keep_sound, now=now
        )
    except JournalError as error:
        warn(f"{error}; listening goes on without keeping the run")
        return None
    if wanted.program:
        keep_program(journal.folder, wanted.program)
    return journal


def _tell_kept(journal: Journal | None, *, as_json: bool) -> None:
    if journal is not None and not journal.failed and not as_json:
        sys.stdout.write(f"Kept: {journal.folder}\n")


def _status(outcome: Outcome) -> Status:
    """Return the exit status; a run in which nothing could be heard is no success."""
    if outcome.trouble:
        warn(outcome.trouble)
    elif outcome.summary.heard_s == 0.0:
        warn("nothing usable was heard from beginning to end: check the microphone or the recording")
    if outcome.alarms:
        return Status.ALARM
    return Status.FAILED if outcome.trouble or outcome.summary.heard_s == 0.0 else Status.FINE
