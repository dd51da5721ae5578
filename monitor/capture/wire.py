"""What the capturing process and its parent say to each other."""

import json
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

DEVICES: Final = b"d"
"""What there is to record from, a list; the first word of the process."""
FAILED: Final = b"f"
"""PortAudio is ``absent``, or does not start: {``absent``, ``because``}; the last word."""
OPENED: Final = b"o"
"""The microphone is open."""
REFUSED: Final = b"r"
"""The microphone did not open, or ended: {``because``}."""
PLACE: Final = b"p"
"""What the sound server says of this recording (`Place`), ``null`` when it is gone or never had it."""
SOUND: Final = b"s"
"""Samples, float32 in the machine's own byte order."""
OVERFLOWED: Final = b"l"
"""Samples, before which PortAudio lost some."""

# Kind, bytes that follow, when it was called back, number of the first sample counted from the opening.
_HEADER = struct.Struct("=cxxxIdq")


@dataclass(frozen=True)
class Place:
    """
    Where a sound server says that a recording comes from.

    Attributes
    ----------
    source
        The microphone's name in the server; it stays the same on another port.
    label
        Its name for people.
    default
        The source that is the server's default now.
    gain
        Of the microphone and the recording together, as mixers show it, %.
    """

    source: str
    label: str
    default: str
    gain: int

    def __str__(self) -> str:
        """Give its name for people, and the one in the server, for two may have the same for people."""
        return f"{self.label} ({self.source})"


@dataclass(frozen=True)
class Message:
    """
    One message of the capturing process.

    Attributes
    ----------
    kind
        One of the words above.
    body
        Samples, or JSON.
    at
        When the samples were called back, by `clock`, s.
    first
        Number of the first sample, counted from the opening of the microphone; what was dropped counts.
    """

    kind: bytes
    body: bytes = b""
    at: float = 0.0
    first: int = 0

    def packed(self) -> bytes:
        """Return it as it goes through the pipe."""
        return _HEADER.pack(self.kind, len(self.body), self.at, self.first) + self.body

    @property
    def told(self) -> Any:  # noqa: ANN401 - JSON
        """What its JSON says."""
        return json.loads(self.body)


def told(kind: bytes, what: object) -> Message:
    """Return a message that holds JSON."""
    return Message(kind, json.dumps(what).encode())


def read_message(read: Callable[[int], bytes]) -> Message | None:
    """Return the next message, ``None`` when the other side is gone; ``read`` waits for all it is asked."""
    header = read(_HEADER.size)
    if len(header) < _HEADER.size:
        return None
    kind, size, at, first = _HEADER.unpack(header)
    body = read(size)
    return Message(kind, body, at, first) if len(body) == size else None


# The clock that goes on while a laptop sleeps, where there is one: the machine may cut on meanwhile.
_BOOT: Final = getattr(time, "CLOCK_BOOTTIME", None)


def clock() -> float:
    """Return seconds on a clock that both processes share, and that nobody sets."""
    return time.monotonic() if _BOOT is None else time.clock_gettime(_BOOT)
