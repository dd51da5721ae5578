"""A microphone, heard live through PortAudio."""

import os
import queue
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import ModuleType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from analysis.errors import SoundError
from monitor.sources.block import Block

OVERFLOW = "overflow: the computer was too busy and samples were lost"


@dataclass(frozen=True)
class Device:
    """
    Something that sound can be recorded from.

    Attributes
    ----------
    index
        Its number; it may change when something is plugged in.
    name
        Its name; some systems cut it at 31 characters.
    rate
        The sample rate it prefers, Hz.
    channels
        How many channels it has.
    default
        Whether it is taken when nobody chooses.
    api
        Through which part of the system it is reached; the same microphone may be there several times.
    """

    index: int
    name: str
    rate: int
    channels: int
    default: bool
    api: str = ""

    def __str__(self) -> str:
        """Give its number, name and interface, as shown where one has to be chosen."""
        return f"{self.index} '{self.name}' ({self.api})"


def microphones() -> tuple[Device, ...]:
    """
    List what can be recorded from.

    The list is made when PortAudio is first used, and frozen: what is plugged in later is not on it.

    Raises
    ------
    SoundError
        When PortAudio is not installed, or fails.
    """
    audio = _portaudio()
    apis = [str(api["name"]) for api in audio.query_hostapis()]
    default = audio.default.device[0]
    return tuple(
        Device(
            index=int(found["index"]),
            name=str(found["name"]),
            rate=round(found["default_samplerate"]),
            channels=int(found["max_input_channels"]),
            default=found["index"] == default,
            api=apis[found["hostapi"]],
        )
        for found in audio.query_devices()
        if found["max_input_channels"] > 0
    )


def find_microphone(wanted: str | int | None, devices: tuple[Device, ...]) -> Device:
    """
    Return the one device that is meant.

    Parameters
    ----------
    wanted
        Its number, its name, or a part of its name that no other has (case does not matter); ``None``
        for the system's default.
    devices
        What there is, from `microphones`.

    Raises
    ------
    SoundError
        When none or several are meant; the text lists what there is to choose from.
    """
    if not devices:
        raise SoundError("no microphone was found: plug one in, then start again")
    meant = (
        tuple(device for device in devices if device.default) if wanted is None else _named(wanted, devices)
    )
    if len(meant) == 1:
        return meant[0]
    choice = "; ".join(map(str, meant or devices))
    if wanted is None:
        raise SoundError(f"the system names no default microphone: choose one by its number, of {choice}")
    if meant:
        raise SoundError(f"'{wanted}' may mean several microphones: choose one by its number, of {choice}")
    raise SoundError(f"there is no microphone '{wanted}': choose one of {choice}")


def _named(wanted: str | int, devices: tuple[Device, ...]) -> tuple[Device, ...]:
    """Return the devices that ``wanted`` may mean; a whole name goes before a part of one."""
    text = str(wanted).strip().casefold()
    for fits in (
        lambda device: text == str(device.index),
        lambda device: text == device.name.casefold(),
        lambda device: text in f"{device.name}, {device.api}".casefold(),
    ):
        if meant := tuple(filter(fits, devices)):
            return meant
    return ()


class Microphone:
    """
    A microphone, heard live through PortAudio.

    Parameters
    ----------
    device
        Which one, see `find_microphone`.
    rate
        Samples per second, Hz; the device's own when ``None``, which spares the system a conversion.

    Raises
    ------
    SoundError
        When PortAudio is missing, the device is not there or not clear, or it does not take the rate.

    Notes
    -----
    PortAudio calls back on a thread of its own, which must never wait: the callback copies and queues,
    nothing else. The queue has no limit, so that a busy reader loses nothing.
    """

    def __init__(self, device: str | int | None = None, rate: int | None = None) -> None:
        self._audio = _portaudio()
        self._device = find_microphone(device, microphones())
        self._rate = rate or self._device.rate
        self._queue: queue.SimpleQueue[Block | None] = queue.SimpleQueue()
        self._stream: Any = None

    @property
    def name(self) -> str:
        """The device's name."""
        return self._device.name

    @property
    def rate(self) -> int:
        """Samples per second, Hz."""
        return self._rate

    def blocks(self, timeout: float = 0.5) -> Iterator[Block | None]:
        """
        Give what is heard, for as long as the microphone is open.

        Parameters
        ----------
        timeout
            How long to wait for sound, s.

        Yields
        ------
        Block or None
            The next samples, or ``None`` when nothing arrived for ``timeout`` seconds.
        """
        while self._stream is not None:
            try:
                block = self._queue.get(timeout=timeout)
            except queue.Empty:
                yield None
                continue
            if block is None:
                return
            yield block

    def _called_back(self, samples: NDArray[np.float32], _frames: int, _time: object, status: Any) -> None:  # noqa: ANN401
        note = OVERFLOW if status.input_overflow else ""
        self._queue.put(Block(samples[:, 0].copy(), note))

    def close(self) -> None:
        """Stop listening; whoever waits in `blocks` is let go."""
        stream, self._stream = self._stream, None
        self._queue.put(None)
        if stream is not None:
            stream.close(ignore_errors=True)

    def __enter__(self) -> Self:
        """Begin to listen."""
        try:
            with _system_chatter_off():
                self._stream = self._audio.InputStream(
                    device=self._device.index,
                    samplerate=self._rate,
                    channels=1,
                    dtype="float32",
                    callback=self._called_back,
                )
                self._stream.start()
        except self._audio.PortAudioError as error:
            self.close()
            raise self._refused(error) from error
        return self

    def _refused(self, error: Exception) -> SoundError:
        own = self._device.rate
        advice = f"leave the rate at its own {own} Hz" if self._rate != own else "let nothing else use it"
        return SoundError(f"cannot listen to {self.name} at {self._rate} Hz ({_reason(error)}): {advice}")

    def __exit__(self, *_: object) -> None:
        """Stop listening."""
        self.close()


def _portaudio() -> ModuleType:
    """Import sounddevice: the one place, because it opens PortAudio when imported and may fail at it."""
    try:
        import sounddevice  # noqa: PLC0415 - see above
    except OSError as error:
        raise SoundError(
            "PortAudio is missing, and without it no microphone can be heard: "
            "install it (on Debian: apt-get install libportaudio2)"
        ) from error
    except Exception as error:
        raise SoundError(
            f"PortAudio does not start ({_reason(error)}): start the sound system first"
        ) from error
    module: ModuleType = sounddevice
    return module


@contextmanager
def _system_chatter_off() -> Iterator[None]:
    """Keep ALSA and PortAudio from writing to standard error, which is for our own one line."""
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(nowhere)
        os.close(kept)


def _reason(error: Exception) -> str:
    """Return an error's text as one line."""
    return " ".join(str(error).split()) or type(error).__name__
