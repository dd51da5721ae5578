"""The table of a shop on a terminal."""

import os
import pty
import select
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest
from receivers import HERE, free_port

# Whoever runs the tests in the background may have had Ctrl-C ignored.
_SCRIPT = """
import fcntl, signal, termios
signal.signal(signal.SIGINT, signal.default_int_handler)
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
from monitor.cli import main
main()
"""


def read_until(file: int, words: bytes) -> None:
    """Read from a terminal until some words come."""
    text, end = b"", time.monotonic() + 60.0
    while words not in text:
        assert select.select([file], [], [], end - time.monotonic())[0], f"no {words!r} in {text!r}"
        text += os.read(file, 65_536)


@pytest.mark.slow
def test_no_key_makes_the_table_stand_still(tmp_path: Path):
    """After Ctrl-S, Ctrl-Z and Ctrl-backslash it goes on; Ctrl-C ends it, and the terminal is as it was."""
    ours, theirs = pty.openpty()
    before = termios.tcgetattr(theirs)
    command = [sys.executable, "-c", _SCRIPT, "shop", f"mqtt://{HERE}:{free_port()}/east"]
    env = os.environ | {"TERM": "xterm", "LANG": "C.UTF-8", "CHIPSONG_HOME": str(tmp_path)}
    with subprocess.Popen(
        command, stdin=theirs, stdout=theirs, stderr=theirs, env=env, start_new_session=True
    ) as shop:
        try:
            read_until(ours, b"Ctrl-C ends it")
            os.write(ours, b"\x1a\x13\x1c")
            for _ in range(3):
                time.sleep(0.3)
                while select.select([ours], [], [], 0)[0]:
                    os.read(ours, 65_536)
                read_until(ours, b"Ctrl-C ends it")
            os.write(ours, b"\x03")
            read_until(ours, b"stopped by hand")
            assert shop.wait(10) == 0
            assert termios.tcgetattr(theirs) == before
        finally:
            shop.kill()
            os.close(ours)
            os.close(theirs)
