"""A PortAudio that does as it is told, or is not there."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any, Self

FINE, LOST = SimpleNamespace(input_overflow=False), SimpleNamespace(input_overflow=True)


class FakeError(Exception):
    """Stands for PortAudio's own error."""


class FakeStream:
    """Stands for an open stream: the test calls back in place of PortAudio's thread."""

    def __init__(self, callback: Callable[..., None], **settings: Any) -> None:
        self.callback, self.settings, self.state = callback, settings, "new"

    def start(self) -> None:
        """Begin."""
        self.state = "started"

    def close(self, *, ignore_errors: bool) -> None:
        """End."""
        self.state = f"closed, {ignore_errors=}"


class FakePortAudio(SimpleNamespace):
    """Stands for the module sounddevice."""

    def __init__(self, devices: list[tuple[str, int, int, float]], default: int = -1) -> None:
        super().__init__(default=SimpleNamespace(device=[default, -1]), PortAudioError=FakeError)
        self.devices = devices
        self.streams: list[FakeStream] = []
        self.refuses = ""

    def query_hostapis(self) -> list[dict[str, str]]:
        """Name two interfaces."""
        return [{"name": "Alpha"}, {"name": "Beta"}]

    def query_devices(self) -> list[dict[str, Any]]:
        """List the devices in PortAudio's words."""
        keys = ("name", "hostapi", "max_input_channels", "default_samplerate")
        return [{"index": i} | dict(zip(keys, d, strict=True)) for i, d in enumerate(self.devices)]

    def InputStream(self, **settings: Any) -> FakeStream:  # noqa: N802 - its name there
        """Open a stream, unless told to refuse."""
        if self.refuses:
            raise FakeError(self.refuses)
        self.streams.append(FakeStream(**settings))
        return self.streams[-1]


class Absent:
    """Makes ``import sounddevice`` fail as it does where PortAudio is not installed, or not at peace."""

    def __init__(self, error: Exception) -> None:
        self.error = error

    def find_spec(self, name: str, *_: object) -> Self | None:
        """Fail for this one module."""
        if name == "sounddevice":
            raise self.error
        return None


DEVICES = [
    ("Loudspeaker", 0, 0, 48000.0),
    ("Built-in", 0, 2, 44100.0),
    ("USB Microphone", 0, 1, 48000.0),
    ("USB Microphone 2", 0, 1, 48000.0),
    ("Webcam", 0, 1, 16000.0),
    ("Webcam", 1, 1, 16000.0),
]
