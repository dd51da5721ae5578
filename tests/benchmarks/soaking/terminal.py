"""``chipsong watch`` as a person starts it: on a terminal."""

import fcntl
import os
import pty
import signal
import struct
import subprocess
import sys
import termios
import threading
from typing import Self

_COMMAND = (sys.executable, "-c", "from monitor.cli import main; main()", "watch")
_SIZE = 24, 80


class OnTerminal:
    """
    `chipsong watch` on a terminal of 80 by 24 that somebody reads.

    Attributes
    ----------
    shown
        How many bytes were written there.
    """

    def __init__(self, env: dict[str, str], *words: str) -> None:
        self.shown = 0
        self._near, far = pty.openpty()
        fcntl.ioctl(far, termios.TIOCSWINSZ, struct.pack("HHHH", *_SIZE, 0, 0))
        self._process = subprocess.Popen(
            [*_COMMAND, *words], env=env | {"TERM": "xterm"}, stdin=far, stdout=far, start_new_session=True
        )
        os.close(far)
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    @property
    def pid(self) -> int:
        """The number of the process."""
        return self._process.pid

    @property
    def ended(self) -> bool:
        """Whether it has ended."""
        return self._process.poll() is not None

    def __enter__(self) -> Self:
        """Give itself; it runs already."""
        return self

    def __exit__(self, *_: object) -> None:
        """Press Ctrl-C, and wait for its end."""
        self._process.send_signal(signal.SIGINT)
        self._process.wait(60)
        self._reader.join()
        os.close(self._near)

    def _read(self) -> None:
        while True:
            try:
                came = os.read(self._near, 65536)
            except OSError:  # the other side is closed
                return
            self.shown += len(came)
