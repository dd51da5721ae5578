"""
How long it takes from an event to the far end of each action, while other actions hang.

    python tests/benchmarks/bench_actions.py

Beside a web server and a broker that let everybody in and never answer, and a serial line that takes nothing,
this very thread works as hearing does, and now and then tells the crew of an alarm. What is timed is from
there to the byte, request or message at the other end of a pseudo-terminal, a web server, a command and,
where one is installed, an MQTT broker.
"""

import queue
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "monitor"))

from receivers import HERE, Broker, serial_line, silent_server, web_server

from analysis.events import Alarm
from monitor.actions import Action, Crew
from monitor.actions.command import Command
from monitor.actions.kind import Kind
from monitor.actions.mqtt import Mqtt
from monitor.actions.request import Request
from monitor.actions.serial_port import SerialPort

EVENTS = 60
APART = 0.5  # s between two events

Arrived = dict[str, list[float]]


def main() -> None:
    """Print the delays."""
    arrived: Arrived = {}
    with ExitStack() as stack:
        reached = stack.enter_context(receivers(arrived))
        hanging = stack.enter_context(hang())
        kinds = {**reached, **hanging}
        limit = 60.0
        crew = Crew(
            [Action(name, kinds[name], frozenset({"alarm"}), limit, 1) for name in kinds], lambda _: None
        )
        time.sleep(2.0)  # libraries are loaded meanwhile, as before a cut
        told, took = work(crew)
        time.sleep(2.0)
        crew.finish(0.0)
    print(f"{EVENTS} events, {len(hanging)} actions that hang\n")
    print("from telling to       arrived  median ms   95 % ms  most ms")
    for name in reached:
        came = np.array(arrived.get(name, [])[:EVENTS])
        print(row(name, 1000 * (came - told[: len(came)])))
    print(row("(telling itself)", 1000 * took))


def row(name: str, delays: NDArray[np.float64]) -> str:
    """Return a line of the table."""
    if not len(delays):
        return f"{name:20} {0:8}"
    middle, high, most = np.percentile(delays, [50, 95, 100])
    return f"{name:20} {len(delays):8} {middle:10.2f} {high:9.2f} {most:8.2f}"


def work(crew: Crew) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Work as hearing does, and tell of alarms; return when each was told, and how long telling took."""
    told, took = [], []
    block = np.random.default_rng(1).normal(size=(40, 2048)).astype(np.float32)
    due = time.monotonic() + APART
    while len(told) < EVENTS:
        np.fft.rfft(block)
        time.sleep(0.01)
        if time.monotonic() >= due:
            due += APART
            told.append(time.monotonic())
            crew.tell(Alarm(1.0, 0.5, "loose", 0.7, ("a made-up alarm",), 2.0, 1.0))
            took.append(time.monotonic() - told[-1])
    return np.array(told), np.array(took)


@contextmanager
def hang() -> Iterator[dict[str, Kind]]:
    """Give actions that hang until their limit."""
    with silent_server() as port, serial_line() as line:
        line.clog()
        yield {
            "http that hangs": Request(f"http://{HERE}:{port}"),
            "mqtt that hangs": Mqtt(HERE, "shop", port),
            "serial that hangs": SerialPort(line.port, b"x", 9600),
        }


@contextmanager
def receivers(arrived: Arrived) -> Iterator[dict[str, Kind]]:
    """Give actions that arrive, and note when they did."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        web, line = stack.enter_context(web_server()), stack.enter_context(serial_line())
        reached: dict[str, Kind] = {
            "serial": SerialPort(line.port, b"x", 115_200),
            "http": Request(web.url()),
            "command": Command(("/bin/sh", "-c", f"echo >> {folder / 'command'}")),
        }
        stack.enter_context(watching(arrived, "serial", lambda: len(line.read())))
        stack.enter_context(watching(arrived, "http", counter(lambda: len(web.received))))
        stack.enter_context(watching(arrived, "command", counter(lambda: size(folder / "command"))))
        if shutil.which("mosquitto", path="/usr/sbin:/usr/bin"):
            broker = Broker(folder)
            broker.start()
            stack.callback(broker.stop)
            reached["mqtt"] = Mqtt(HERE, "shop", broker.port)
            stack.enter_context(subscribed(broker.port, arrived))
        yield reached


def size(path: Path) -> int:
    """Return the size of a file, 0 where there is none."""
    return path.stat().st_size if path.exists() else 0


def counter(count: Callable[[], int]) -> Callable[[], int]:
    """Return how much a count has grown since it was last asked."""
    last = 0

    def grown() -> int:
        nonlocal last
        before, last = last, count()
        return last - before

    return grown


@contextmanager
def watching(arrived: Arrived, name: str, arrivals: Callable[[], int]) -> Iterator[None]:
    """Look every millisecond whether something has arrived, and note when."""
    over = threading.Event()

    def watch() -> None:
        while not over.wait(0.001):
            came = arrivals()
            arrived.setdefault(name, []).extend([time.monotonic()] * came)

    thread = threading.Thread(target=watch)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


@contextmanager
def subscribed(port: int, arrived: Arrived) -> Iterator[None]:
    """Note when messages come from the broker."""
    from paho.mqtt.client import Client  # noqa: PLC0415 - an extra
    from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

    ready: queue.SimpleQueue[bool] = queue.SimpleQueue()
    client = Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda *_: arrived.setdefault("mqtt", []).append(time.monotonic())
    client.on_subscribe = lambda *_: ready.put(item=True)
    client.connect(HERE, port)
    client.loop_start()
    client.subscribe("shop")
    ready.get(timeout=10)
    try:
        yield
    finally:
        client.disconnect()
        client.loop_stop()


if __name__ == "__main__":
    main()
