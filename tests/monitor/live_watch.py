"""``chipsong watch`` as a process of its own, and sound that is played for it."""

import json
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

from contract import Ended

Event = dict[str, Any]

# The command as the installed script starts it.
COMMAND = (sys.executable, "-c", "from monitor.cli import main; main()")


class Watch:
    """
    `chipsong watch --json` as a process of its own; its events come as they are written.

    Attributes
    ----------
    arrived
        When the last event that was taken was read, by `time.monotonic`, s.
    """

    def __init__(self, env: dict[str, str], *words: object) -> None:
        command = [*COMMAND, "watch", "--json", *map(str, words)]
        pipe = subprocess.PIPE
        self._process = subprocess.Popen(command, env=env, stdout=pipe, stderr=pipe, text=True)
        self._lines: list[str] = []
        self._queue: queue.Queue[tuple[float, str]] = queue.Queue()
        self.arrived = 0.0
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._lines.append(line)
            self._queue.put((time.monotonic(), line))

    def wait_for(self, name: str, seconds: float = 60.0) -> Event:
        """Return the next event of a name; TimeoutError when it does not come."""
        end = time.monotonic() + seconds
        while True:
            try:
                self.arrived, line = self._queue.get(timeout=max(0.0, end - time.monotonic()))
            except queue.Empty:
                raise TimeoutError(f"no {name} within {seconds} s, only {self._lines}") from None
            event: Event = json.loads(line)
            if event["event"] == name:
                return event

    def so_far(self) -> list[Event]:
        """Return the events that nobody has waited for."""
        events = []
        while not self._queue.empty():
            self.arrived, line = self._queue.get()
            events.append(json.loads(line))
        return events

    @property
    def pid(self) -> int:
        """The number of the process."""
        return self._process.pid

    def ask_to_end(self) -> None:
        """Ask it to end, as the system does."""
        self._process.send_signal(signal.SIGTERM)

    def ended(self) -> Ended:
        """Wait for its end; return how it ended."""
        status = self._process.wait(timeout=60)
        self._reader.join()
        assert self._process.stderr is not None
        return Ended(status, "".join(self._lines), self._process.stderr.read())

    def __enter__(self) -> Self:
        """Give itself; it runs already."""
        return self

    def __exit__(self, *_: object) -> None:
        """End it, whatever it is at."""
        self._process.kill()
        self._process.wait()
        self._reader.join()
        for pipe in (self._process.stdout, self._process.stderr):
            assert pipe is not None
            pipe.close()


@contextmanager
def playing(path: Path, env: dict[str, str], *words: str) -> Iterator[subprocess.Popen[bytes]]:
    """Play a file into the sound server; stop when left."""
    player = subprocess.Popen(["paplay", *words, path], env=env, stderr=subprocess.DEVNULL)
    try:
        yield player
    finally:
        player.kill()
        player.wait()
