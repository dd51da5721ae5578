"""Plain lines: what happens, and on a terminal, below it, one line that shows what is being heard now."""

import shutil
import threading
from typing import Self, TextIO

from analysis.events import Alarm, Cause, Deaf, Event, Heard
from analysis.listener import Listener, Step
from analysis.presence import Phase
from monitor.controls import Press
from monitor.output import write
from monitor.standstill import Standstill
from monitor.trouble import warn
from monitor.words import clock, event_text, is_urgent, place, what_to_do

_BAR = 12

# What is not heard may turn all the same.
_PHASES = {Phase.OFF: "--", Phase.AIR: "air", Phase.CUT: "cut"}


class Screen:
    """
    Keeps one line up to date below the events; on a plain pipe only the events are written.

    Once the loop that listens has given a sign of life, that it hangs is written by a thread of its own.

    Parameters
    ----------
    stream
        Where to write.
    every
        Seconds of sound between two updates.
    press
        How a person says that the bit was tightened; empty where that can't be said.
    """

    def __init__(self, stream: TextIO, every: float = 0.5, press: str = "") -> None:
        self._stream = stream
        self._every = every
        self._press = press
        self._next = 0.0
        self._shown = ""
        self._live = stream.isatty()
        self._deaf = False
        self._standstill = Standstill(self._stands_still)
        self._lock = threading.RLock()

    def event(self, event: Event) -> None:
        """Write an event above the line, in words; an alarm's bell comes with what to do."""
        self._standstill.see(event)
        self._tell(event)

    def _stands_still(self, event: Event) -> None:
        """Write that the loop hangs, or goes on; what the line shows is of long ago."""
        self._show("")
        self._tell(event)

    def _tell(self, event: Event) -> None:
        text = event_text(event)
        if isinstance(event, Deaf | Heard):
            self._deaf = isinstance(event, Deaf)
        rings = self._live and is_urgent(event) and not isinstance(event, Alarm)
        self.note(f"\a{text}" if rings else text)

    def note(self, text: str) -> None:
        """Write a remark above the line."""
        self._show(self._shown, above=f"{text}\n")

    def alarm(self, cause: Cause, done: str) -> None:
        """Write what to do after an alarm and what was done, and ring the terminal's bell."""
        text = f"{what_to_do(cause, self._press)}\n{done}".strip()
        self.note(f"\a{text}" if self._live else text)

    def refused(self, cause: Cause, why: str) -> None:
        """Write what to do after an alarm, and why there is no restart program."""
        self.alarm(cause, f"There is {why}")

    def warn(self, text: str) -> None:
        """Write trouble to standard error, which may be the same terminal."""
        with self._lock:
            shown = self._shown
            self._show("")
            warn(text)
            self._show(shown)

    def progress(self, listener: Listener) -> None:
        """Bring the line up to date."""
        self._standstill.at = listener.at
        if not self._live or listener.at < self._next:
            return
        self._next = listener.at + self._every
        self._show(progress_text(listener, deaf=self._deaf))

    def rows(self, step: Step) -> None:
        """Do nothing: the listener tells enough for one line."""

    def alive(self) -> None:
        """Take in the sign that somebody still listens."""
        self._standstill.alive()

    def ends(self) -> None:
        """Wait for no more signs of life."""
        self._standstill.end()

    def heeded(self, press: Press) -> None:
        """Do nothing: what came of it is told."""

    def __enter__(self) -> Self:
        """Give itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Take the line away."""
        self.close()

    def close(self) -> None:
        """Take the line away."""
        self.ends()
        self._show("")

    def _show(self, text: str, above: str = "") -> None:
        """Show a line in place of the last one, which goes away; ``above`` it what stays."""
        with self._lock:
            cleared = "\r" + " " * len(self._shown) + "\r" if self._shown else ""
            # A line that is longer than the terminal is wide could not be taken away.
            self._shown = text[: shutil.get_terminal_size().columns - 1] if self._live else ""
            write(self._stream, cleared + above + self._shown)


def progress_text(listener: Listener, *, deaf: bool = False) -> str:
    """
    Return what is being heard now, in one line that fits a terminal of 80 columns.

    Parameters
    ----------
    listener
        What hears it.
    deaf
        Whether nobody listens now, be it that what is heard is old; that hides no alarm.
    """
    where = listener.locator.place(listener.at)
    bar = "#" * round(min(listener.watcher.score, 1.0) * _BAR)
    # Where no spindle is heard, what is heard at its place is noise and no speed; of what nobody hears
    # nothing is known.
    state = "deaf" if deaf and listener.watcher.state != "alarm" else listener.watcher.state
    deaf = state == "deaf"
    speed = "" if deaf or listener.phase is Phase.OFF else f"{60 * listener.speed:.0f} rpm"
    phase = "" if deaf else _PHASES[listener.phase]
    return (
        f"{clock(listener.at):>8}  {state.upper():8} "
        f"{place(where) if where else 'place unknown':22} "
        f"{phase:4} {speed:>9}  alarm [{bar:.<{_BAR}}]"
    )
