"""What the tests of a shop share."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from receivers import HERE, Broker, broker_program

from monitor.shop.address import Shop


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """Give a running broker, which forgets everything when it is stopped."""
    broker_program()
    running = Broker(tmp_path)
    running.start()
    yield running
    running.stop()


@pytest.fixture
def shop(broker: Broker) -> Shop:
    """Give the shop on that broker."""
    return Shop(HERE, "shop/east", broker.port)
