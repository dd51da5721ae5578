"""The capturing process, as its parent sees it."""

import json
import os
import queue
import subprocess
import sys
import threading
import time
import weakref
from contextlib import suppress
from typing import IO, Any, Final

from analysis.errors import SoundError
from monitor.capture.wire import DEVICES, FAILED, Message, read_message
from monitor.interpreter import module_path

COMMAND: tuple[str, ...] = (sys.executable, "-P", "-m", "monitor.capture")
"""How the process is started."""

# Seconds in which the process must have said what there is; a sound server that hangs holds it up.
_PATIENCE: Final = 15.0

# Messages that wait in this process: about two seconds. More waits in the other one, which counts it; how
# long it takes, s, until this one takes more.
_ROOM: Final = 24
_REST: Final = 0.05

# Seconds that a process gets to be gone when it is ended. Then the wait is left to a thread: what a driver
# holds up cannot even be killed, and whoever listens has something to say.
_GOING: Final = 0.8

# Not a Queue: its locks cost more than all the rest.
_Messages = queue.SimpleQueue[Message | None]


class Child:
    """
    A capturing process, see `monitor.capture`.

    It is stopped at the latest when this object is forgotten, and ends by itself when this process does.

    Raises
    ------
    SoundError
        When the system starts no more processes.
    """

    def __init__(self) -> None:
        try:
            self._process = _started()
        except OSError as error:
            raise SoundError(
                f"cannot start the process that listens ({error.strerror}): end others"
            ) from error
        self._messages: _Messages = queue.SimpleQueue()
        self._over = threading.Event()
        assert self._process.stdout is not None  # noqa: S101 - for the types: a pipe was asked for
        self._reader = threading.Thread(
            target=_read, args=(self._process.stdout, self._messages, self._over), daemon=True
        )
        self._reader.start()
        self._forgotten = weakref.finalize(self, _end, self._process)

    @property
    def pid(self) -> int:
        """The number of the process."""
        return self._process.pid

    @property
    def gone(self) -> bool:
        """Whether the process has ended."""
        return self._process.poll() is not None

    def get(self, timeout: float) -> Message | None:
        """
        Return the next message, ``None`` when the process has ended.

        Raises
        ------
        queue.Empty
            When there is none for ``timeout`` seconds.
        """
        return self._messages.get(timeout=timeout)

    def first(self) -> list[dict[str, Any]]:
        """
        Return its first word: what there is to record from.

        Raises
        ------
        SoundError
            When PortAudio is not there or does not start.
        """
        message = self.reply()
        if message.kind == DEVICES:
            devices: list[dict[str, Any]] = message.told
            return devices
        raise _no_portaudio(message)

    def reply(self) -> Message:
        """
        Wait for a message.

        Raises
        ------
        SoundError
            When none comes.
        """
        try:
            message = self.get(_PATIENCE)
        except queue.Empty:
            raise SoundError("the sound system does not answer: start it anew") from None
        if message is None:
            raise SoundError("the process that listens ended at once: see whether memory is short")
        return message

    def open(self, device: int, rate: int, source: str | None) -> None:
        """Ask it to open a device; ``source`` is the sound server's microphone, where there was one."""
        request = json.dumps({"device": device, "rate": rate, "source": source}) + "\n"
        assert self._process.stdin is not None  # noqa: S101 - as above
        with suppress(OSError):  # it has ended: that is its next message
            self._process.stdin.write(request.encode())
            self._process.stdin.flush()

    def stop(self) -> None:
        """End it; whoever waits for a message is let go, though a process may take long to be gone."""
        self._over.set()
        self._forgotten()
        self._reader.join(_GOING)
        _empty(self._messages)
        self._messages.put(None)


def _started() -> "subprocess.Popen[bytes]":
    return subprocess.Popen(  # noqa: S603 - our own command
        COMMAND,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        # PortAudio, ALSA and the sound server's library chat there, from threads of their own.
        stderr=subprocess.DEVNULL,
        env=os.environ | {"PYTHONPATH": module_path()},
        # Ctrl-C and Ctrl-Z in a terminal are meant for this process.
        start_new_session=True,
    )


def _read(pipe: IO[bytes], messages: _Messages, over: threading.Event) -> None:
    """Take what the process says, until it ends, or ``over`` says that nobody asks any more."""
    with pipe:
        while not over.is_set() and (message := read_message(pipe.read)) is not None:
            messages.put(message)
            while messages.qsize() > _ROOM and not over.is_set():
                time.sleep(_REST)
    messages.put(None)


def _empty(messages: _Messages) -> None:
    while True:
        try:
            messages.get_nowait()
        except queue.Empty:
            return


def _end(process: "subprocess.Popen[bytes]") -> None:
    process.kill()
    try:
        process.wait(_GOING)
    except subprocess.TimeoutExpired:
        # While this process ends itself no thread begins, and nothing is left to do.
        with suppress(RuntimeError):
            threading.Thread(target=process.wait, daemon=True).start()
    assert process.stdin is not None  # noqa: S101 - as above
    with suppress(OSError):  # what it was asked last it never read
        process.stdin.close()


def _no_portaudio(message: Message) -> SoundError:
    if message.kind != FAILED:
        return SoundError("the process that listens does not answer as it should: install chipsong anew")
    told = message.told
    if told["absent"]:
        return SoundError(
            "PortAudio is missing, and without it no microphone can be heard: "
            "install it (on Debian: apt-get install libportaudio2)"
        )
    return SoundError(f"PortAudio does not start ({told['because']}): start the sound system first")
