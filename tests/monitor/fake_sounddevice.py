"""
A PortAudio that does as it is told, for the capturing process: it stands in for the module sounddevice.

It lists what is plugged in when it is imported, and never again, as the real one does. `stage.Stage` tells it
what to do, through a file.
"""

import json
import os
import threading
import time
from array import array
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any


def _told() -> dict[str, Any]:
    told: dict[str, Any] = json.loads((Path(os.environ["CHIPSONG_STAGE"]) / "stage.json").read_text())
    return told


_STAGE = _told()
if _STAGE["fails"]:
    raise {"OSError": OSError, "RuntimeError": RuntimeError}[_STAGE["fails"][0]](_STAGE["fails"][1])

default = SimpleNamespace(device=[_STAGE["default"], -1])


def query_hostapis() -> list[dict[str, str]]:
    """Name two interfaces."""
    return [{"name": "Alpha"}, {"name": "Beta"}]


def query_devices() -> list[dict[str, Any]]:
    """List the devices in PortAudio's words."""
    keys = ("name", "hostapi", "max_input_channels", "default_samplerate")
    return [{"index": i} | dict(zip(keys, d, strict=True)) for i, d in enumerate(_STAGE["devices"])]


class RawInputStream:
    """
    An open stream: each sample is its own number, counted by the clock from the opening.

    So a sample that was lost lacks in the count, and whoever listens can be checked to the sample.
    """

    def __init__(self, *, callback: Callable[..., None], **settings: Any) -> None:
        if _STAGE["refuses"]:
            raise RuntimeError(_STAGE["refuses"])
        asked = {key: settings[key] for key in ("device", "samplerate", "channels", "dtype", "blocksize")}
        (Path(os.environ["CHIPSONG_STAGE"]) / "asked.json").write_text(json.dumps(asked))
        self._callback = callback
        self._finished = settings["finished_callback"]
        self._rate, self._size = settings["samplerate"], settings["blocksize"]
        self._name = _STAGE["devices"][settings["device"]][0]
        self._position = 0
        self._lost = _STAGE["lose"]

    def start(self) -> None:
        """Begin to call back."""
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        begin = time.monotonic()
        while not (told := _told())["ends"]:
            lacking = told["lose"] - self._lost
            self._lost, self._position = told["lose"], self._position + lacking
            end = begin + (self._position + self._size) / self._rate / told["speed"]
            time.sleep(max(0.0, end - time.monotonic()))
            self._call(told, overflow=lacking > 0 and told["tells"])
        self._finished()

    def _call(self, told: dict[str, Any], *, overflow: bool) -> None:
        first = self._position
        self._position += self._size
        if self._name in [device[0] for device in told["devices"]] and not told["silent"]:
            samples = array("f", range(first, self._position))
            self._callback(samples.tobytes(), self._size, None, SimpleNamespace(input_overflow=overflow))
