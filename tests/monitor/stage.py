"""What the tests tell the PortAudio that `fake_sounddevice` plays in the capturing process."""

import json
import sys
from pathlib import Path
from typing import Any

import pytest

Kind = tuple[str, int, int, float]

DEVICES: list[Kind] = [
    ("Loudspeaker", 0, 0, 48000.0),
    ("Built-in", 0, 2, 44100.0),
    ("USB Microphone", 0, 1, 8000.0),
    ("USB Microphone 2", 0, 1, 48000.0),
    ("Webcam", 0, 1, 16000.0),
    ("Webcam", 1, 1, 16000.0),
]

_START = """
import sys
sys.path.insert(0, {tests!r})
try:
    import fake_sounddevice as sounddevice
except Exception as wrong:
    class Fails:
        why = wrong
        def find_spec(self, name, *_):
            if name == "sounddevice":
                raise self.why
    sys.meta_path.insert(0, Fails())
else:
    sys.modules["sounddevice"] = sounddevice
import monitor.capture.__main__ as capture
capture.ROOM = {room}
capture.main()
"""


class Stage:
    """
    A PortAudio that does as it is told.

    Parameters
    ----------
    folder
        Where the capturing process reads what to do.
    monkeypatch
        Lets that process be started with the fake in place of the real PortAudio, and no sound server.
    """

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._folder = folder
        self._monkeypatch = monkeypatch
        self._told: dict[str, Any] = {
            "devices": DEVICES,
            "default": 1,
            "fails": None,
            "refuses": "",
            "silent": False,
            "lose": 0,
            "tells": False,
            "ends": False,
            "speed": 1.0,
        }
        monkeypatch.setenv("CHIPSONG_STAGE", str(folder))
        monkeypatch.setenv("PULSE_SERVER", f"unix:{folder / 'nobody'}")
        self.room(60.0)
        self.tell()

    def room(self, seconds: float) -> None:
        """Let so many seconds of sound wait for a parent that does not read."""
        script = _START.format(tests=str(Path(__file__).parent), room=seconds)
        self._monkeypatch.setattr("monitor.sources.child.COMMAND", (sys.executable, "-P", "-c", script))

    def tell(self, **changed: Any) -> None:
        """
        Change what is so from now on.

        What there may be: ``devices`` and ``default``, ``fails`` (an exception's name and text) when
        PortAudio starts, ``refuses`` to open, ``silent`` (nothing arrives), ``lose`` (samples lost so far)
        and whether it ``tells`` so, ``ends``, and ``speed`` against the clock.
        """
        self._told |= changed
        half = self._folder / "half"
        half.write_text(json.dumps(self._told))
        half.replace(self._folder / "stage.json")

    @property
    def asked(self) -> dict[str, Any]:
        """With what the last stream was opened."""
        asked: dict[str, Any] = json.loads((self._folder / "asked.json").read_text())
        return asked
