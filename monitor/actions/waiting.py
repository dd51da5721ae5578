"""Events that wait for one action: never too many, alarms first."""

import threading
import time
from collections import deque
from dataclasses import dataclass, field

from monitor.actions.message import Message


@dataclass(frozen=True, eq=False)
class Item:
    """An event that waits, and since when by `time.monotonic`."""

    message: Message
    since: float = field(default_factory=time.monotonic)


class Waiting:
    """
    What one worker still has to do; any thread may use it.

    Parameters
    ----------
    most
        How many may wait. When another comes the oldest gives way, an alarm only when alarms alone wait:
        what nobody could be told for so long is of little use, and would hold up what is.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._items: deque[Item] = deque()
        self._in_hand: Item | None = None
        self._closed = False
        self._changed = threading.Condition()

    def put(self, item: Item) -> Item | None:
        """Let ``item`` wait; return the one that gives way, ``item`` itself after the end."""
        with self._changed:
            if self._closed:
                return item
            self._items.append(item)
            self._changed.notify()
            return self._give_way() if len(self._items) > self._most else None

    def _give_way(self) -> Item:
        oldest = next((item for item in self._items if item.message.name != "alarm"), self._items[0])
        self._items.remove(oldest)
        return oldest

    def take(self) -> Item | None:
        """Wait for an item and take it in hand, the first alarm if there is one; ``None`` at the end."""
        with self._changed:
            self._in_hand = None
            self._changed.wait_for(lambda: self._items or self._closed)
            if not self._items:
                return None
            first = next((item for item in self._items if item.message.name == "alarm"), self._items[0])
            self._items.remove(first)
            self._in_hand = first
            return first

    def over(self, item: Item) -> bool:
        """Lay ``item`` down; return whether it was still in hand, and not given up by `leave`."""
        with self._changed:
            was, self._in_hand = self._in_hand is item, None
            return was

    def close(self) -> None:
        """Take nothing more; what waits is still given out."""
        with self._changed:
            self._closed = True
            self._changed.notify()

    def leave(self) -> tuple[Item, ...]:
        """Give up what is in hand and all that waits, and return it."""
        with self._changed:
            given_up = (*([self._in_hand] if self._in_hand else []), *self._items)
            self._items.clear()
            self._in_hand, self._closed = None, True
            self._changed.notify()
            return given_up
