"""``chipsong watch`` through the real audio stack: played with paplay, heard through PortAudio."""

import json
import queue
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

import pytest
import soundfile
from conftest import COMMAND
from contract import BIT, SHIPPED, Ended, checked, sound, truth
from sound_server import SoundServer

from monitor.journal import runs

pytestmark = pytest.mark.sound

Event = dict[str, Any]


class Watch:
    """`chipsong watch --json` as a process of its own; its events come as they are written."""

    def __init__(self, env: dict[str, str], *words: object) -> None:
        command = [*COMMAND, "watch", "--json", *map(str, words)]
        pipe = subprocess.PIPE
        self._process = subprocess.Popen(command, env=env, stdout=pipe, stderr=pipe, text=True)
        self._lines: list[str] = []
        self._queue: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._lines.append(line)
            self._queue.put(line)

    def wait_for(self, name: str, seconds: float = 20.0) -> Event:
        """Return the next event of a name."""
        end = time.monotonic() + seconds
        while True:
            try:
                event: Event = json.loads(self._queue.get(timeout=max(0.0, end - time.monotonic())))
            except queue.Empty:
                pytest.fail(f"no {name} within {seconds} s, only {self._lines}")
            if event["event"] == name:
                return event

    def ask_to_end(self) -> None:
        """Ask it to end, as the system does."""
        self._process.send_signal(signal.SIGTERM)

    def ended(self) -> Ended:
        """Wait for its end; return how it ended."""
        status = self._process.wait(timeout=30)
        self._reader.join()
        assert self._process.stderr is not None
        return Ended(status, "".join(self._lines), self._process.stderr.read())

    def __enter__(self) -> Self:
        """Give itself; it runs already."""
        return self

    def __exit__(self, *_: object) -> None:
        """End it, whatever it is at."""
        self._process.kill()
        self._process.wait()
        self._reader.join()
        for pipe in (self._process.stdout, self._process.stderr):
            assert pipe is not None
            pipe.close()


@contextmanager
def playing(path: Path, env: dict[str, str]) -> Iterator[subprocess.Popen[bytes]]:
    """Play a file into the sound server; stop when left."""
    player = subprocess.Popen(["paplay", path], env=env, stderr=subprocess.DEVNULL)
    try:
        yield player
    finally:
        player.kill()
        player.wait()


@pytest.fixture
def slip(tmp_path: Path) -> Path:
    """Write the shipped slip as a WAV file."""
    samples, rate = sound("slip_outline")
    path = tmp_path / "slip.wav"
    soundfile.write(path, samples, rate, subtype="PCM_16")
    return path


@pytest.fixture
def env(sound_daemon: SoundServer, tmp_path: Path) -> dict[str, str]:
    """Give the environment of the sound server, with a journal of the test's own."""
    return sound_daemon.env | {"CHIPSONG_HOME": str(tmp_path / "home")}


def test_a_slip_that_is_played_is_heard_as_in_its_file(
    env: dict[str, str], slip: Path, replayed: Callable[[str], Ended]
):
    """
    Played and heard live, the slip is the alarm that replay of the file gives.

    The same cause, the same line to resume, the true line within what is told; deaf in the digital silence
    before and after, and heard in between.
    """
    (recorded,) = replayed("slip_outline").of("alarm")
    rate = sound("slip_outline")[1]
    words = ("--program", SHIPPED / "slip_outline.ngc", *BIT, "--rate", rate, "--for", "60")
    with Watch(env, *words) as watch:
        before = watch.wait_for("deaf")
        with playing(slip, env) as player:
            heard = watch.wait_for("heard")
            alarm = watch.wait_for("alarm")
            assert player.wait(timeout=30) == 0
        after = watch.wait_for("deaf")
        watch.ask_to_end()
        ended = watch.ended()

    assert (ended.status, ended.err) == (3, "chipsong: stopped by hand\n")
    assert ended.of("alarm") == [alarm]
    assert (alarm["cause"], alarm["resume"]) == (recorded["cause"], recorded["resume"])
    assert alarm["line"]["from"] <= recorded["line"]["file"] <= alarm["line"]["to"]
    assert alarm["line"]["from"] <= truth("slip_outline")["onset_line"] <= alarm["line"]["to"]
    assert before["at"] <= 2.0
    assert before["at"] < heard["at"] < alarm["onset"] < alarm["at"] < after["at"]
    begun = alarm["onset"] - recorded["onset"]  # when the file began to be heard
    assert begun <= heard["at"] <= begun + 2.0
    assert 0.0 <= after["at"] - (begun + len(sound("slip_outline")[0]) / rate) <= 2.0
    assert checked(ended.out)[-1]["parts"][0]["verdict"] == "suspect"


def test_a_sound_server_that_dies_is_deaf_within_two_seconds(
    sound_daemon: SoundServer, env: dict[str, str], slip: Path
):
    """When nothing arrives any more it says so within 2 s by the clock, and still ends with a summary."""
    with Watch(env, "--for", "12") as watch:
        watch.wait_for("deaf")  # it listens, and nothing is played yet
        with playing(slip, env):
            watch.wait_for("heard")
            sound_daemon.stop()
            gone = time.monotonic()
            deaf = watch.wait_for("deaf", seconds=10)
            late = time.monotonic() - gone
        ended = watch.ended()

    assert late <= 2.0
    assert "nothing arrives" in deaf["because"]
    assert ended.events[-1]["at"] == pytest.approx(deaf["at"], abs=1e-3), "time goes by samples"
    assert ended.status == 0
    assert "chipsong:" not in ended.err, "what PortAudio's own thread says of it cannot be kept off"
    (run,) = runs(Path(env["CHIPSONG_HOME"]))
    assert run.closed
