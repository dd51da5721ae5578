"""
Hours through the live loop: whether every sample is heard, memory stays flat, and what it costs.

Run it from the top of the project: ``python tests/benchmarks/bench_soak.py [HOURS]`` (10 when not said). A
simulated cut is given to the loop over and over, in blocks of 80 ms as the capturing process gives them, with
the journal of a run that keeps no sound; time does not wait. It prints a table: after each tenth,
samples heard, the resident memory, and the processor time for a second of sound.
"""

import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from analysis.listener import COLUMNS, Listener
from analysis.locate import Nowhere
from analysis.program import read
from monitor.journal import Journal
from monitor.sources import Block
from monitor.watch import Ears, listen
from recordings_synthetic import record
from recordings_synthetic.job import BITS, seedling_trays

RATE = 48_000
BLOCK = RATE * 80 // 1000


def resident() -> float:
    """Return the resident memory, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * 4096 / 1e6


class Looped:
    """A microphone that hears the same cut over and over, and notes what it costs."""

    rate, name = RATE, "looped"

    def __init__(self, samples: "np.typing.NDArray[np.float32]", hours: float) -> None:
        self._samples = samples
        self._blocks = round(hours * 3600 * RATE / BLOCK)
        self.given = 0

    def blocks(self) -> Iterator[Block]:
        """Give all blocks."""
        tenth = max(self._blocks // 10, 1)
        last = time.process_time()
        for number in range(1, self._blocks + 1):
            first = self.given % (len(self._samples) - BLOCK)
            yield Block(self._samples[first : first + BLOCK])
            self.given += BLOCK
            if number % tenth == 0:
                now = time.process_time()
                cost = (now - last) / (tenth * BLOCK / RATE)
                last = now
                print(
                    f"| {self.given / RATE / 3600:.2f} h | {self.given} | {resident():.0f} MB | {cost:.1%} |",
                    flush=True,
                )


def main(hours: float) -> int:
    """Print the table; return 1 when a sample was lost."""
    sound = record(read(seedling_trays(), "job"), BITS, seed=1, rate=RATE).samples
    source = Looped(sound, hours)
    listener = Listener(RATE, {0: BITS[1]}, Nowhere())
    print("| heard | samples | resident memory | of one core |\n|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal.create(
            Path(folder),
            "soak",
            {},
            rate=RATE,
            columns=COLUMNS,
            keep_sound=False,
            now=lambda: datetime.now(UTC),
        )
        listen(source, listener, Ears(event=lambda _: None), journal)
    lost = source.given - round(listener.at * RATE)
    print(f"\nSamples lost: {lost}")
    return int(lost != 0)


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0))
