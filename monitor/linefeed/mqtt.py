"""A topic of an MQTT broker."""

from dataclasses import dataclass, field
from typing import Any

from monitor.actions.libraries import needed
from monitor.broker import client_for
from monitor.linefeed.source import LineFeedError, Outlet

# s that the library works before it is asked whether to end, that a broker has to answer, and after which
# one that says nothing is taken to be gone.
_TURN, _PATIENCE, _ALIVE = 0.2, 5.0, 10


@dataclass(frozen=True)
class MqttTopic:
    """
    Gives what is published under a topic, each message one line or several.

    Attributes
    ----------
    host, port
        The broker.
    topic
        May hold the wildcards of MQTT.
    user, password
        Who asks, where the broker wants to know.
    tls
        Whether the way to the broker is encrypted.
    """

    host: str
    topic: str
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False

    @property
    def name(self) -> str:
        """Topic and broker."""
        return f"{self.topic} on {self.host}:{self.port}"

    def run(self, out: Outlet) -> None:
        """Give lines while the broker is there."""
        client = self._client(out)
        try:
            client.connect(self.host, self.port, keepalive=_ALIVE)
            while not out.over.is_set():
                if trouble := client.loop(_TURN):
                    why = needed("paho.mqtt.client").error_string(trouble)
                    raise LineFeedError(f"the broker broke off ({why}); trying again")
        except OSError as error:
            raise LineFeedError(f"the broker is not reached ({error}); trying again") from error
        finally:
            client.disconnect()

    def _client(self, out: Outlet) -> Any:  # noqa: ANN401 - the library is there only where it is needed
        client = client_for(_PATIENCE, self.user, self.password, tls=self.tls)
        client.on_connect = self._connected
        client.on_subscribe = lambda _client, _data, _id, reasons, _more: _subscribed(reasons, out)
        client.on_message = lambda _client, _data, message: _take(message, out)
        return client

    def _connected(self, client: Any, _data: object, _flags: object, reason: Any, _more: object) -> None:  # noqa: ANN401
        if reason.is_failure:
            raise LineFeedError(f"the broker refuses: {reason}")
        client.subscribe(self.topic, qos=0)


def _subscribed(reasons: list[Any], out: Outlet) -> None:
    for reason in reasons:
        if reason.is_failure:
            raise LineFeedError(f"the broker refuses the topic: {reason}")
    out.fine()


def _take(message: Any, out: Outlet) -> None:  # noqa: ANN401 - as above
    # What the broker has kept for those that come later may be of yesterday.
    if not message.retain:
        for line in message.payload.decode("utf-8", "replace").splitlines():
            out.text(line)
