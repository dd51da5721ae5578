"""
For tests of whatever listens: a microphone and a clock that do as they are told.

::

    clock = FakeClock()
    cut = silence(sound, rate, start=4.0, seconds=1.0)
    with FakeMicrophone(cut, rate, gaps={20: 3}, clock=clock) as microphone:
        for block in microphone.blocks(timeout=1.0):
            ...
"""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import Self

import numpy as np
from numpy.typing import NDArray

from monitor.sources import Block


class FakeClock:
    """
    A clock that stands still until it is told to go on.

    Parameters
    ----------
    start
        What the clock on the wall shows first.
    """

    def __init__(self, start: datetime = datetime(2026, 11, 25, 9, 31, tzinfo=UTC)) -> None:
        self._start = start
        self._gone = 0.0

    def now(self) -> datetime:
        """Return what the clock on the wall shows."""
        return self._start + timedelta(seconds=self._gone)

    def monotonic(self) -> float:
        """Return the seconds that have gone by."""
        return self._gone

    def advance(self, seconds: float) -> None:
        """Let some seconds go by; `time.sleep` can be replaced by this."""
        self._gone += seconds


class FakeMicrophone:
    """
    A microphone that hears what it is given; otherwise it behaves like `monitor.sources.Microphone`.

    Parameters
    ----------
    samples
        All it will hear, (n,). Then it hears nothing and, unlike a real one, comes to an end.
    rate
        Samples per second, Hz.
    block
        Samples in a block; the last may be shorter.
    notes
        Trouble, by the number of the block (counted from 0) that tells of it.
    gaps
        How often nothing arrives in time, by the number of the block that is late for it.
    lost
        How many samples never came, by the number of the block that they lack before.
    ages
        For how many seconds a block has waited to be heard, by its number.
    clock
        Goes on by the length of each block, of what was lost, and by the time-out of each gap.
    name
        What it is called.
    """

    def __init__(  # noqa: PLR0913 - all but two are named by the caller
        self,
        samples: NDArray[np.float32],
        rate: int,
        *,
        block: int = 1024,
        notes: Mapping[int, str] | None = None,
        gaps: Mapping[int, int] | None = None,
        lost: Mapping[int, int] | None = None,
        ages: Mapping[int, float] | None = None,
        clock: FakeClock | None = None,
        name: str = "fake microphone",
    ) -> None:
        self._samples = np.asarray(samples, dtype=np.float32)
        self._block = block
        self._notes = notes or {}
        self._gaps = gaps or {}
        self._lost = lost or {}
        self._ages = ages or {}
        self._clock = clock or FakeClock()
        self._open = False
        self.rate = rate
        self.name = name

    def blocks(self, timeout: float = 0.5) -> Iterator[Block | None]:
        """Give what is heard; ``None`` when nothing arrived for ``timeout`` seconds."""
        for number, first in enumerate(range(0, len(self._samples), self._block)):
            for _ in range(self._gaps.get(number, 0)):
                if not self._open:
                    return
                self._clock.advance(timeout)
                yield None
            if not self._open:
                return
            part = self._samples[first : first + self._block]
            lost = self._lost.get(number, 0)
            self._clock.advance((lost + len(part)) / self.rate)
            yield Block(part.copy(), self._notes.get(number, ""), lost, self._ages.get(number, 0.0))

    def close(self) -> None:
        """Stop listening."""
        self._open = False

    def __enter__(self) -> Self:
        """Begin to listen."""
        self._open = True
        return self

    def __exit__(self, *_: object) -> None:
        """Stop listening."""
        self.close()


def silence(samples: NDArray[np.float32], rate: int, *, start: float, seconds: float) -> NDArray[np.float32]:
    """Return the samples with exact zeros for some seconds, as a muted microphone gives them."""
    return _replaced(samples, rate, start, seconds, 0.0)


def nonsense(samples: NDArray[np.float32], rate: int, *, start: float, seconds: float) -> NDArray[np.float32]:
    """Return the samples with values that are not finite for some seconds, as a broken driver gives them."""
    return _replaced(samples, rate, start, seconds, np.nan)


def _replaced(
    samples: NDArray[np.float32], rate: int, start: float, seconds: float, value: float
) -> NDArray[np.float32]:
    changed = np.array(samples, dtype=np.float32)
    changed[round(start * rate) : round((start + seconds) * rate)] = value
    return changed
