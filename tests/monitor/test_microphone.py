"""The microphone with a PortAudio that does as it is told; test_sound_stack.py has the real one."""

import subprocess
import sys
import threading

import numpy as np
import pytest
from fake_portaudio import DEVICES, FINE, LOST, Absent, FakePortAudio

from analysis.errors import SoundError
from monitor.sources import OVERFLOW, Device, Microphone, Source, find_microphone, microphones


@pytest.fixture
def audio(monkeypatch: pytest.MonkeyPatch) -> FakePortAudio:
    """Put a PortAudio with some devices in place of the real one."""
    fake = FakePortAudio(DEVICES, default=1)
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    return fake


@pytest.mark.usefixtures("audio")
def test_only_what_records_is_listed():
    """The list has the devices with input channels, their own rates, and marks the default."""
    assert microphones()[:2] == (
        Device(1, "Built-in", 44100, 2, default=True, api="Alpha"),
        Device(2, "USB Microphone", 48000, 1, default=False, api="Alpha"),
    )
    assert [device.index for device in microphones()] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    ("wanted", "index"),
    [
        (None, 1),
        (2, 2),
        ("2", 2),
        ("usb microphone", 2),
        ("microphone 2", 3),
        ("built", 1),
        ("webcam, beta", 5),
    ],
)
@pytest.mark.usefixtures("audio")
def test_a_microphone_is_found(wanted: str | int | None, index: int):
    """By number, by whole name before a part of another's, by a part, with its interface, or by default."""
    assert find_microphone(wanted, microphones()).index == index


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        ("USB", r"may mean several.*2 'USB Microphone' \(Alpha\); 3 'USB Microphone 2' \(Alpha\)$"),
        ("webcam", r"may mean several.*4 'Webcam' \(Alpha\); 5 'Webcam' \(Beta\)$"),
        ("phone booth", r"there is no microphone 'phone booth': choose one of 1 'Built-in'"),
        (0, r"there is no microphone '0'"),
        (-1, r"there is no microphone '-1'"),
    ],
)
@pytest.mark.usefixtures("audio")
def test_an_unclear_or_unknown_microphone_lists_the_choice(wanted: str | int, said: str):
    """None or several that fit is a SoundError of one line, with the candidates."""
    with pytest.raises(SoundError, match=said) as caught:
        Microphone(wanted)
    assert "\n" not in str(caught.value)


def test_no_microphone_at_all_is_said(audio: FakePortAudio):
    """Where nothing records, the error says to plug one in."""
    audio.devices = DEVICES[:1]
    with pytest.raises(SoundError, match="no microphone was found: plug one in"):
        Microphone()


def test_no_default_is_not_guessed(audio: FakePortAudio):
    """Where the system names no default, one has to be chosen."""
    audio.default.device[0] = -1
    with pytest.raises(SoundError, match="no default microphone: choose one by its number"):
        Microphone()


def test_the_devices_own_rate_is_taken(audio: FakePortAudio):
    """Without a rate the device's own is used, and one channel of float32 is asked for."""
    with Microphone("usb microphone") as microphone:
        source: Source = microphone
        assert (source.rate, source.name) == (48000, "USB Microphone")
    settings = audio.streams[0].settings
    assert settings == {"device": 2, "samplerate": 48000, "channels": 1, "dtype": "float32"}


def test_what_was_called_back_is_given(audio: FakePortAudio):
    """Each callback's samples come once and in order, copied, since PortAudio uses its buffer again."""
    buffer = np.zeros((4, 1), dtype=np.float32)
    with Microphone() as microphone:
        for value in (1, 2, 3):
            buffer[:] = value
            audio.streams[0].callback(buffer, 4, None, FINE)
        blocks = microphone.blocks(timeout=0.01)
        got = [next(blocks) for _ in range(4)]
    assert [block and list(block.samples) for block in got] == [[1] * 4, [2] * 4, [3] * 4, None]
    assert [block.note for block in got if block] == ["", "", ""]


def test_an_overflow_is_noted_where_it_was(audio: FakePortAudio):
    """The block before which samples were lost says so, the others do not."""
    silence = np.zeros((4, 1), dtype=np.float32)
    with Microphone() as microphone:
        for status in (FINE, LOST, FINE):
            audio.streams[0].callback(silence, 4, None, status)
        blocks = microphone.blocks(timeout=0.01)
        assert [block.note for block in (next(blocks) for _ in range(3)) if block] == ["", OVERFLOW, ""]


def test_a_slow_listener_loses_nothing(audio: FakePortAudio):
    """However far the listener is behind, all samples wait for it."""
    with Microphone() as microphone:
        for number in range(10_000):
            audio.streams[0].callback(np.full((2, 1), number, dtype=np.float32), 2, None, FINE)
        blocks = microphone.blocks(timeout=0.01)
        got = [block.samples[0] for block in (next(blocks) for _ in range(10_000)) if block]
    assert got == list(range(10_000))


def test_closing_lets_a_waiting_listener_go(audio: FakePortAudio):
    """Whoever waits for sound is let go when the microphone is closed, long before the time-out."""
    with Microphone() as microphone:
        listener = threading.Thread(target=lambda: list(microphone.blocks(timeout=60)))
        listener.start()
        microphone.close()
        listener.join(timeout=5)
        assert not listener.is_alive()
    assert audio.streams[0].state == "closed, ignore_errors=True"


def test_it_can_be_closed_twice(audio: FakePortAudio):
    """Closing again does nothing, and a closed microphone hears nothing."""
    with Microphone() as microphone:
        microphone.close()
        microphone.close()
        assert list(microphone.blocks()) == []
    assert len(audio.streams) == 1


@pytest.mark.parametrize(
    ("rate", "said"),
    [
        (None, r"cannot listen to Built-in at 44100 Hz \(Device busy \[-9985\]\): let nothing else use it"),
        (12345, r"cannot listen to Built-in at 12345 Hz .*: leave the rate at its own 44100 Hz"),
    ],
)
def test_a_refused_stream_is_one_line(audio: FakePortAudio, rate: int | None, said: str):
    """A microphone that does not open is a SoundError with PortAudio's reason and what to do."""
    audio.refuses = "Device busy\n [-9985]"
    with pytest.raises(SoundError, match=said) as caught, Microphone(rate=rate):
        pass
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (OSError("PortAudio library not found"), "PortAudio is missing.*apt-get install libportaudio2"),
        (RuntimeError("Error initializing\nPortAudio"), r"does not start \(Error initializing PortAudio\)"),
    ],
)
def test_without_portaudio_there_is_one_clear_line(
    monkeypatch: pytest.MonkeyPatch, error: Exception, said: str
):
    """A machine without PortAudio gets a SoundError that says how to install it."""
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Absent(error), *sys.meta_path])
    with pytest.raises(SoundError, match=said) as caught:
        microphones()
    assert "\n" not in str(caught.value)


def test_nothing_heavy_is_loaded_at_the_start():
    """Importing the sources loads neither PortAudio nor libsndfile nor scipy."""
    script = (
        "import sys, monitor.sources, monitor.journal, monitor.linefeed, monitor.testing\n"
        "heavy = {'sounddevice', 'soundfile', 'scipy', 'matplotlib', 'pydantic', 'platformdirs'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
