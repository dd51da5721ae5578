"""Where the listening itself stands still, others are told: it cannot say so any more."""

import threading
from collections.abc import Callable
from typing import Final

from analysis.events import Deaf, Event, Heard

# s from one look to the next, and after how many looks without a sign of life in between it stands still.
_LOOK: Final = 0.5
_STILL: Final = 4


class Standstill:
    """
    Looks for signs of life of the loop that listens, in a thread of its own from the first one on.

    Looks are counted, and not seconds: while the computer sleeps, or this process is stopped, nobody looks.

    Parameters
    ----------
    tell
        Gets `Deaf` when the loop stands still and `Heard` when it goes on, on the thread that looks.

    Attributes
    ----------
    at
        How far the listening has come, s from the first sample; whoever listens keeps it up to date.
    """

    def __init__(self, tell: Callable[[Event], None]) -> None:
        self._tell = tell
        self.at = 0.0
        self._signs = self._seen = self._still = 0
        self._deaf = False
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="standstill", daemon=True)

    # --- on the thread that listens -------------------------------------------------------------------------

    def alive(self) -> None:
        """Take in that the listening goes on."""
        self._signs += 1
        if self._signs == 1:
            self._thread.start()

    def see(self, event: Event) -> None:
        """Take in what the listening says itself: one that is deaf is not heard because it goes on."""
        if isinstance(event, Deaf | Heard):
            self._deaf = isinstance(event, Deaf)

    def end(self) -> None:
        """Look no more."""
        self._over.set()

    # --- on the thread that looks ---------------------------------------------------------------------------

    def look(self) -> None:
        """Look for a sign of life since the last look."""
        signs, still = self._signs, self._still
        if signs == self._seen:
            self._still += 1
            if self._still == _STILL:
                self._tell(Deaf(self.at, "the listening itself hangs: look at the machine"))
            return
        self._seen, self._still = signs, 0
        if still >= _STILL and not self._deaf:
            self._tell(Heard(self.at, "the listening goes on"))

    def _run(self) -> None:
        while not self._over.wait(_LOOK):
            self.look()
