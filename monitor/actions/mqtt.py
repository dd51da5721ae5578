"""A message to an MQTT broker."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, ClassVar

from monitor.actions.kind import ActionError
from monitor.actions.libraries import needed
from monitor.actions.message import Message
from monitor.broker import client_for

# s that the library works before it is asked whether it is done.
_TURN = 0.05


@dataclass(frozen=True)
class Mqtt:
    """
    Publishes the event as JSON, or a text in place of it, and waits until the broker has it.

    Attributes
    ----------
    host, port
        The broker.
    topic
        Under which it is published.
    payload
        What is sent in place of the event.
    user, password
        Who says so, where the broker asks.
    tls
        Whether the way to the broker is encrypted.
    retain
        Whether the broker keeps it for those that come later.
    """

    acts: ClassVar[bool] = True

    host: str
    topic: str
    port: int = 1883
    payload: str | None = None
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    retain: bool = False

    def describe(self) -> str:
        """Return where to."""
        return f"mqtt: {self.topic} on {self.host}:{self.port}"

    def prepare(self) -> None:
        """Load the library."""
        needed("paho.mqtt.client")

    def close(self) -> None:
        """Nothing was got."""

    def fire(self, message: Message, limit: float) -> str:
        """Publish it with quality of service 1, that is until it is acknowledged."""
        end = time.monotonic() + limit
        payload = message.json if self.payload is None else self.payload
        client, welcome = self._client(limit)
        try:
            # What is alive must say so this often, in s; the library waits as long when it shakes hands.
            client.connect(self.host, self.port, keepalive=int(limit) + 1)
            _turn(client, end, lambda: welcome.came, "the broker does not answer")
            sent = client.publish(self.topic, payload, qos=1, retain=self.retain)
            _turn(client, end, sent.is_published, "not acknowledged by the broker in time")
        except OSError as error:
            raise ActionError(f"broker not reached: {error}") from error
        finally:
            client.disconnect()
        return "acknowledged by the broker"

    def _client(self, limit: float) -> tuple[Any, "_Welcome"]:
        client = client_for(limit, self.user, self.password, tls=self.tls)
        welcome = _Welcome()
        client.on_connect = welcome.answered
        return client, welcome


class _Welcome:
    """What the broker answers to who comes."""

    def __init__(self) -> None:
        self.came = False

    def answered(self, _client: object, _data: object, _flags: object, reason: Any, _more: object) -> None:  # noqa: ANN401
        """Note that one may come, or raise ActionError."""
        if reason.is_failure:
            raise ActionError(f"the broker refuses: {reason}")
        self.came = True


def _turn(client: Any, end: float, over: Callable[[], bool], otherwise: str) -> None:  # noqa: ANN401
    """Let the library work, on this thread, until something has come about."""
    while not over():
        if time.monotonic() > end:
            raise ActionError(otherwise)
        if trouble := client.loop(_TURN):
            raise ActionError(f"the broker broke off: {needed('paho.mqtt.client').error_string(trouble)}")
