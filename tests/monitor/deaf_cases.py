"""
What can be done to a microphone in a real audio stack, and how long `chipsong watch` takes to say so.

Noise is played all the while into every sink that there is, so that no case is told by silence alone unless
the case is silence.
"""

import os
import signal
import subprocess
import time
import wave
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import numpy as np
from live_watch import Event, Watch
from sound_server import SINK, SoundServer

OTHER = "other"


class Shop:
    """A sound server with noise in it, and `chipsong watch` that listens to it."""

    def __init__(self, server: SoundServer, folder: Path) -> None:
        self.server = server
        self.env = server.env | {"CHIPSONG_HOME": str(folder / "home")}
        self._noise = folder / "noise.wav"
        self._players: list[subprocess.Popen[bytes]] = []
        self.watching = 0
        rng = np.random.default_rng(6)
        samples = np.clip(rng.normal(0.0, 0.05 * 32767, 120 * 48_000), -32767, 32767).astype("<i2")
        with wave.open(str(self._noise), "wb") as file:
            file.setparams((1, 2, 48_000, 0, "NONE", ""))
            file.writeframes(samples.tobytes())

    def play(self, sink: str = SINK) -> None:
        """Play noise into a sink."""
        command = ["paplay", f"--device={sink}", self._noise]
        self._players.append(subprocess.Popen(command, env=self.env, stderr=subprocess.DEVNULL))

    def control(self, *words: str) -> bytes:
        """Tell the server something; return what it answers."""
        done = self.server.control(*words)
        if done.returncode:
            raise RuntimeError(f"pactl {' '.join(words)}: {done.stderr.decode()}")
        return done.stdout

    def plug_in(self, sink: str = SINK, rate: int = 48_000) -> None:
        """Add a sink, whose monitor is a microphone, and play noise into it."""
        self.control("load-module", "module-null-sink", f"sink_name={sink}", f"rate={rate}")
        self.play(sink)

    def unplug(self, sink: str = SINK) -> None:
        """Take a sink away, and with it the microphone."""
        for line in self.control("list", "short", "modules").decode().splitlines():
            if f"sink_name={sink} " in f"{line} ":
                self.control("unload-module", line.split()[0])

    def move(self, source: str) -> None:
        """Move every recording to another microphone, as a mixer does."""
        for line in self.control("list", "short", "source-outputs").decode().splitlines():
            self.control("move-source-output", line.split()[0], source)

    def start(self) -> None:
        """Start the server anew, and the noise."""
        self.server.start()
        self.play()

    def kill_capture(self) -> None:
        """Kill the process that captures."""
        for status in Path("/proc").glob("[0-9]*/stat"):
            number, parent = int(status.parent.name), status.read_text().rsplit(")", 1)[1].split()[1]
            if int(parent) == self.watching:
                os.kill(number, signal.SIGKILL)

    def __enter__(self) -> Self:
        """Begin to play."""
        self.play()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop playing."""
        for player in self._players:
            player.kill()
            player.wait()


@dataclass(frozen=True)
class Case:
    """
    Something that goes wrong, and how it is put right.

    Attributes
    ----------
    name
        In a few words.
    trouble, cure
        Do it, and undo it. What is cured by itself has no cure.
    first
        What must be so before.
    """

    name: str
    trouble: Callable[[Shop], object]
    cure: Callable[[Shop], object] | None = None
    first: Callable[[Shop], object] = lambda _: None


def _plug_in_other(shop: Shop) -> None:
    shop.plug_in(OTHER)


def _another_rate(shop: Shop) -> None:
    shop.unplug()
    shop.plug_in(rate=44_100)


CASES = (
    Case("the only source removed, brought back", Shop.unplug, Shop.plug_in),
    Case("source removed while another is there", Shop.unplug, Shop.plug_in, _plug_in_other),
    Case(
        "muted",
        lambda shop: shop.control("set-source-mute", f"{SINK}.monitor", "1"),
        lambda shop: shop.control("set-source-mute", f"{SINK}.monitor", "0"),
    ),
    Case(
        "default changed",
        lambda shop: shop.control("set-default-source", f"{OTHER}.monitor"),
        None,
        _plug_in_other,
    ),
    Case("moved to another source", lambda shop: shop.move(f"{OTHER}.monitor"), None, _plug_in_other),
    Case("rate of the source changed", _another_rate),
    Case("gain moved", lambda shop: shop.control("set-source-volume", f"{SINK}.monitor", "60%")),
    Case("server stopped, started", lambda shop: shop.server.stop(), Shop.start),
    Case("server killed, started", lambda shop: shop.server.kill(), Shop.start),
    Case(
        "server hangs, goes on",
        lambda shop: shop.server.freeze(frozen=True),
        lambda shop: shop.server.freeze(frozen=False),
    ),
    Case("capturing process killed", Shop.kill_capture),
)


@dataclass(frozen=True)
class Times:
    """
    How long it took.

    Attributes
    ----------
    deaf
        From the beginning of the trouble to `deaf`, s.
    heard
        From the beginning of the cure, or of a trouble that passes by itself, to `heard`, s.
    because
        What was said.
    clock
        How far the run's clock, which counts samples, went wrong meanwhile, s.
    """

    deaf: float
    heard: float
    because: str
    clock: float


def time_case(case: Case, server: SoundServer, folder: Path, away: float = 3.0) -> Times:
    """Play a case, whose cure comes ``away`` s after its trouble."""
    with Shop(server, folder) as shop:
        case.first(shop)
        with Watch(shop.env, "--keep-sound", "none") as watch:
            shop.watching = watch.pid
            last = _heard_well(watch)
            return _time(case, shop, watch, away, last["at"] - watch.arrived)


def _heard_well(watch: Watch, seconds: float = 60.0) -> Event:
    """Wait until it hears, and has said nothing else for three seconds; return what it said last."""
    end = time.monotonic() + seconds
    last: Event | None = None
    while last is None or last.get("state") == "deaf" or time.monotonic() - watch.arrived < 3.0:
        if time.monotonic() > end:
            raise RuntimeError(f"it was deaf before the trouble: {last}")
        time.sleep(0.05)
        last = next(reversed(watch.so_far()), last)
    return last


def _time(case: Case, shop: Shop, watch: Watch, away: float, clock: float) -> Times:
    begun = time.monotonic()
    case.trouble(shop)
    deaf = watch.wait_for("deaf")
    said = watch.arrived
    if case.cure is not None:
        time.sleep(max(0.0, begun + away - time.monotonic()))
        cured = time.monotonic()
        case.cure(shop)
    heard = watch.wait_for("heard")
    again = watch.arrived - (begun if case.cure is None else cured)
    return Times(said - begun, again, deaf["because"], heard["at"] - watch.arrived - clock)
