"""What all that talks to an MQTT broker has in common: how it is named, and a client for it."""

from typing import Any, NamedTuple
from urllib.parse import SplitResult, unquote, urlsplit

from monitor.actions.libraries import needed


class Broker(NamedTuple):
    """
    A broker as an address names it.

    Attributes
    ----------
    port
        Its own, else the usual one.
    user, password
        Who comes; ``None`` where it is not said.
    tls
        Whether the way there is encrypted.
    """

    port: int
    user: str | None
    password: str | None
    tls: bool


def address(said: str) -> SplitResult:
    """
    Return the pieces of an address. A topic or a password may hold # and ?: they are nothing special there.

    Raises
    ------
    ValueError
        When it is none.
    """
    return urlsplit(said.replace("#", "%23").replace("?", "%3F"))


def is_broker(url: SplitResult) -> bool:
    """Return whether an address is of a broker: ``mqtt://HOST...`` or ``mqtts://HOST...``."""
    return url.scheme in ("mqtt", "mqtts") and bool(url.hostname)


def broker_of(url: SplitResult) -> Broker:
    """
    Return the broker at ``mqtt[s]://[USER:PASSWORD@]HOST[:PORT]``.

    Raises
    ------
    ValueError
        When the port is none.
    """
    tls = url.scheme == "mqtts"
    user, password = (None if part is None else unquote(part) for part in (url.username, url.password))
    return Broker(url.port or (8883 if tls else 1883), user, password, tls)


def client_for(  # noqa: PLR0913 - all that there is to say of a broker
    patience: float,
    user: str | None,
    password: str | None,
    *,
    tls: bool,
    name: str = "",
    newest: bool = False,
) -> Any:  # noqa: ANN401 - the library is there only where it is needed
    """
    Return a client of the library, not connected yet.

    Parameters
    ----------
    patience
        Seconds that the broker has to answer.
    user, password
        Who comes, where the broker wants to know.
    tls
        Whether the way to the broker is encrypted.
    name
        By which the broker knows the client; one of the library's own when empty.
    newest
        Whether to speak MQTT 5, in which a broker says what it did not take; not all brokers know it.

    Raises
    ------
    ActionError
        When the library is not installed.
    """
    mqtt = needed("paho.mqtt.client")
    protocol = mqtt.MQTTv5 if newest else mqtt.MQTTv311
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id=name, protocol=protocol)
    client.connect_timeout = patience
    if user is not None:
        client.username_pw_set(user, password)
    if tls:
        client.tls_set()
    return client
