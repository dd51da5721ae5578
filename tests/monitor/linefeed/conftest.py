"""What the tests of line numbers from outside share."""

import time
from collections.abc import Callable, Iterator

import pytest

from monitor.linefeed.reading import Reader, Said, read_json
from monitor.linefeed.source import Came, Item, MachineState, Remark, Source, Turn
from monitor.linefeed.worker import Worker


class Gathered:
    """A source at work, and all that it gave."""

    def __init__(self, source: Source, read: Reader) -> None:
        self.worker = Worker(source, read)
        self.items: list[Item] = []

    @property
    def said(self) -> list[Said]:
        """The line numbers."""
        return [item.said for item in self.items if isinstance(item, Came) and item.said]

    @property
    def lines(self) -> list[int | None]:
        """The lines of the file that were told."""
        return [said.line for said in self.said]

    @property
    def garbled(self) -> list[str]:
        """What could not be understood."""
        return [item.text for item in self.items if isinstance(item, Came) and not item.said]

    @property
    def remarks(self) -> list[str]:
        """What else is to be said, once."""
        return [item.text for item in self.items if isinstance(item, Remark)]

    @property
    def turns(self) -> list[str]:
        """The troubles, and an empty text where all was well."""
        return [item.trouble for item in self.items if isinstance(item, Turn)]

    @property
    def machine(self) -> list[dict[str, str | float]]:
        """What else was told of the machine."""
        return [item.told for item in self.items if isinstance(item, MachineState)]

    def until(self, done: Callable[["Gathered"], bool], within: float = 60.0) -> None:
        """Wait until something has come about."""
        end = time.monotonic() + within
        while True:
            self.items += self.worker.out.take()
            if done(self):
                return
            assert time.monotonic() < end, f"it did not come about: {self.items[-20:]}"
            time.sleep(0.005)

    def until_well(self) -> None:
        """Wait until the source can be written to."""
        self.until(lambda had: had.turns[-1:] == [""])


@pytest.fixture
def gather() -> Iterator[Callable[..., Gathered]]:
    """Let sources run; they end with the test."""
    running: list[Gathered] = []

    def begin(source: Source, read: Reader = read_json) -> Gathered:
        running.append(Gathered(source, read))
        return running[-1]

    yield begin
    for one in running:
        one.worker.close()
