"""What the tests of `monitor` share."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sound_server import SoundServer, missing

from monitor.testing import FakeClock


@pytest.fixture
def clock() -> FakeClock:
    """Give a clock that stands at 25 November 2026, 9:31."""
    return FakeClock()


@pytest.fixture
def sound_daemon() -> Iterator[SoundServer]:
    """Give a running `SoundServer`, for tests that stop it or talk to it."""
    if absent := missing():
        pytest.skip(f"the real audio stack is not installed here: {absent}")
    # A socket's path may have 108 characters at most, and pytest's own folders can be longer.
    with tempfile.TemporaryDirectory(prefix="chipsong-") as folder:
        server = SoundServer(Path(folder))
        try:
            server.start()
            yield server
        finally:
            server.stop()


@pytest.fixture
def sound_server(sound_daemon: SoundServer) -> dict[str, str]:
    """Give the environment in which programs play into and listen to a sound server of their own."""
    return sound_daemon.env
