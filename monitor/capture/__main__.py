"""
Open one microphone and pass on what it hears, until the parent is gone.

It says what there is to record from, waits for one line of JSON on its standard input ({``device``, ``rate``,
``source``}), opens that, and writes messages (`monitor.capture.wire`) to its standard output. It decides
nothing. It ends when its standard input does, so that it cannot outlive its parent, however that ends.
"""

import json
import os
import queue
import signal
import sys
import threading
import time
from contextlib import suppress
from dataclasses import asdict
from types import ModuleType
from typing import Any

from monitor.capture.pulse import Server
from monitor.capture.wire import (
    DEVICES,
    FAILED,
    OPENED,
    OVERFLOWED,
    PLACE,
    REFUSED,
    SOUND,
    Message,
    Place,
    clock,
    told,
)
from monitor.trouble import one_line

BLOCK = 0.08
"""Seconds of sound in a message: shorter ones are heard sooner, and each costs."""
ROOM = 60.0
"""Seconds of sound that wait for a parent that does not read; of more the newest is dropped, and counted."""

# How often the sound server is asked where the sound comes from, s.
_LOOK = 0.5
# After how many looks in vain the microphone is taken to be no matter of a sound server.
_LOOKS = 6


class Outbox:
    """
    What waits to be written; whoever puts something in never waits.

    Parameters
    ----------
    file
        Where it is written.
    room
        How many messages may wait when samples come.
    """

    def __init__(self, file: int, room: int) -> None:
        self._file = file
        self._room = room
        self._waiting: queue.SimpleQueue[Message] = queue.SimpleQueue()

    def put(self, message: Message) -> None:
        """Put in a message."""
        self._waiting.put(message)

    def put_sound(self, message: Message) -> None:
        """Put in samples, unless there is no room for them."""
        if self._waiting.qsize() < self._room:
            self._waiting.put(message)

    def write_all(self) -> None:
        """Write whatever comes, until nobody reads it any more."""
        while True:
            left = memoryview(self._waiting.get().packed())
            while left:
                left = left[os.write(self._file, left) :]


class Capture:
    """One open microphone."""

    def __init__(self, audio: ModuleType, outbox: Outbox, device: int, rate: int) -> None:
        self._outbox = outbox
        self._position = 0
        self._stream = audio.RawInputStream(
            device=device,
            samplerate=rate,
            channels=1,
            dtype="float32",
            blocksize=round(BLOCK * rate),
            callback=self._called_back,
            finished_callback=lambda: outbox.put(told(REFUSED, {"because": "the stream ended"})),
        )
        self._stream.start()

    def go_on(self) -> None:
        """Stay open for as long as this process lives."""
        threading.Event().wait()

    def _called_back(self, samples: Any, frames: int, _time: object, status: Any) -> None:  # noqa: ANN401 - cffi
        kind = OVERFLOWED if status.input_overflow else SOUND
        self._outbox.put_sound(Message(kind, bytes(samples), clock(), self._position))
        self._position += frames


def main() -> None:
    """Capture until the parent is gone."""
    # Ctrl-C in a terminal is meant for the parent, which still has something to say.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    outbox = Outbox(os.dup(1), round(ROOM / BLOCK))
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    requests: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
    threading.Thread(target=_then_end, args=(_read, requests), daemon=True).start()
    threading.Thread(target=_capture, args=(outbox, requests), daemon=True).start()
    _then_end(outbox.write_all)


def _then_end(work: Any, *given: object) -> None:  # noqa: ANN401 - any work
    """End this process after some work, or when it fails, whatever PortAudio is at: it may hang."""
    try:
        work(*given)
    finally:
        os._exit(0)


def _read(requests: "queue.SimpleQueue[dict[str, Any]]") -> None:
    for line in sys.stdin.buffer:
        requests.put(json.loads(line))


def _capture(outbox: Outbox, requests: "queue.SimpleQueue[dict[str, Any]]") -> None:
    try:
        import sounddevice as audio  # noqa: PLC0415 - opens PortAudio, and may fail at it
    except Exception as error:  # noqa: BLE001 - whatever it is, the parent says it
        absent = isinstance(error, OSError)
        outbox.put(told(FAILED, {"absent": absent, "because": one_line(error)}))
        return
    try:
        outbox.put(told(DEVICES, _devices(audio)))
        request = requests.get()
        _pin(request["source"])
        capture = Capture(audio, outbox, request["device"], request["rate"])
        outbox.put(Message(OPENED))
        _look_around(outbox)
        capture.go_on()
    except Exception as error:  # noqa: BLE001 - as above
        outbox.put(told(REFUSED, {"because": one_line(error)}))


def _devices(audio: ModuleType) -> list[dict[str, Any]]:
    """Return what can be recorded from."""
    apis = [str(api["name"]) for api in audio.query_hostapis()]
    default = audio.default.device[0]
    return [
        {
            "index": int(found["index"]),
            "name": str(found["name"]),
            "rate": round(found["default_samplerate"]),
            "channels": int(found["max_input_channels"]),
            "default": bool(found["index"] == default),
            "api": apis[found["hostapi"]],
        }
        for found in audio.query_devices()
        if found["max_input_channels"] > 0
    ]


def _pin(source: str | None) -> None:
    """
    Let a sound server record from ``source``, or from what is its default now, whatever becomes the default.

    Raises
    ------
    OSError
        When ``source`` is not there.
    """
    wanted, there = source or os.environ.get("PULSE_SOURCE"), True
    with suppress(OSError):  # without such a server PortAudio reaches the device itself
        server = Server()
        wanted = wanted or server.default()
        there = source is None or server.has(source)
    if not there:
        raise OSError(f"{source} is not there")
    if wanted:
        os.environ["PULSE_SOURCE"] = wanted


def _look_around(outbox: Outbox) -> None:
    """Tell where the sound comes from whenever that changes; return when no sound server has it, told too."""
    known: Place | None = None
    server: Server | None = None
    looks = 0
    # A recording that has just begun may not be listed yet.
    while known or looks < _LOOKS:
        place = None
        try:
            server = server or Server()
            place = server.place(os.getpid())
        except TimeoutError:
            place = known  # a server that is busy; if it hangs, data stops
        except OSError:
            server = None
        if place != known:
            outbox.put(told(PLACE, place and asdict(place)))
        known, looks = place, looks + 1
        time.sleep(_LOOK)
    outbox.put(told(PLACE, None))


if __name__ == "__main__":
    main()
