"""What a real PulseAudio server says of a recording."""

import os
import subprocess
import time
from collections.abc import Iterator

import pytest
from sound_server import SINK, SoundServer

from monitor.capture.pulse import Place, Server

pytestmark = pytest.mark.sound

SOURCE = f"{SINK}.monitor"


@pytest.fixture
def daemon(sound_daemon: SoundServer, monkeypatch: pytest.MonkeyPatch) -> SoundServer:
    """Give a running server that this process reaches."""
    monkeypatch.setenv("PULSE_SERVER", sound_daemon.env["PULSE_SERVER"])
    return sound_daemon


@pytest.fixture
def recorder(daemon: SoundServer) -> Iterator[int]:
    """Give the number of a process that records."""
    command = ["parec", f"--device={SOURCE}"]
    with subprocess.Popen(command, env=daemon.env, stdout=subprocess.DEVNULL) as process:
        yield process.pid
        process.kill()


def place_of(server: Server, process: int) -> Place:
    """Return where a process records, once it does."""
    end = time.monotonic() + 60.0
    while (place := server.place(process)) is None:
        assert time.monotonic() < end
        time.sleep(0.05)
    return place


def test_the_place_of_a_recording_follows_what_is_done_to_it(daemon: SoundServer, recorder: int):
    """Source, default and gain are those of the server, before and after somebody changes them."""
    server = Server()
    label = "Monitor of Null Output"
    assert place_of(server, recorder) == Place(SOURCE, label, SOURCE, 100)
    daemon.control("set-source-volume", SOURCE, "55%")
    assert place_of(server, recorder).gain == 55
    daemon.control("load-module", "module-null-sink", "sink_name=other")
    daemon.control("set-default-source", "other.monitor")
    place = place_of(server, recorder)
    assert place.default == "other.monitor"
    assert place.source in (SOURCE, "other.monitor"), "some servers move recordings along"


def test_what_is_not_there_is_not_found(daemon: SoundServer):
    """A process that does not record has no place, and a source that is not there is not there."""
    server = Server()
    assert server.place(os.getpid()) is None
    assert (server.has(SOURCE), server.has("nobody")) == (True, False)
    assert server.default() == SOURCE
    daemon.stop()
    with pytest.raises(OSError, match="the sound server"):
        server.default()


def test_a_server_that_hangs_is_not_waited_for(daemon: SoundServer):
    """An answer that does not come is a TimeoutError, and the next one may come."""
    server = Server(patience=0.3)
    daemon.freeze(frozen=True)
    begun = time.monotonic()
    with pytest.raises(TimeoutError):
        server.default()
    assert time.monotonic() - begun < 20.0
    daemon.freeze(frozen=False)
    assert server.default() == SOURCE


def test_without_a_server_there_is_none(monkeypatch: pytest.MonkeyPatch, sound_daemon: SoundServer):
    """Where no server runs it is an OSError."""
    monkeypatch.setenv("PULSE_SERVER", f"unix:{sound_daemon.folder / 'nobody'}")
    with pytest.raises(OSError, match="the sound server is gone"):
        Server()
