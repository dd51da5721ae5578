"""``chipsong watch`` as a person starts it: on a terminal."""

import fcntl
import os
import pty
import signal
import struct
import sys
import termios
import threading
from typing import Self

_COMMAND = (sys.executable, "-c", "from monitor.cli import main; main()", "watch")
_SIZE = 24, 80


class OnTerminal:
    """
    `chipsong watch` on a terminal of its own, 80 by 24, that somebody reads.

    Attributes
    ----------
    pid
        The number of the process.
    """

    def __init__(self, env: dict[str, str], *words: str) -> None:
        self.pid, self._near = pty.fork()
        if not self.pid:
            os.execvpe(sys.executable, [*_COMMAND, *words], env | {"TERM": "xterm"})  # noqa: S606 - no shell
        fcntl.ioctl(self._near, termios.TIOCSWINSZ, struct.pack("HHHH", *_SIZE, 0, 0))
        self._over = False
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    @property
    def ended(self) -> bool:
        """Whether it has ended."""
        self._over = self._over or os.waitpid(self.pid, os.WNOHANG)[0] != 0
        return self._over

    def __enter__(self) -> Self:
        """Give itself; it runs already."""
        return self

    def __exit__(self, *_: object) -> None:
        """Ask it to end (Ctrl-C would not do where this runs in the background), and wait for that."""
        if not self.ended:
            os.kill(self.pid, signal.SIGTERM)
            os.waitpid(self.pid, 0)
        self._reader.join()
        os.close(self._near)

    def _read(self) -> None:
        while True:
            try:
                os.read(self._near, 65536)
            except OSError:  # the other side is closed
                return
