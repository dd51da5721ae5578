"""What every source gives: blocks."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Block:
    """
    Some sound, straight from its source.

    Attributes
    ----------
    samples
        (n,) float32, one channel, full scale is 1. Passed on as delivered: it may be clipped, beyond full
        scale or not finite, and whoever listens has to look.
    note
        Trouble at the start of this block, in words; empty when all is well.
    lost
        How many samples should have come before these and never did, so that the clock that counts samples
        stays right. While a microphone is away, blocks hold nothing else.
    age
        For how many seconds these samples have waited to be heard.
    """

    samples: NDArray[np.float32]
    note: str = ""
    lost: int = 0
    age: float = 0.0


class Source(Protocol):
    """What `Recording`, `Microphone` and `monitor.testing.FakeMicrophone` have in common."""

    @property
    def rate(self) -> int:
        """Samples per second, Hz."""

    @property
    def name(self) -> str:
        """What to call it on the screen."""

    def blocks(self) -> Iterator[Block | None]:
        """Give what is heard; ``None`` when nothing arrived in time."""
