"""From sound to action, through the real audio stack, beside receivers that hang."""

import os
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import soundfile
from contract import BIT, SHIPPED, Ended, sound
from live_watch import COMMAND
from receivers import HERE, Line, silent_server
from sound_server import SINK, SoundServer

pytestmark = [pytest.mark.sound, pytest.mark.slow]

ACTIONS = """
[[action]]
name = "hook"
kind = "http"
url = "http://{here}:{port}"
limit = 60

[[action]]
name = "broker"
kind = "mqtt"
host = "{here}"
port = {port}
topic = "t"
limit = 60

[[action]]
name = "pause"
kind = "serial"
port = "{line}"
baud = 115200
text = "ALARM"
on = ["alarm"]
"""


def first_bytes(line: Line, seconds: float) -> tuple[bytes, float]:
    """Wait for bytes on the line; return them, and when they came."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if came := line.read(len(b"ALARM")):
            return came, time.monotonic()
    pytest.fail(f"nothing came within {seconds} s")


@contextmanager
def played(path: Path, env: dict[str, str]) -> Iterator[Callable[[], float]]:
    """Play a file; give a way to wait until it is heard, by another recorder, and to learn when that was."""
    record = ["parec", f"--device={SINK}.monitor", "--latency-msec=10", "--format=s16le", "--channels=1"]
    with (
        subprocess.Popen(record, env=env, stdout=subprocess.PIPE) as recorder,
        subprocess.Popen(["paplay", path], env=env) as player,
    ):
        assert recorder.stdout is not None
        pipe = recorder.stdout.fileno()

        def heard() -> float:
            while not any(os.read(pipe, 1000)):
                pass
            return time.monotonic()

        yield heard
        recorder.kill()
        player.kill()


def test_bytes_come_with_the_alarm(
    sound_daemon: SoundServer, line: Line, tmp_path: Path, replayed: Callable[[str], Ended]
):
    """
    The bytes are at the far end of the line within a second of the alarm's place in the sound.

    How soon they mostly are `bench_onset.py` measures; here the machine may be busy with other things. A web
    server and a broker that never answer hang beside it, from the silence before the cut on.
    """
    samples, rate = sound("slip_outline")
    soundfile.write(tmp_path / "slip.wav", samples, rate, subtype="PCM_16")
    (alarm,) = replayed("slip_outline").of("alarm")
    env = sound_daemon.env | {"CHIPSONG_HOME": str(tmp_path)}
    words = ["watch", "--json", "--program", str(SHIPPED / "slip_outline.ngc"), *BIT, "--rate", str(rate)]
    with silent_server() as port:
        (tmp_path / "actions.toml").write_text(ACTIONS.format(here=HERE, port=port, line=line.port))
        with subprocess.Popen([*COMMAND, *words], env=env, stdout=subprocess.PIPE) as watch:
            assert watch.stdout is not None
            while b'"deaf"' not in watch.stdout.readline():
                pass  # it listens, and what hangs does so from now on
            with played(tmp_path / "slip.wav", env) as heard:
                begun = heard()
                came, at = first_bytes(line, 30.0)
            watch.terminate()
            watch.stdout.read()
    assert came == b"ALARM"
    # Live windows may lie up to a hop apart from those of the file.
    assert -0.1 <= at - begun - alarm["at"] <= 1.0
