"""One line on the terminal that shows what is being heard now."""

import shutil
from typing import TextIO

from analysis.listener import Listener
from monitor.words import clock, place

_BAR = 12


class Screen:
    """
    Keeps one line up to date below the events; on a plain pipe only the events are written.

    Parameters
    ----------
    stream
        Where to write.
    every
        Seconds of sound between two updates.
    """

    def __init__(self, stream: TextIO, every: float = 0.5) -> None:
        self._stream = stream
        self._every = every
        self._next = 0.0
        self._shown = ""
        self._live = stream.isatty()

    def event(self, text: str) -> None:
        """Write an event above the line."""
        self._clear()
        self._stream.write(text + "\n")
        self._show(self._shown)

    def alarm(self, text: str) -> None:
        """Write what to do after an alarm, and ring the terminal's bell."""
        self.event(f"\a{text}" if self._live else text)

    def progress(self, listener: Listener) -> None:
        """Bring the line up to date."""
        if not self._live or listener.at < self._next:
            return
        self._next = listener.at + self._every
        self._clear()
        self._show(progress_text(listener))

    def close(self) -> None:
        """Take the line away."""
        self._clear()
        self._shown = ""
        self._stream.flush()

    def _clear(self) -> None:
        if self._shown:
            self._stream.write("\r" + " " * len(self._shown) + "\r")

    def _show(self, text: str) -> None:
        # A line that is longer than the terminal is wide could not be taken away.
        self._shown = text[: shutil.get_terminal_size().columns - 1] if self._live else ""
        self._stream.write(self._shown)
        self._stream.flush()


def progress_text(listener: Listener) -> str:
    """Return what is being heard now, in one line."""
    where = listener.locator.place(listener.at)
    score = min(listener.watcher.score, 1.0)
    bar = "#" * round(score * _BAR)
    return (
        f"{clock(listener.at):>8}  {listener.watcher.state.upper():8}"
        f"{place(where) if where else 'place unknown':22}"
        f"{listener.phase.value:4} {listener.speed * 60:6.0f} rpm  alarm at full [{bar:.<{_BAR}}]"
    )
