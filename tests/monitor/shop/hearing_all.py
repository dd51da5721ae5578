"""Somebody who hears a whole shop, for tests and the benchmark."""

import time
from collections.abc import Callable
from typing import Self

from monitor.shop.address import Shop
from monitor.shop.machines import Machines, News
from monitor.shop.receiving import Receiver
from monitor.shop.showing import take_in


class HearingAll:
    """What `chipsong shop` hears, while it is entered."""

    def __init__(self, shop: Shop) -> None:
        self.machines = Machines()
        self.news: list[News] = []
        self._receiver = Receiver(shop)

    def until(self, come: Callable[[], bool], seconds: float = 60.0) -> bool:
        """Hear until something has come; return whether it has, within so many seconds."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.news += take_in(self._receiver, self.machines)
            if come():
                return True
            time.sleep(0.02)
        return False

    def events(self) -> list[News]:
        """Return the numbered events so far."""
        return [news for news in self.news if news["event"] != "state"]

    def words(self) -> list[str]:
        """Return the states so far, as words."""
        return [news["word"] for news in self.news if news["event"] == "state"]

    def word(self) -> str:
        """Return how the first machine is now."""
        rows = self.machines.rows(time.monotonic())
        return rows[0].word if rows else ""

    def __enter__(self) -> Self:
        """Begin to hear; the broker is there."""
        self._receiver.__enter__()
        assert self.until(lambda: not self._receiver.trouble)
        return self

    def __exit__(self, *_: object) -> None:
        """Hear no more."""
        self._receiver.__exit__()
