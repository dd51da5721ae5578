"""A worker for each action: none waits for another, and nobody waits for them."""

import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from analysis.events import Event
from monitor.actions.bounded import Bounded
from monitor.actions.kind import Action, Done
from monitor.actions.message import Message, message_of
from monitor.actions.waiting import Item, Waiting
from monitor.trouble import one_line

# Events that may wait for an action that hangs.
_MOST = 8

# A kind gives up by itself at its limit and says why. One that does not is left so much later.
_GRACE = 0.5

# The longest pause between two tries, s.
_LONGEST_PAUSE = 8.0


class Crew:
    """
    Fires actions, each in a worker of its own.

    Parameters
    ----------
    actions
        What is to be done, and when.
    told
        Gets what became of each, on the worker's thread; it must not block, and not raise.
    pause
        s between the first two tries of an action; then twice as long, up to 8 s.
    """

    def __init__(
        self, actions: Sequence[Action], told: Callable[[Done], None], *, pause: float = 1.0
    ) -> None:
        self._workers = tuple(_Worker(action, told, pause) for action in actions)

    def tell(self, event: Event) -> None:
        """Let the actions fire that are meant to at this event; this never waits for any of them."""
        message = message_of(event)
        if message is not None:
            self.send(message)

    def send(self, message: Message, *, only: str | None = None) -> None:
        """Give a message to the actions that fire at it, or to the one of this name whatever it fires at."""
        for worker in self._workers:
            if worker.action.name == only or (only is None and message.name in worker.action.on):
                worker.give(message)

    def finish(self, within: float) -> None:
        """
        Give the workers some time to do what they still have to, then leave them.

        What is not over by then is told as having failed; a command that runs is not stopped.

        Parameters
        ----------
        within
            s.
        """
        end = time.monotonic() + within
        try:
            for worker in self._workers:
                worker.close()
            for worker in self._workers:
                worker.join(max(0.0, end - time.monotonic()))
        finally:
            for worker in self._workers:
                worker.leave()


class _Worker:
    """Fires one action, one event after the other."""

    def __init__(self, action: Action, told: Callable[[Done], None], pause: float) -> None:
        self.action = action
        self._told = told
        self._pause = pause
        self._waiting = Waiting(_MOST)
        self._left = threading.Event()
        self._bounded = Bounded()
        self._thread = threading.Thread(target=self._run, name=f"action {action.name}", daemon=True)
        self._thread.start()

    def give(self, message: Message) -> None:
        given_up = self._waiting.put(Item(message))
        if given_up:
            self._tell(given_up, ok=False, said="given up: too much waits for this action, which is slow")

    def close(self) -> None:
        self._waiting.close()

    def join(self, seconds: float) -> None:
        self._thread.join(seconds)

    def leave(self) -> None:
        self._left.set()
        for item in self._waiting.leave():
            self._tell(item, ok=False, said="not over at the end of the run, and left to itself")

    def _run(self) -> None:
        # What it lacks is told when it fires, and by `chipsong actions`.
        with suppress(Exception):
            self.action.does.prepare()
        while (item := self._waiting.take()) is not None:
            ok, said = self._do(item.message)
            if self._waiting.over(item):
                self._tell(item, ok=ok, said=said)
        self.action.does.close()

    def _do(self, message: Message) -> tuple[bool, str]:
        """Try it as often as it may be tried; return whether it came about, and what is to be said."""
        ok, said = self._try_once(message)
        tries = 1
        while not ok and tries < self.action.tries and not self._left.wait(self._pause_after(tries)):
            ok, said = self._try_once(message)
            tries += 1
        return ok, said if tries == 1 else f"{said} ({tries} tries)"

    def _pause_after(self, tries: int) -> float:
        return float(min(self._pause * 2 ** (tries - 1), _LONGEST_PAUSE))

    def _try_once(self, message: Message) -> tuple[bool, str]:
        does, limit = self.action.does, self.action.limit
        try:
            return True, self._bounded.run(lambda: does.fire(message, limit), limit + _GRACE)
        except Exception as error:  # noqa: BLE001 - whatever goes wrong in an action is told, and ends there
            return False, one_line(error)

    def _tell(self, item: Item, *, ok: bool, said: str) -> None:
        took = time.monotonic() - item.since
        self._told(Done(self.action.name, item.message, ok, said, took))
