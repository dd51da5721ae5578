"""The bell, in a terminal that a test holds the other end of."""

import os
import subprocess
import sys
import time

import pytest

RING = """
import os, sys
if sys.argv[1] == "terminal":
    os.login_tty(int(sys.argv[2]))
from monitor.actions.bell import Bell
from monitor.actions.message import rehearsal
try:
    said = Bell(int(sys.argv[3])).fire(rehearsal("alarm"), float(sys.argv[4]))
except Exception as error:
    said = str(error)
open(sys.argv[5], "w").write(said)
"""


def ring(tmp_path, where: str, rings: int, limit: float) -> tuple[bytes, str]:
    """Ring in a process of its own, with a terminal or without; return what came there and what was said."""
    far, near = os.openpty()
    said = tmp_path / "said"
    words = [where, str(near), str(rings), str(limit), str(said)]
    subprocess.run(
        [sys.executable, "-c", RING, *words],
        pass_fds=[near],
        start_new_session=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=True,
        timeout=30,
    )
    os.set_blocking(far, False)
    try:
        came = os.read(far, 1000)
    except BlockingIOError:
        came = b""
    os.close(far)
    os.close(near)
    return came, said.read_text()


@pytest.mark.parametrize("rings", [1, 3])
def test_the_terminal_is_rung(tmp_path, rings: int):
    """The bell character comes as often as was asked for, and nothing else, wherever standard output goes."""
    assert ring(tmp_path, "terminal", rings, 10.0) == (b"\a" * rings, f"rung {rings} times")


def test_it_stops_at_its_limit(tmp_path):
    """It rings no longer than it may."""
    begun = time.monotonic()
    came, said = ring(tmp_path, "terminal", 20, 0.8)
    assert came in {b"\a" * 2, b"\a" * 3}, "a busy computer rings more slowly"
    assert said == f"rung {len(came)} times, then time was up"
    assert time.monotonic() - begun < 5.0


def test_without_a_terminal_it_says_so(tmp_path):
    """Where there is no terminal the bell has failed."""
    assert ring(tmp_path, "nowhere", 1, 1.0) == (b"", "there is no terminal to ring")
