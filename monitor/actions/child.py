"""Programs that are started, and ended with all that they started when they take too long."""

import os
import signal
import subprocess
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import IO

from monitor.actions.kind import ActionError

# Bytes that are kept of a program's output: its last line is told.
_TAIL = 2000

# s to read out what a program said when it is over: something that it started may hold its output open.
_READ_OUT = 0.2

# s between two looks at what a program has said.
_LOOK = 0.01


class Child:
    """
    A program that runs in a group of its own.

    Parameters
    ----------
    arguments
        The program and its arguments; no shell reads them.
    env
        What is added to the environment.

    Raises
    ------
    ActionError
        When it cannot be started.
    """

    def __init__(self, arguments: Sequence[str], env: Mapping[str, str] | None = None) -> None:
        self._process = _started(arguments, env or {})
        self._tail = b""
        self._reader = threading.Thread(target=self._read, args=(self._process.stdout,), daemon=True)
        self._reader.start()

    @property
    def runs(self) -> bool:
        """Whether it is not over yet."""
        return self._process.poll() is None

    def says(self, text: str, within: float) -> bool:
        """Wait until it has said something; return False when it ends, or the time does, before it has."""
        end = time.monotonic() + within
        while text.encode() not in self._tail:
            if not self.runs or time.monotonic() > end:
                return False
            time.sleep(_LOOK)
        return True

    def finish(self, given: str, limit: float) -> str:
        """
        Give it its standard input and wait for its end; return the last line that it said.

        Raises
        ------
        ActionError
            When it fails, or is not over after ``limit`` seconds and has been ended.
        """
        _give(self._process.stdin, given)
        try:
            status = self._process.wait(limit)
        except subprocess.TimeoutExpired:
            self.end()
            raise ActionError(f"ended, because it was not over after {limit:g} s{self._said()}") from None
        if status:
            raise ActionError(f"failed with status {status}{self._said()}")
        return self._last_line()

    def end(self) -> None:
        """End it at once, and all that it started."""
        _give(self._process.stdin, "")
        with suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(1.0)

    def _said(self) -> str:
        """Return the last line of its output as the end of a sentence."""
        last = self._last_line()
        return f": {last}" if last else ""

    def _last_line(self) -> str:
        self._reader.join(_READ_OUT)
        lines = self._tail.decode(errors="replace").split("\n")
        return next((line.strip() for line in reversed(lines) if line.strip()), "")

    def _read(self, output: IO[bytes]) -> None:
        with output:
            while piece := output.read(_TAIL):
                self._tail = (self._tail + piece)[-_TAIL:]


def _started(arguments: Sequence[str], env: Mapping[str, str]) -> subprocess.Popen[bytes]:
    try:
        return subprocess.Popen(  # noqa: S603 - the user's own program, and no shell
            list(arguments),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            bufsize=0,
            env=os.environ | dict(env),
            start_new_session=True,
        )
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ActionError(f"cannot start '{arguments[0]}' ({reason}): check its name") from error


def _give(pipe: IO[bytes] | None, given: str) -> None:
    """Write and close, unless it is closed; a program need not read, and may be over already."""
    if pipe is not None:
        with suppress(OSError, ValueError), pipe:
            pipe.write(given.encode())
