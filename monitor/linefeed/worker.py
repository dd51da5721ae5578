"""A thread in which a source runs, and runs again when it fails."""

import threading

from monitor.linefeed.reading import Reader
from monitor.linefeed.source import Outlet, Source
from monitor.trouble import one_line

# The pause before a source is tried again, s: at first, and at the most.
_SOON, _LATE = 0.5, 5.0


class Worker:
    """
    Runs a source until it is closed. Nothing that the source does holds up whoever takes from ``out``.

    Parameters
    ----------
    source
        What gives line numbers.
    read
        Reads lines of text.
    """

    def __init__(self, source: Source, read: Reader) -> None:
        self.source = source
        self.out = Outlet(read)
        self._thread = threading.Thread(target=self._run, name=f"lines from {source.name}", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        pause = _SOON
        while not self.out.over.is_set():
            try:
                self.source.run(self.out)
            except Exception as error:  # noqa: BLE001 - whatever fails here is said, and listening goes on
                self.out.trouble(one_line(error))
            else:
                if not self.out.over.is_set():
                    self.out.trouble("it has ended, and no more line numbers will come")
                return
            self.out.over.wait(pause)
            pause = min(2 * pause, _LATE)

    def close(self, within: float = 1.0) -> None:
        """End the source; one that hangs is left to itself after so many seconds."""
        self.out.over.set()
        self._thread.join(within)
