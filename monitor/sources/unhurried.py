"""A source whose blocks come two at a time while nothing hangs on a moment."""

from collections.abc import Callable, Iterator

import numpy as np

from monitor.sources.block import Block, Source


class Unhurried:
    """
    A source of which two blocks are given as one while all is calm.

    Whoever hears a block has been asleep before, and has to fetch all that it works with again: under load
    that costs more than the hearing itself. What is decided does not depend on the size of blocks; only how
    late it is does, by one block.

    Parameters
    ----------
    source
        Where the sound comes from.
    calm
        Whether the next block may wait for the one after it.
    """

    def __init__(self, source: Source, calm: Callable[[], bool]) -> None:
        self._source = source
        self._calm = calm

    @property
    def name(self) -> str:
        """The source's name."""
        return self._source.name

    @property
    def rate(self) -> int:
        """Samples per second, Hz."""
        return self._source.rate

    def blocks(self) -> Iterator[Block | None]:
        """Give what is heard; word that something is missing never waits."""
        waits: Block | None = None
        for block in self._source.blocks():
            plain = block is not None and not (block.note or block.lost)
            if block is not None and plain and waits is not None:
                yield Block(np.concatenate([waits.samples, block.samples]))
                waits = None
            elif block is not None and plain and self._calm():
                waits = block
            else:
                if waits is not None:
                    yield waits
                    waits = None
                yield block
        if waits is not None:
            yield waits
