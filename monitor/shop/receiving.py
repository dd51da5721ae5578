"""What the machines of a shop say, while the broker comes and goes."""

import json
import queue
import threading
from collections.abc import Iterable
from typing import Any, NamedTuple, Self

from monitor.actions.libraries import needed
from monitor.linefeed.source import LineFeedError
from monitor.shop.address import ALIVE, Shop
from monitor.shop.machines import Ask
from monitor.trouble import one_line

_TURN, _SOON, _LATE = 0.05, 0.3, 3.0  # s


class Came(NamedTuple):
    """A message: its topic below the prefix, and whether the broker had kept it."""

    topic: str
    payload: bytes
    retained: bool


class Receiver:
    """
    Hears all machines of a shop, in a thread of its own, while it is entered.

    Attributes
    ----------
    trouble
        What is wrong with the broker now; empty when nothing is.
    """

    def __init__(self, shop: Shop) -> None:
        self.trouble = "the broker has not answered yet"
        self._shop = shop
        self._came: queue.SimpleQueue[Came] = queue.SimpleQueue()
        self._asks: queue.SimpleQueue[Ask] = queue.SimpleQueue()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="shop", daemon=True)

    def take(self) -> list[Came]:
        """Return what came since this was last asked."""
        return [self._came.get() for _ in range(self._came.qsize())]

    def ask(self, asks: Iterable[Ask]) -> None:
        """Ask machines for events that never came."""
        for ask in asks:
            self._asks.put(ask)

    def __enter__(self) -> Self:
        """Begin to hear."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Hear no more."""
        self._over.set()
        self._thread.join(2.0)

    def _run(self) -> None:
        pause = _SOON
        while not self._over.is_set():
            try:
                self._link()
            except Exception as error:  # noqa: BLE001 - whatever fails here is shown, and tried again
                pause = _SOON if not self.trouble else min(2 * pause, _LATE)
                self.trouble = one_line(error)
            self._over.wait(pause)

    def _link(self) -> None:
        client = self._shop.client()
        client.on_connect = self._connected
        client.on_subscribe = lambda _client, _data, _id, reasons, _more: self._subscribed(reasons)
        client.on_message = lambda _client, _data, message: self._message(message)
        try:
            client.connect(self._shop.host, self._shop.port, keepalive=ALIVE)
            while not self._over.is_set():
                if trouble := client.loop(_TURN):
                    why = needed("paho.mqtt.client").error_string(trouble)
                    raise LineFeedError(f"the broker broke off ({why}); trying again")
                while not (self.trouble or self._asks.empty()):
                    self._question(client, self._asks.get())
        except OSError as error:
            raise LineFeedError(f"the broker is not reached ({error}); trying again") from error
        finally:
            client.disconnect()

    def _connected(self, client: Any, _data: object, _flags: object, reason: Any, _more: object) -> None:  # noqa: ANN401
        if reason.is_failure:
            raise LineFeedError(f"the broker refuses: {reason}")
        client.subscribe([(self._shop.topic("+", what), 1) for what in ("here", "state", "events")])

    def _subscribed(self, reasons: list[Any]) -> None:
        for reason in reasons:
            if reason.is_failure:
                raise LineFeedError(f"the broker refuses the topic: {reason}")
        self.trouble = ""

    def _message(self, message: Any) -> None:  # noqa: ANN401 - the library is there only where it is needed
        topic = message.topic.removeprefix(f"{self._shop.prefix}/")
        self._came.put(Came(topic, message.payload, message.retain))

    def _question(self, client: Any, ask: Ask) -> None:  # noqa: ANN401 - as above
        body = json.dumps({"run": ask.run, "from": ask.first, "to": ask.last})
        client.publish(self._shop.topic(ask.machine, "ask"), body, qos=1)
