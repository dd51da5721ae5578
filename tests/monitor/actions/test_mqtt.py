"""MQTT, with a real broker."""

import gc
import json
import queue
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from receivers import HERE, Broker, broker_program, free_port, people, silent_server

from monitor.actions import Action, ActionError, Crew, Done
from monitor.actions.message import rehearsal
from monitor.actions.mqtt import Mqtt

TEST = rehearsal("alarm")
TOPIC = "shop/router"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """Give a running broker."""
    broker_program()
    running = Broker(tmp_path)
    running.start()
    yield running
    running.stop()


class Subscriber:
    """Hears what is published."""

    def __init__(self, port: int) -> None:
        self._heard: queue.SimpleQueue[Any] = queue.SimpleQueue()
        ready: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = lambda _client, _data, message: self._heard.put(message)
        self._client.on_subscribe = lambda *_: ready.put(item=True)
        self._client.connect(HERE, port)
        self._client.loop_start()
        self._client.subscribe(TOPIC, qos=1)
        ready.get(timeout=60)

    def next(self) -> Any:
        """Return what comes next."""
        return self._heard.get(timeout=60)

    def close(self) -> None:
        """Hear no more."""
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def subscriber(broker: Broker) -> Iterator[Subscriber]:
    """Give somebody who hears what is published."""
    subscribed = Subscriber(broker.port)
    yield subscribed
    subscribed.close()


@pytest.mark.parametrize(("payload", "arrives"), [(None, TEST.json), ("off", "off")])
def test_it_arrives(broker: Broker, subscriber: Subscriber, payload: str | None, arrives: str):
    """The event as JSON, or the user's text in its place, arrives under the topic, for sure."""
    said = Mqtt(HERE, TOPIC, broker.port, payload).fire(TEST, 5.0)
    assert said == "acknowledged by the broker"
    message = subscriber.next()
    assert (message.topic, message.payload.decode(), message.qos) == (TOPIC, arrives, 1)
    assert payload or json.loads(message.payload)["test"] is True


def test_it_is_kept_for_those_who_come_later(broker: Broker):
    """With retain the broker tells it to whoever subscribes afterwards."""
    Mqtt(HERE, TOPIC, broker.port, retain=True).fire(TEST, 5.0)
    late = Subscriber(broker.port)
    assert late.next().payload.decode() == TEST.json
    late.close()


def test_a_broker_that_knows_people_lets_in_those_it_knows(tmp_path: Path):
    """User and password are handed over; who is not known is refused, and the reason told without them."""
    broker = Broker(tmp_path, *people(tmp_path, "topic readwrite #"))
    broker.start()
    try:
        known = Mqtt(HERE, TOPIC, broker.port, user="me", password="right")  # noqa: S106 - the test's own
        assert known.fire(TEST, 5.0).startswith("ack")
        stranger = Mqtt(HERE, TOPIC, broker.port, user="me", password="wrong")  # noqa: S106 - as above
        with pytest.raises(ActionError, match="the broker refuses: Not authorized") as caught:
            stranger.fire(TEST, 5.0)
        assert "wrong" not in str(caught.value)
    finally:
        broker.stop()


def test_a_broker_that_is_down_is_told():
    """Where nothing listens, that is said."""
    with pytest.raises(ActionError, match=r"broker not reached: .*refused"):
        Mqtt(HERE, TOPIC, free_port()).fire(TEST, 2.0)


# The library leaves the socket of a handshake that failed to Python's collector, which is called here.
@pytest.mark.filterwarnings("ignore:Exception ignored in:pytest.PytestUnraisableExceptionWarning")
def test_nothing_goes_out_in_the_open_when_it_is_to_be_encrypted(broker: Broker, subscriber: Subscriber):
    """With tls a broker that does not encrypt is not reached, and gets nothing."""
    with pytest.raises(ActionError, match="broker not reached: "):
        Mqtt(HERE, TOPIC, broker.port, "secret", tls=True).fire(TEST, 2.0)
    Mqtt(HERE, TOPIC, broker.port, "open").fire(TEST, 2.0)
    assert subscriber.next().payload == b"open"
    gc.collect()


def test_a_broker_that_says_nothing_is_not_waited_for():
    """One that lets everyone in and never answers is given up at the limit."""
    with silent_server() as port:
        begun = time.monotonic()
        with pytest.raises(ActionError, match="the broker does not answer"):
            Mqtt(HERE, TOPIC, port).fire(TEST, 0.3)
        assert time.monotonic() - begun < 20.0


def test_a_broker_that_comes_back_gets_it(tmp_path: Path):
    """A broker that is down at the first try and up at a later one gets the event."""
    broker_program()
    broker, told = Broker(tmp_path), queue.SimpleQueue[Done]()
    action = Action("broker", Mqtt(HERE, TOPIC, broker.port, retain=True), frozenset({"alarm"}), 2.0, 10)
    crew = Crew([action], told.put, pause=0.2)
    crew.send(TEST)
    time.sleep(0.1)
    broker.start()
    try:
        done = told.get(timeout=60)
        assert done.ok
        assert "tries)" in done.said
        late = Subscriber(broker.port)
        assert late.next().payload.decode() == TEST.json
        late.close()
    finally:
        broker.stop()
    crew.finish(2)
