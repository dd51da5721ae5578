"""The microphone, through the real audio stack: PulseAudio, ALSA and PortAudio."""

import subprocess
import sys
import textwrap
import wave
from pathlib import Path

import numpy as np
import pytest
from sound_server import SoundServer

pytestmark = pytest.mark.sound

# PortAudio looks at the environment when it is imported, so whoever listens is a process of its own.
LISTEN = """
    import sys
    import numpy as np
    from monitor.sources import Microphone

    with Microphone(sys.argv[2] or None, int(sys.argv[3]) or None) as microphone:
        print(microphone.rate, microphone.name, flush=True)
        heard, count = [], 0
        for block in microphone.blocks(timeout=5):
            assert block is not None and not block.note, block
            heard.append(block.samples)
            count += len(block.samples)
            if count >= 1.5 * microphone.rate:
                break
    np.save(sys.argv[1], np.concatenate(heard))
"""

LIST = """
    from monitor.sources import microphones

    for found in microphones():
        print(found.default, found.rate, found.channels, found)
"""

DEAF = """
    from monitor.sources import Microphone

    with Microphone() as microphone:
        blocks = microphone.blocks(timeout=0.3)
        while next(blocks) is None:
            pass  # a source that slept takes up to two seconds to wake
        print("hearing", flush=True)
        input()
        while not (block := next(blocks)) or not block.note:
            pass
        print("deaf", block.note, flush=True)
    print("closed", flush=True)
"""

GONE = """
    from analysis.errors import SoundError
    from monitor.sources import Microphone

    try:
        microphone = Microphone()
        print("found", flush=True)
        input()
        with microphone:
            print("open")
    except SoundError as error:
        print(error)
"""


def python(script: str, *words: str, env: dict[str, str]) -> subprocess.Popen[str]:
    """Start a Python program that can be talked to."""
    command = [sys.executable, "-c", textwrap.dedent(script), *words]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, env=env, stdin=pipe, stdout=pipe, stderr=pipe, text=True)


def write_tone(path: Path, frequency: float, *, rate: int, seconds: float) -> None:
    """Write a sine at half of full scale."""
    at = np.arange(round(rate * seconds)) / rate
    samples = (0.5 * 32767 * np.sin(2 * np.pi * frequency * at)).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(samples.tobytes())


@pytest.mark.parametrize(("device", "rate"), [("", 0), ("pulse", 48000)])
def test_a_played_tone_is_heard(sound_server: dict[str, str], tmp_path: Path, device: str, rate: int):
    """A tone played into the sound server is heard at its frequency and level, at the rate that is told."""
    write_tone(tmp_path / "tone.wav", 1000.0, rate=48000, seconds=20)
    player = subprocess.Popen(["paplay", tmp_path / "tone.wav"], env=sound_server)
    try:
        listener = python(LISTEN, str(tmp_path / "heard.npy"), device, str(rate), env=sound_server)
        said, complaint = listener.communicate(timeout=20)
    finally:
        player.kill()
        player.wait()

    assert (listener.returncode, complaint) == (0, "")
    told, name = said.split()
    assert told == str(rate or 44100), "ALSA's PulseAudio device prefers 44.1 kHz"
    assert name == (device or "default")
    heard = np.load(tmp_path / "heard.npy")[-int(told) :].astype(float)
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard)))) / (len(heard) / 4)
    assert np.argmax(spectrum) == 1000, "one second of sound has one bin per hertz"
    assert spectrum.max() == pytest.approx(0.5, rel=0.01)


def test_the_microphones_are_listed(sound_server: dict[str, str]):
    """The list names the sound server's device, with one default, each with a rate and channels."""
    listing = python(LIST, env=sound_server)
    said, complaint = listing.communicate(timeout=20)

    assert (listing.returncode, complaint) == (0, "")
    lines = [line.split() for line in said.splitlines()]
    assert "'pulse'" in [line[4] for line in lines]
    assert [line[0] for line in lines].count("True") == 1
    assert all(int(line[1]) > 0 and int(line[2]) > 0 for line in lines)


def test_a_server_that_dies_is_noticed(sound_daemon: SoundServer):
    """When the sound server stops, the microphone says so, and still closes; nobody else chats about it."""
    listener = python(DEAF, env=sound_daemon.env)
    try:
        assert listener.stdout is not None
        assert listener.stdout.readline() == "hearing\n"
        sound_daemon.stop()
        said, complaint = listener.communicate("go on\n", timeout=20)
    finally:
        listener.kill()
        listener.wait()

    assert (listener.returncode, complaint) == (0, "")
    deaf, closed = said.splitlines()
    assert deaf.startswith("deaf ")
    assert deaf.endswith(": looking for it")
    assert closed == "closed"


def test_a_microphone_that_cannot_be_opened_is_one_clear_line(sound_daemon: SoundServer):
    """A server that is gone when listening begins is one line, without the system's chatter."""
    listener = python(GONE, env=sound_daemon.env)
    assert listener.stdout is not None
    assert listener.stdout.readline() == "found\n"
    sound_daemon.stop()
    said, complaint = listener.communicate("go on\n", timeout=20)

    assert said.startswith("cannot listen to default at 44100 Hz (")
    assert (said.count("\n"), complaint) == (1, "")


def test_without_a_server_there_is_no_microphone(sound_daemon: SoundServer):
    """Where the only microphone was the sound server's and it does not run, the error says to plug one in."""
    sound_daemon.stop()
    listener = python(GONE, env=sound_daemon.env)
    said, complaint = listener.communicate("go on\n", timeout=20)

    assert said == "no microphone was found: plug one in, then start again\n"
    assert complaint == ""
