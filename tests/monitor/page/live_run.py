"""A live run beside which the page is served: a shipped recording, let through at the test's pace."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import soundfile
from contract import SHIPPED
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.events import Event
from analysis.listener import COLUMNS, Listener
from analysis.locate import Plan
from analysis.place import SoundLocator
from analysis.program import read
from monitor.journal import Journal
from monitor.kept.job import bits_to_plain, keep_program
from monitor.kept.keeping import now
from monitor.page.beside import page_beside
from monitor.sharing import Job, Sharing
from monitor.sources import Block
from monitor.watch import Ears, listen, together

BIT = Bit("6 mm compression", diameter=6.0, flutes=2, speed=18_000.0)
BLOCK = 0.08  # s


@dataclass
class Paced:
    """
    A microphone in blocks of 80 ms.

    Attributes
    ----------
    speed
        How many times faster than life it is; changed while it runs.
    stop_at
        s of sound from which on the last three seconds come again and again, until ``ending`` is set.
    """

    samples: NDArray[np.float32]
    rate: int
    speed: float = 1.0
    stop_at: float | None = None
    ending: threading.Event = field(default_factory=threading.Event)
    name: str = "recording"

    def blocks(self) -> Iterator[Block | None]:
        """Give the blocks, each when it is due."""
        size, due, first = round(BLOCK * self.rate), time.monotonic(), 0
        while first < len(self.samples) and not self.ending.is_set():
            due = max(due + BLOCK / self.speed, time.monotonic() - 1.0)
            time.sleep(max(0.0, due - time.monotonic()))
            yield Block(self.samples[first : first + size])
            first += size
            if self.stop_at is not None and first >= self.stop_at * self.rate:
                first -= 3 * self.rate // size * size


@dataclass
class LiveRun:
    """A run that is going on: where its page is, what was said, and how late each block was judged, s."""

    address: str
    source: Paced
    events: list[Event]
    late: list[float]


@contextmanager
def live_run(home: Path, sharing: Sharing, source: Paced | None = None) -> Iterator[LiveRun]:
    """Hear, on a thread, the recording in which a bit slips; keep the run in ``home``, serve its page."""
    samples, rate = soundfile.read(SHIPPED / "slip_outline.flac", dtype="float32")
    run = LiveRun("", source or Paced(samples, rate), [], [])
    begun = threading.Event()
    thread = threading.Thread(target=_hear, args=(run, home, sharing, begun), daemon=True)
    thread.start()
    assert begun.wait(60)
    try:
        yield run
    finally:
        run.source.ending.set()
        thread.join(20)


def _hear(run: LiveRun, home: Path, sharing: Sharing, begun: threading.Event) -> None:
    path, source = SHIPPED / "slip_outline.ngc", run.source
    program = read(path.read_text(), path.name)
    listener = Listener(source.rate, {0: BIT}, SoundLocator(Plan.of(program, {0: BIT})))
    meta = {"program": str(path), "bits": bits_to_plain({0: BIT})}
    journal = Journal.create(home, "live", meta, rate=source.rate, columns=COLUMNS, keep_sound=True, now=now)
    keep_program(journal.folder, path.name, path.read_bytes())
    job, shown = Job({0: BIT}, program, journal), list[str]()
    with page_beside(job, source, sharing, shown.append) as (page, passing):
        run.address = next(word for word in shown[0].split() if word.startswith("http://"))
        begun.set()
        timed = replace(page, progress=_timed(page.progress, source, run.late))
        listen(passing, listener, together(Ears(run.events.append), timed), journal)
        # The page stays until the test has seen how the run ended.
        source.ending.wait(20)


def _timed(
    progress: Callable[[Listener], None], source: Paced, late: list[float]
) -> Callable[[Listener], None]:
    """Note how much later a block was judged than it would have been at once."""
    begun: list[float] = []

    def timed(listener: Listener) -> None:
        progress(listener)
        begun[:] = begun or [time.monotonic() - listener.at / source.speed]
        late.append(time.monotonic() - begun[0] - listener.at / source.speed)

    return timed
