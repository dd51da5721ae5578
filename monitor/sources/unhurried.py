"""A source whose blocks come several at a time while nothing hangs on a moment."""

from collections.abc import Callable, Iterator

import numpy as np

from monitor.sources.block import Block, Source


class Unhurried:
    """
    A source of which some blocks are given as one while all is calm.

    Whoever hears a block has been asleep before, and has to fetch all that it works with again. What is
    decided does not depend on the size of blocks; only how late it is does, by what waits.

    Parameters
    ----------
    source
        Where the sound comes from.
    calm
        Whether the next block may wait for the one after it.
    most
        How many blocks are given as one at the most.
    """

    def __init__(self, source: Source, calm: Callable[[], bool], most: int) -> None:
        self._source = source
        self._calm = calm
        self._most = most

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
        waiting: list[Block] = []
        try:
            for block in self._source.blocks():
                plain = block is not None and not (block.note or block.lost)
                if block is not None and plain:
                    waiting.append(block)
                    if len(waiting) < self._most and self._calm():
                        continue
                if waiting:
                    yield _joined(waiting)
                    waiting.clear()
                if not plain:
                    yield block
        except (Exception, KeyboardInterrupt):
            # What came before it broke off is heard first.
            if waiting:
                yield _joined(waiting)
            raise
        if waiting:
            yield _joined(waiting)


def _joined(blocks: list[Block]) -> Block:
    return Block(np.concatenate([each.samples for each in blocks]), age=blocks[0].age)
