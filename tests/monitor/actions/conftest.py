"""What the tests of actions share."""

from collections.abc import Iterator

import pytest
from receivers import Line, Web, serial_line, web_server


@pytest.fixture(autouse=True)
def no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reach this very computer without a detour."""
    monkeypatch.setenv("no_proxy", "*")


@pytest.fixture
def web() -> Iterator[Web]:
    """Give a running web server."""
    with web_server() as running:
        yield running


@pytest.fixture
def line() -> Iterator[Line]:
    """Give a serial line."""
    with serial_line() as laid:
        yield laid
