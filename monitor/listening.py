"""``chipsong replay`` and ``chipsong watch``."""

import os
import signal
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from types import FrameType
from typing import NamedTuple

from analysis.errors import ChipsongError, ProgramError, SoundError
from analysis.events import Alarm, Place
from analysis.linesfed import FedLocator, Report
from analysis.listener import Listener
from analysis.pace import Learned
from analysis.program import Program, find_parts
from monitor.actions.beside import action_ears
from monitor.actions.reading import ACTIONS, read_actions
from monitor.actions.telling import at_the_start
from monitor.controls import Controls, Press
from monitor.file_names import readable
from monitor.journal import Journal, home
from monitor.kept.keeping import Keep, now, open_journal
from monitor.kept.pace import keep_pace, read_pace
from monitor.linefeed.feed import line_ears, past_ears
from monitor.linefeed.past import read_past
from monitor.linefeed.reading import reader_for
from monitor.linefeed.where import is_file, source_of
from monitor.memory import giving_back
from monitor.output import going_on_unread, has_failed, waiting_for_nobody, write, write_nowhere
from monitor.press_lines import SAY_TIGHTENED, PressLines
from monitor.resuming import command_for, refusal, write_beside
from monitor.screen import JsonLines, Screen, Shown
from monitor.screen.keys import is_in_front
from monitor.screen.seen import Looking
from monitor.setup import SHELF, Wanted, bits_for, make_listener, read_program, tell_doubts
from monitor.sharing import Job, Sharing
from monitor.shelf.bits import read_shelf
from monitor.shop.address import Shop, machine_named
from monitor.sources import Microphone, Recording, Source
from monitor.sources.unhurried import Unhurried
from monitor.status import Status
from monitor.trouble import warn
from monitor.watch import Ears, Outcome, listen, together
from monitor.words import CAUTIONS, TIGHTENED, carries_on_text, line_of, marked_text


def ears_for(
    screen: Shown,
    on_alarm: Callable[[Alarm], str],
    *,
    stop: Callable[[], bool] = lambda: False,
    asked: Callable[[], Iterable[Press]] = tuple,
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
    asked
        What the person says.
    """

    def act(alarm: Alarm) -> str:
        try:
            screen.alarm(alarm.cause, on_alarm(alarm))
        except ChipsongError as error:
            # An alarm is an alarm where no restart is safe as well: that is told with it.
            why = refusal(error)
            screen.refused(alarm.cause, why)
            return f"There is {why}."
        return ""

    return Ears(screen.event, screen.progress, screen.warn, stop, asked=asked, at_alarm=act, rows=screen.rows)


def told_back(program: Program | None, note: Callable[[str], None]) -> Callable[..., None]:
    """Return what tells a person what was made of what was said, in lines of ``program``."""

    def tell(press: Press, listener: Listener, before: Place | None) -> None:
        if program is not None and press.line is not None:
            note(marked_text(line_of(program, press.line), before))
        elif program is not None and press.kind == "tightened":
            begins = listener.carries_on
            note(carries_on_text(None if begins is None else line_of(program, begins)))

    return tell


@contextmanager
def asked_to_end() -> Iterator[Callable[[], bool]]:
    """
    Turn Ctrl-C, and the system's request to end, into something to ask for; the second one is obeyed at once.

    A run that is ended so has its summary, and no event is lost in the middle of being told. Asking raises
    SoundError when the terminal was closed: nobody meant to end the listening, so whoever is to be told of
    trouble is told.
    """
    asked: list[int] = []
    terminals = [file for file in _SHOWN if os.isatty(file)]

    def note(number: int, _frame: FrameType | None) -> None:
        if number == _CLOSED:
            write_nowhere(terminals)
        elif asked:
            raise KeyboardInterrupt
        asked.append(number)

    def stop() -> bool:
        if _CLOSED in asked:
            raise SoundError("the terminal was closed, and with it the listening has ended")
        return bool(asked)

    # What runs in the background may have been told not to heed Ctrl-C, or the terminal's end.
    heeded = [which for which in _ENDS if signal.getsignal(which) is not signal.SIG_IGN]
    kept = [signal.signal(which, note) for which in heeded]
    try:
        yield stop
    finally:
        for which, handler in zip(heeded, kept, strict=True):
            signal.signal(which, handler)
        if asked and _CLOSED not in asked:
            warn("stopped by hand")


# The signal for a terminal that is gone, where there is one; and for a program that is to leave a core.
_CLOSED: int | None = getattr(signal, "SIGHUP", None)
_QUIT: int | None = getattr(signal, "SIGQUIT", None)
_ENDS = (signal.SIGINT, signal.SIGTERM, *(signal.Signals(which) for which in (_CLOSED, _QUIT) if which))
# Standard output and standard error.
_SHOWN = (1, 2)


def replay(recording: Path, wanted: Wanted, keep: Keep | None, *, as_json: bool) -> Status:
    """Listen to a recording, and keep the run where ``keep`` says how; return the exit status."""
    program = _program_of(wanted)
    # What is kept is for later, whoever reads now; a replay that nobody reads nor keeps is to end.
    reading = going_on_unread() if keep else nullcontext()
    # Where the cut was is kept once a block.
    with reading, Recording(recording, _NOTED if keep else AT_ONCE) as source, asked_to_end() as stop:
        past = _past(wanted)
        listener = make_listener(source.rate, program, wanted, home(), warn, past=past)
        _tell_unused(wanted, past, listener, source.frames / source.rate)
        journal = open_journal(readable(recording.stem), wanted, program, source.rate, keep) if keep else None
        with JsonLines() if as_json else Screen(sys.stdout) as screen:
            ears = ears_for(screen, lambda alarm: _how_to_resume(alarm, wanted), stop=stop)
            ears = replace(ears, progress=giving_back(ears.progress))
            outcome = listen(source, listener, together(ears, past_ears(past)), journal)
    _tell_kept(journal, as_json=as_json)
    status = _status(outcome)
    lost = keep is not None and (journal is None or journal.failed)
    return Status.FAILED if lost and status is Status.FINE else status


AT_ONCE = 3.0
"""Seconds of a recording that are heard at once."""

# The same where the run is kept.
_NOTED = 1.0


def _past(wanted: Wanted) -> tuple[Report, ...]:
    """Return the line numbers of a cut that is over, where there are any."""
    if wanted.lines is None:
        return ()
    if not is_file(wanted.lines):
        raise ChipsongError("to replay, line numbers are read from a file: give --lines FILE")
    past = read_past(Path(wanted.lines), reader_for(wanted.lines_pattern))
    if past.garbled:
        lines = past.garbled + len(past.reports)
        warn(f"{wanted.lines}: {past.garbled} of {lines} lines were passed over as garbled")
    return past.reports


def _tell_unused(wanted: Wanted, past: tuple[Report, ...], listener: Listener, end: float) -> None:
    """Say how many line numbers tell nothing of what was heard up to ``end``, s, and why."""
    late = sum(report.at > end for report in past)
    if late:
        warn(f"{wanted.lines}: {late} of {len(past)} line numbers came after the recording's end")
    locator = listener.locator
    odd = sum(not locator.names(report) for report in past) if isinstance(locator, FedLocator) else 0
    if odd:
        lacks = f"the program lacks {odd}, or has them twice: is it the one that was cut?"
        warn(f"{wanted.lines}: of {len(past)} line numbers {lacks}")


# Below this score an alarm is not near, and hearing need not hurry: so many blocks are heard at once. Even a
# plain slip takes longer to become certain.
_CALM, _AT_ONCE = 0.1, 4


def in_calm(source: Source, listener: Listener) -> Source:
    """Return what a microphone gives, some blocks at once while no alarm is near."""
    return Unhurried(source, lambda: listener.watcher.score < _CALM, _AT_ONCE)


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
    keep
        What is kept of the run.
    page
        Who may see the live page; ``None`` for no page.
    control
        Whether standard input tells what a person says.
    shop, machine
        Where the machine is announced, and as what; ``None`` for nowhere, and for this computer's name.
    """

    device: str | None
    rate: int | None
    seconds: float | None
    title: str | None
    keep: Keep
    page: Sharing | None = None
    control: bool = False
    shop: Shop | None = None
    machine: str | None = None


@going_on_unread()
@waiting_for_nobody()
def watch(live: Live, wanted: Wanted, *, as_json: bool) -> Status:
    """Listen to the microphone, whoever still reads what is written; return the exit status."""
    actions = read_actions(home() / ACTIONS)
    program = _program_of(wanted)
    if program is not None:
        wanted = replace(wanted, pace=read_pace(home(), machine_named(live.machine)))
    if live.page is not None:
        # It may take a minute to load the first time: what a microphone heard meanwhile would be heard late.
        import monitor.page.beside  # noqa: F401, PLC0415 - only where there is a page
    source = Microphone(live.device, live.rate)
    listener = make_listener(source.rate, program, wanted, home(), warn, microphone=source.name)
    called = live.title or (readable(wanted.program.stem) if wanted.program else "watch")
    title = " ".join(called.split())  # whatever a file is called, it stands on a line
    with source, asked_to_end() as asked:
        journal = open_journal(title, wanted, program, source.rate, live.keep, microphone=source.name)
        over, controls = _after(live.seconds), Controls()
        screen = (
            JsonLines()
            if as_json
            else _screen(f"{title}, listening to {source.name}", program, controls, _to_press(live))
        )
        if not as_json:
            screen.note(_greeting(source, journal, live.keep))
        for line in at_the_start(actions):
            screen.note(line)
        lines = PressLines(sys.stdin, screen.warn) if live.control else None
        ears = ears_for(
            screen,
            lambda alarm: _write_restart(alarm, wanted, program, journal),
            stop=lambda: asked() or over(),
            asked=lambda: (*controls.take(), *(lines.take() if lines else ())),
        )
        told = Ears() if as_json else Ears(heeded=told_back(program, screen.note))
        acting = action_ears(actions, screen.note)
        about = _About(title, wanted.program, program, journal)
        job = Job(bits_for(wanted, program, read_shelf(home() / SHELF)), program, journal)
        with (
            _lines(wanted, listener, screen.note) as fed,
            _shop(live, about, screen.note) as announcing,
            _page(live, job, source, screen.note) as (serving, passing),
            screen,
            lines or nullcontext(),
        ):
            ears = together(_telling(screen), ears, told, acting, fed, announcing, serving)
            outcome = listen(in_calm(passing, listener), listener, ears, journal)
    _keep_pace(live, wanted.pace, listener)
    _tell_kept(journal, as_json=as_json)
    return _status(outcome)


def _keep_pace(live: Live, began_with: Learned, listener: Listener) -> None:
    """Keep what was learned of the machine for its next run."""
    learned = listener.learned
    if learned == began_with:
        return
    try:
        keep_pace(home(), machine_named(live.machine), learned)
    except ChipsongError as error:
        warn(str(error))


class _About(NamedTuple):
    """What a machine says of its run."""

    title: str
    path: Path | None
    program: Program | None
    journal: Journal | None


def _shop(live: Live, about: _About, show: Callable[[str], None]) -> AbstractContextManager[Ears]:
    """Return ears that announce this machine, where the user said where."""
    if live.shop is None:
        return nullcontext(Ears())
    from monitor.shop.announcer import Machine  # noqa: PLC0415 - only where there is a shop
    from monitor.shop.beside import shop_ears  # noqa: PLC0415
    from monitor.shop.told import run_apart  # noqa: PLC0415

    journal = about.journal
    run = journal.id if journal else f"{now():%Y-%m-%d-%H%M%S}-not-kept"
    path, folder = readable(about.path) if about.path else None, journal.folder if journal else None
    machine = Machine(machine_named(live.machine), run_apart(run), about.title, path, home(), folder)
    return shop_ears(live.shop, machine, about.program, show)


def _lines(wanted: Wanted, listener: Listener, show: Callable[[str], None]) -> AbstractContextManager[Ears]:
    """Return ears that take line numbers from outside, where the user said where from."""
    if wanted.lines is None or not isinstance(listener.locator, FedLocator):
        return nullcontext(Ears())
    read = reader_for(wanted.lines_pattern)
    return line_ears(source_of(wanted.lines), read, listener.locator, show)


@contextmanager
def _page(live: Live, job: Job, source: Source, show: Callable[[str], None]) -> Iterator[tuple[Ears, Source]]:
    """Serve the live page if it is wanted; give its ears, and the source that it hears too."""
    if live.page is None:
        yield Ears(), source
        return
    from monitor.page.beside import page_beside  # noqa: PLC0415 - only where there is a page

    with page_beside(job, source, live.page, show) as joined:
        yield joined


def _telling(screen: Shown) -> Ears:
    """Return ears that tell a screen that the loop goes on or ends, and what is said, be it elsewhere."""

    def asked() -> tuple[()]:
        screen.alive()
        return ()

    return Ears(asked=asked, heeded=lambda press, _listener, _before: screen.heeded(press), ends=screen.ends)


def _to_press(live: Live) -> str:
    """Return how a person says without keys that the bit was tightened; empty where that can't be said."""
    if live.page:
        return f'Press "{TIGHTENED}" on the page.'
    return SAY_TIGHTENED if live.control else ""


def _screen(title: str, program: Program | None, controls: Controls, press: str) -> Shown:
    """Return the screen, where there is a terminal for it; else plain lines."""
    if not is_in_front(sys.stdout) or os.environ.get("TERM", "") in _NO_SCREEN:
        return Screen(sys.stdout, press=press)
    from monitor.screen.board import Board  # noqa: PLC0415 - a terminal only

    parts = find_parts(program) if program else ()
    return Board(sys.stdout, sys.stdin, title, Looking(parts), controls, press=press)


# Terminals, by their name, that can't place what is written.
_NO_SCREEN = ("", "dumb", "unknown")


def _program_of(wanted: Wanted) -> Program | None:
    """Return the program that is cut, and say what in it is odd or in doubt."""
    if wanted.program is None:
        return None
    program = read_program(wanted.program, warn, units=wanted.units, top=wanted.top)
    tell_doubts(program, warn)
    return program


def _after(seconds: float | None) -> Callable[[], bool]:
    if seconds is None:
        return lambda: False
    end = time.monotonic() + seconds
    return lambda: time.monotonic() >= end


def _greeting(source: Microphone, journal: Journal | None, keep: Keep) -> str:
    kept = keep.told(journal.folder) if journal else "The run is not kept."
    return "\n".join([f"Listening to {source.name} at {source.rate} Hz. End with Ctrl-C.", kept, *CAUTIONS])


def _how_to_resume(alarm: Alarm, wanted: Wanted) -> str:
    if wanted.program is None:
        return ""
    if alarm.resume is None:
        look = "find in the work where it began, and its line"
        command = command_for(wanted.program, units=wanted.units, top=wanted.top)
        return f"No restart program, for the place is unknown: {look}, then {command}"
    command = command_for(wanted.program, alarm.resume.file, units=wanted.units, top=wanted.top)
    return f"Restart program: {command}"


def _write_restart(alarm: Alarm, wanted: Wanted, program: Program | None, journal: Journal | None) -> str:
    """Write the restart program at once where there is a place for it; return what to tell the user."""
    if journal is None or program is None or wanted.program is None or alarm.resume is None:
        return _how_to_resume(alarm, wanted)
    try:
        return write_beside(program, alarm.resume.file, journal.folder)[1]
    except ProgramError:
        raise
    except ChipsongError as error:  # a full disk, mostly
        advice = command_for(wanted.program, alarm.resume.file, units=wanted.units, top=wanted.top)
        raise ChipsongError(f"{error}; where there is room: {advice}") from error


def _tell_kept(journal: Journal | None, *, as_json: bool) -> None:
    if journal is not None and not journal.failed and not as_json:
        write(sys.stdout, f"Kept: {journal.folder}\n")


def _status(outcome: Outcome) -> Status:
    """Return the exit status; a run in which nothing could be heard, or not all be told, is no success."""
    if outcome.trouble:
        warn(outcome.trouble)
    elif outcome.summary.heard_s == 0.0:
        warn("nothing usable was heard from beginning to end: check the microphone or the recording")
    if outcome.alarms:
        return Status.ALARM
    failed = outcome.trouble or outcome.summary.heard_s == 0.0 or has_failed(sys.stdout)
    return Status.FAILED if failed else Status.FINE
