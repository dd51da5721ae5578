"""The screen: drawn by a thread of its own, so that a terminal that hangs never holds up the hearing."""

import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from typing import Self, TextIO

from rich.console import Console, Group
from rich.live import Live
from rich.text import Text

from analysis.events import Cause, Event, StateChange
from analysis.listener import Listener, Step
from monitor.controls import Controls, Press
from monitor.screen.keys import Keyboard, single_keys, typed_within
from monitor.screen.lines import Screen
from monitor.screen.seen import Looking, Seen, after, cuts, looked, said_by_hand
from monitor.screen.view import Line, picture
from monitor.trouble import one_line
from monitor.words import is_urgent

_EVERY = 0.25
_LOOK_EVERY = 0.4

# s that the drawing thread gets to end: a terminal that hangs must not hold up the end.
_PATIENCE = 2.0

# s without a block, or word that none came, after which nobody listens.
_HUNG = 2.0

# s for which trouble stands above the keys, whatever else there is to be read.
_TROUBLE_STANDS = 15.0

# What is told again in plain lines when the screen is gone: so many things at most.
_TOLD_AGAIN = 200

_STYLES = {
    "plain": "",
    "quiet": "dim",
    "good": "bold green",
    "busy": "bold cyan",
    "uneasy": "bold yellow",
    "alarm": "bold red",
}


class Board:
    """
    A screen that shows what is being heard, and takes keys.

    It is on the terminal from entering to leaving; then the terminal is as it was before, and what happened
    is told once more in plain lines.

    Parameters
    ----------
    stdout, stdin
        The terminal. Without one to type on there are no keys.
    title
        What is listened to, and with what.
    looking
        What looks at the listener.
    controls
        Where keys go.
    press
        How a person says without keys that the bit was tightened; empty where that can't be said.

    Notes
    -----
    The loop that listens only puts values where the drawing thread finds them. When drawing fails, the
    terminal is given back and what happens from then on is told in plain lines.
    """

    def __init__(  # noqa: PLR0913 - a terminal's two ends, what it shows, and where what is said goes
        self,
        stdout: TextIO,
        stdin: TextIO,
        title: str,
        looking: Looking,
        controls: Controls,
        *,
        press: str = "",
    ) -> None:
        self._lines = Screen(stdout)
        self._stdin = stdin
        self._console = Console(file=stdout)
        self._dot = "█" if self._console.encoding.startswith("utf") else "#"
        self._looking = looking
        self._controls = controls
        self._keyboard = Keyboard()
        self._terminal = ExitStack()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._show, name="screen", daemon=True)
        self._seen = Seen(title, press=press)
        self._bells = 0
        self._alive = time.monotonic()
        self._next = 0.0
        self._keys: int | None = None
        self._broken = ""
        self._trouble, self._trouble_until = "", 0.0
        self._told: deque[Callable[[], None]] = deque(maxlen=_TOLD_AGAIN)

    # --- what the loop that listens tells -------------------------------------------------------------------

    def event(self, event: Event) -> None:
        """Show an event."""
        self._seen = after(self._seen, event)
        self._bells += is_urgent(event)
        if isinstance(event, StateChange):
            self._next = 0.0  # what is heard must not contradict it
        else:
            self._tell(lambda: self._lines.event(event))

    def alarm(self, cause: Cause, done: str) -> None:
        """Show what was done at an alarm, beside what to do."""
        self._seen = replace(self._seen, done=done)
        self._tell(lambda: self._lines.alarm(cause, done))

    def refused(self, cause: Cause, why: str) -> None:
        """Show why there is no restart program, beside what to do."""
        self.alarm(cause, f"There is {why}")
        self._seen = replace(self._seen, refused=True)

    def note(self, text: str) -> None:
        """Show a remark."""
        said = tuple(text.splitlines())
        if self._is_shown:
            self._seen = replace(self._seen, last=said)
        else:
            self._seen = replace(self._seen, start=(*self._seen.start, *said))
        self._tell(lambda: self._lines.note(text))

    def warn(self, text: str) -> None:
        """Show trouble, and for some time where it is seen whatever else is shown."""
        self._trouble, self._trouble_until = text, time.monotonic() + _TROUBLE_STANDS
        self.note(text)

    def rows(self, step: Step) -> None:
        """Take in what came of a block."""
        self._looking.take(step)

    def progress(self, listener: Listener) -> None:
        """Look at what is being heard, unless that was just done."""
        if time.monotonic() >= self._next:
            self._next = time.monotonic() + _LOOK_EVERY
            self._seen = looked(self._seen, self._looking.look(listener))

    def alive(self) -> None:
        """Take in the sign that somebody still listens."""
        self._alive = time.monotonic()
        if self._broken:
            self._lines.alive()

    def ends(self) -> None:
        """Show that nobody listens any more, nor takes what is pressed."""
        self._seen = replace(self._seen, over=True, keys=False, press="")
        self._lines.ends()

    def heeded(self, press: Press) -> None:
        """Show what a person has said."""
        self._seen = said_by_hand(self._seen, press)

    def _tell(self, in_lines: Callable[[], None]) -> None:
        """Tell something in plain lines: now where there is no screen, else when it is left."""
        self._told.append(in_lines)
        if self._broken or not self._is_shown:
            self._tell_again()

    @property
    def _is_shown(self) -> bool:
        return self._thread.ident is not None and not self._over.is_set()

    # --- the terminal ---------------------------------------------------------------------------------------

    def __enter__(self) -> Self:
        """Take the terminal."""
        self._keys = self._terminal.enter_context(single_keys(self._stdin))
        self._seen = replace(self._seen, keys=self._keys is not None)
        self._alive = time.monotonic()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Give the terminal back, whatever happened."""
        self._over.set()
        try:
            self._thread.join(_PATIENCE)
        finally:
            self._terminal.close()
        self._tell_again()

    def _tell_again(self) -> None:
        while self._told:
            self._told.popleft()()

    def _show(self) -> None:
        try:
            with Live(
                console=self._console,
                screen=True,
                auto_refresh=False,
                redirect_stdout=False,
                redirect_stderr=False,
            ) as live:
                self._keep_drawing(live)
        except Exception as error:  # noqa: BLE001 - whatever it is, it must not end the hearing
            self._broken = one_line(error)
            self._told.append(lambda: self._lines.warn(f"the screen broke down ({self._broken})"))

    def _keep_drawing(self, live: Live) -> None:
        drawn, rung = None, 0
        while not self._over.is_set():
            lines = self._picture()
            if lines != drawn:
                live.update(_drawn(lines), refresh=True)
                drawn = lines
            if self._bells != rung:
                rung = self._bells
                self._console.bell()
            self._wait()

    def _picture(self) -> list[Line]:
        hung = time.monotonic() - self._alive
        seen = replace(
            self._seen,
            question=self._keyboard.question,
            trouble=self._trouble if time.monotonic() < self._trouble_until else "",
            info=self._keyboard.info,
            hung=hung if hung > _HUNG else 0.0,
        )
        return picture(seen, *self._console.size, self._dot)

    def _wait(self) -> None:
        """Wait for a key, or until it is time to draw again."""
        if self._keys is None:
            self._over.wait(_EVERY)
            return
        typed = typed_within(self._keys, _EVERY)
        if typed is None:
            self._keys = None
            return
        self._keyboard.cuts = cuts(self._seen)
        for press in self._keyboard.feed(typed):
            self._controls.press(press)


def _drawn(lines: list[Line]) -> Group:
    return Group(*(Text(line.text, _STYLES[line.style], no_wrap=True, overflow="crop") for line in lines))
