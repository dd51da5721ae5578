"""Runs cases on several cores until there are enough, keeps each at once, and tells how far it is."""

import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field

from hearing.cases import Case, faulty, healthy
from hearing.outcome import Outcome
from hearing.perform import perform
from hearing.seeds import Use
from hearing.store import Store

_TELL_EVERY = 20.0  # s


@dataclass(frozen=True)
class Wanted:
    """
    How much is to be heard.

    Attributes
    ----------
    use
        What the judged runs of this report are: ``judged``, or ``development`` to work by.
    runs
        How many runs have a fault.
    hours, calibration
        Hours of healthy cutting that are judged, and hours that choose the rivals' thresholds.
    """

    use: Use
    runs: int
    hours: float
    calibration: float


@dataclass
class Tally:
    """What is there already."""

    done: set[str] = field(default_factory=set)
    hours: dict[str, float] = field(default_factory=dict)

    def add(self, outcomes: list[Outcome]) -> None:
        """Count a case's outcomes."""
        for outcome in outcomes:
            self.done.add(outcome.case)
            if outcome.fate is None:
                use = outcome.case.split()[0]
                self.hours[use] = self.hours.get(use, 0.0) + outcome.cutting / 3600.0


class Work:
    """
    Runs cases until there are enough.

    Parameters
    ----------
    wanted
        How much is enough.
    store
        Where outcomes are kept, and where those of an earlier run are found.
    tell
        Takes a line of progress.
    """

    def __init__(self, wanted: Wanted, store: Store, tell: Callable[[str], None]) -> None:
        self._wanted, self._store, self._tell = wanted, store, tell
        self._tally = Tally()
        store.mend()
        for outcome in store.outcomes():
            self._tally.add([outcome])
        self._began, self._told = time.monotonic(), 0.0

    def run(self, jobs: int) -> None:
        """Run what is missing, on ``jobs`` cores."""
        with ProcessPoolExecutor(jobs, initializer=_end_quietly) as pool:
            try:
                self._feed(pool, jobs)
            except KeyboardInterrupt:
                pool.shutdown(wait=False, cancel_futures=True)
                raise

    def _feed(self, pool: ProcessPoolExecutor, jobs: int) -> None:
        cases, waiting = self._missing(), set[Future[list[Outcome]]]()
        while True:
            # No more are taken than can run at once: what is enough is only known as they come.
            for case in cases:
                waiting.add(pool.submit(perform, case))
                if len(waiting) > jobs:
                    break
            if not waiting:
                return
            ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for future in ready:
                outcomes = future.result()
                self._store.add(outcomes)
                self._tally.add(outcomes)
            self._progress()

    def _missing(self) -> Iterator[Case]:
        """Yield the cases that are still to be run, until there are enough."""
        wanted = self._wanted
        yield from (case for case in faulty(wanted.use, wanted.runs) if case.name not in self._tally.done)
        yield from self._healthy("calibration", wanted.calibration)
        yield from self._healthy(wanted.use, wanted.hours)

    def _healthy(self, use: Use, hours: float) -> Iterator[Case]:
        for case in healthy(use):
            if self._hours(use) >= hours:
                return
            if case.name not in self._tally.done:
                yield case

    def _hours(self, use: str) -> float:
        return self._tally.hours.get(use, 0.0)

    def _progress(self) -> None:
        now = time.monotonic()
        if now - self._told < _TELL_EVERY:
            return
        self._told = now
        wanted = self._wanted
        self._tell(
            f"{(now - self._began) / 60:.1f} min: {len(self._tally.done)} cases, "
            f"{self._hours(wanted.use):.2f} of {wanted.hours:g} h of healthy cutting, "
            f"{self._hours('calibration'):.2f} of {wanted.calibration:g} h for the rivals' thresholds"
        )


def _end_quietly() -> None:
    """Let Ctrl-C, which reaches all processes of a command, end this one without a word."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
