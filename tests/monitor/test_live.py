"""``chipsong watch`` through the real audio stack: played with paplay, heard through PortAudio."""

import time
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile
from contract import BIT, SHIPPED, Ended, checked, sound, truth
from live_watch import Watch, playing
from sound_server import SoundServer

from monitor.journal import runs

pytestmark = pytest.mark.sound


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
    with Watch(env, "--for", "12", "--rpm", "18000") as watch:
        watch.wait_for("deaf")  # it listens, and nothing is played yet
        with playing(slip, env):
            watch.wait_for("heard")
            sound_daemon.stop()
            gone = time.monotonic()
            deaf = watch.wait_for("deaf", seconds=10)
            late = time.monotonic() - gone
        ended = watch.ended()

    assert late <= 2.0
    assert "looking for it" in deaf["because"]
    assert ended.events[-1]["at"] == pytest.approx(12.0, abs=3.0), "what is lost counts as well"
    assert (ended.status, ended.err) == (0, ""), "PortAudio and its libraries are not heard"
    (run,) = runs(Path(env["CHIPSONG_HOME"]))
    assert run.closed
