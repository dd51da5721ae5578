"""Line numbers beside the listening: they are taken after each block, put on the run's clock, and kept."""

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from analysis.linesfed import FedLocator, Report
from monitor.linefeed.clock import RunClock
from monitor.linefeed.kept import Bundle, machine_body, said_body
from monitor.linefeed.reading import Reader, Said
from monitor.linefeed.source import Came, Item, MachineState, Remark, Source, Turn
from monitor.linefeed.worker import Worker
from monitor.output import printable
from monitor.watch import Ears

# s without a line number after which that is said, and within which the same one need not be taken again.
_SILENT, _SAME = 30.0, 0.5
# One made before another, by its source's clock, is late. Where it is so by more than some s, or many were
# just before, the clock was set, or is another one.
_LATE, _LATE_AT_MOST = 2.0, 5
# Where more line numbers than these have waited, they are a backlog, and the last one alone is of now.
_BACKLOG = 200
# Characters of a text nobody understands, and of all that is said, that are shown.
_SHOWN, _LONGEST = 60, 300

Body = Mapping[str, Any]


class Feed:
    """
    Gives the line numbers of a source to what follows the place.

    Parameters
    ----------
    source
        What gives line numbers; it runs in a thread of its own from now on.
    read
        Reads its lines of text.
    locator
        What follows the place.
    show
        Gets a sentence about the source, on the thread that listens.
    """

    def __init__(
        self, source: Source, read: Reader, locator: FedLocator, show: Callable[[str], None]
    ) -> None:
        self._worker = Worker(source, read)
        self._locator = locator
        self._show = show
        self._clock = RunClock()
        self._bundle = Bundle()
        self._trouble = ""
        self._silent = False
        self._begun = False
        self._came = 0.0
        self._last: tuple[float, Said | None] = (0.0, None)
        self._time = -1e300
        self._late = 0
        self._odd = 0
        self._remarks: set[str] = set()
        self._lags = False

    def take(self, at: float) -> Iterator[Body]:
        """Take what came while the run went on to ``at`` s; give what is to be kept of it."""
        self._clock.see(time.monotonic(), at)
        for item in _of_now(self._worker.out.take()):
            yield from self._heed(item, at)
        if not (self._trouble or self._silent) and at - self._came > _SILENT:
            self._silent = True
            yield self._say(at, f"none for {_SILENT:.0f} s; are they still sent?")
        if self._locator.lags and not self._lags:
            self._lags = True
            yield self._say(at, "many come at once, or not for each line: let each be sent as it begins")
        if (body := self._bundle.due(at)) is not None:
            yield body

    def end(self, at: float) -> Iterator[Body]:
        """End the source; give what is still to be kept."""
        self._worker.close()
        if (body := self._bundle.due(at, last=True)) is not None:
            yield body

    def _heed(self, item: Item, at: float) -> Iterator[Body]:
        match item:
            case Turn(trouble) if trouble != self._trouble:
                self._trouble, self._came, self._silent = trouble, at, False
                yield self._say(at, trouble or "they can come again")
            case Remark(text) if text not in self._remarks:
                self._remarks.add(text)
                yield self._say(at, text)
            case MachineState(told):
                yield machine_body(at, told)
            case Came(moment, Said() as said):
                yield from self._take(self._clock.on_run(moment, at), said)
            case Came(_, None, text):
                yield from self._odd_one(at, f"not understood: {text[:_SHOWN]}")

    def _take(self, at: float, said: Said) -> Iterator[Body]:
        named = f"line {said.line}" if said.line is not None else f"N{said.word}"
        if self._is_late(said):
            yield from self._odd_one(at, f"{named} came after a later one, by its own time")
            return
        if said == self._last[1] and at - self._last[0] < _SAME:
            return
        self._last = at, said
        report = Report(at, said.line, said.word, said.after)
        if not self._locator.report(report):
            yield from self._odd_one(
                at, f"the program has no {named}, or has it twice: is it the one being cut?"
            )
            return
        self._bundle.add(report)
        self._came = at
        if self._silent or not self._begun:
            yield self._say(at, f"{named}; they come again" if self._begun else f"{named} is the first")
            self._silent, self._begun = False, True

    def _is_late(self, said: Said) -> bool:
        """Return whether it was made before another that has come already."""
        if said.time is None:
            return False
        late = self._time - _LATE <= said.time < self._time and self._late < _LATE_AT_MOST
        self._late = self._late + 1 if late else 0
        self._time = self._time if late else said.time
        return late

    def _odd_one(self, at: float, why: str) -> Iterator[Body]:
        """Say what cannot be used: the first one, and then each time that there are ten times as many."""
        self._odd += 1
        if str(self._odd).strip("0") == "1":
            yield self._say(at, why if self._odd == 1 else f"{self._odd} so far could not be used; now {why}")

    def _say(self, at: float, text: str) -> Body:
        # Others' words may hold signs that move a terminal's cursor.
        told = printable(f"line numbers from {self._worker.source.name}: {text}", _LONGEST)
        self._show(told)
        return said_body(at, told)


def _of_now(items: list[Item]) -> list[Item]:
    """Return what came without the line numbers that others have overtaken, where too many came at once."""
    lines = [item for item in items if isinstance(item, Came) and item.said]
    if len(lines) <= _BACKLOG:
        return items
    return [item for item in items if item is lines[-1] or not (isinstance(item, Came) and item.said)]


@contextmanager
def line_ears(
    source: Source, read: Reader, locator: FedLocator, show: Callable[[str], None]
) -> Iterator[Ears]:
    """Give ears that take line numbers from a source, see `Feed`."""
    feed = Feed(source, read, locator, show)

    def lines(at: float, last: bool) -> Iterator[Body]:
        yield from feed.take(at)
        if last:
            yield from feed.end(at)

    try:
        yield Ears(lines=lines)
    finally:
        for _ in feed.end(0.0):
            pass


def past_ears(reports: tuple[Report, ...]) -> Ears:
    """Return ears that let line numbers be kept which were known before; the place knows them already."""
    bundle, waiting = Bundle(), list(reversed(reports))

    def lines(at: float, last: bool) -> Iterator[Body]:
        while waiting and (waiting[-1].at <= at or last):
            bundle.add(waiting.pop())
        if (body := bundle.due(at, last=last)) is not None:
            yield body

    return Ears(lines=lines)
