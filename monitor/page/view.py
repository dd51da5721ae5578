"""
What the loop that listens leaves for the page, and what the page makes of it.

The loop only puts immutable values where the page finds them: it never waits for a browser, and never copies
more than a few references. Everything that takes time is done on the page's own thread, when a browser asks.
"""

import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.events import Alarm, Checked, Deaf, Event, Heard, Place, State, StateChange, Summary
from analysis.listener import Listener
from analysis.order_spectrum import order_spectrum, window_for
from analysis.presence import Phase
from analysis.program import Program, find_parts
from monitor.controls import Press
from monitor.screen.seen import Seen, after, of_bit, said_by_hand
from monitor.sources import Block, Source
from monitor.story.comparing import ORDERS
from monitor.watch import Ears

# s of sound that are held for the picture, from one note of the score to the next, and notes that are held.
_HELD, _EVERY, _NOTES = 4.0, 0.5, 360
# s for which words are shown, and of standing still after which nothing here is current.
_SHOWN, _STILL = 12.0, 3.0
_GAP = np.full(1, np.nan, dtype=np.float32)


@dataclass(frozen=True)
class Now:
    """
    What is heard now.

    Attributes
    ----------
    at
        s from the first sample.
    state, because
        The watcher's, in its words.
    score
        How near to an alarm: 1 is one.
    phase
        What the spindle does.
    speed
        Of the spindle, Hz.
    place
        Where in the program; ``None`` when that is unknown.
    bit
        T number of the bit.
    """

    at: float = 0.0
    state: State = "settle"
    because: str = ""
    score: float = 0.0
    phase: Phase = Phase.OFF
    speed: float = 0.0
    place: Place | None = None
    bit: int = 0


class _Piece(NamedTuple):
    """A block of sound, whether a cut was heard in it, and the spindle's speed, Hz."""

    samples: NDArray[np.float32]
    cut: bool
    speed: float


_Heard = tuple[_Piece, ...]


class View:
    """
    The live state.

    Parameters
    ----------
    rate
        Samples per second, Hz.
    bits
        The bit behind each T number.
    program
        The program being cut.
    run
        Name of the run that is kept; ``None`` if it is not.
    """

    def __init__(
        self, rate: int, bits: Mapping[int, Bit], program: Program | None = None, run: str | None = None
    ) -> None:
        self.rate = rate
        self.run = run
        self.program = program
        self.now = Now()
        self.alarms: tuple[Alarm, ...] = ()
        self.refused = ""
        self.last: Event | None = None
        self.seen = Seen("")
        self.over = False
        self.history: tuple[tuple[float, float], ...] = ()
        self._bits = dict(bits)
        self._parts = _owners(program)
        self._said = (0.0, "")
        self._heard: _Heard = ()
        self._came: list[NDArray[np.float32]] = []
        self._broken = False
        self._next = 0.0
        self._highest = 0.0
        self._alive = time.monotonic()
        self._place: Place | None = None
        self._learned: dict[int, _Heard] = {}
        self._drawn: dict[int, NDArray[np.float64]] = {}
        self._lock = threading.Lock()

    # --- on the thread that listens -------------------------------------------------------------------------

    @property
    def ears(self) -> Ears:
        """Ears that tell this view."""
        return Ears(
            self.note,
            self.progress,
            self.say,
            ends=self.end,
            heeded=lambda press, _listener, _before: self.heeded(press),
            refused=self.refuse,
        )

    def tap(self, source: Source) -> Source:
        """Return the source; what it gives passes by here."""
        return _Tapped(source, self._take)

    def _take(self, block: Block | None) -> None:
        """Take in a block, or that none came in time; of several that are heard as one, each."""
        self._alive = time.monotonic()
        if block is None:
            return
        self._broken = self._broken or bool(block.note or block.lost)
        if len(block.samples):
            # What is no number keeps apart what does not follow one another.
            self._came.append(np.concatenate([_GAP, block.samples]) if self._broken else block.samples)
            self._broken = False

    def note(self, event: Event) -> None:
        """Take in an event."""
        self.seen = after(self.seen, event)
        if isinstance(event, Alarm):
            self.alarms, self.refused = (*self.alarms, event), ""
        if isinstance(event, StateChange):
            if event.state == "listen" and self.now.bit not in self._learned:
                self._learned[self.now.bit] = self._heard
            # Where nothing arrives there is no progress, and it is said all the same.
            self.now = replace(self.now, at=event.at, state=event.state, because=event.because)
        elif isinstance(event, Deaf | Heard) and self.seen.alarm:
            # What it is must be seen while it lasts, and not be gone after a moment of deafness.
            self.last = self.seen.alarm
        elif isinstance(event, Alarm | Checked | Deaf | Heard):
            self.last = event
        self.over = self.over or isinstance(event, Summary)

    def refuse(self, why: str) -> None:
        """Take in why there is no restart program for the last alarm."""
        self.refused = why

    def end(self) -> None:
        """Take in that the listening is over."""
        self.over = True

    def heeded(self, press: Press) -> None:
        """Take in what a person said, wherever that was: it settles what was in doubt."""
        self.seen = said_by_hand(self.seen, press)

    def progress(self, listener: Listener) -> None:
        """Take in how far it is."""
        state, score = listener.watcher.state, listener.watcher.score
        self._highest = max(self._highest, score)
        if listener.at >= self._next:
            self._next = listener.at + _EVERY
            self.history = (*self.history[1 - _NOTES :], (round(listener.at, 2), round(self._highest, 3)))
            self._highest = 0.0
            self._place = listener.locator.place(listener.at)
        bit = listener.locator.context.bit
        if bit != self.now.bit and isinstance(self.last, Checked) and self.last.verdict == "tight":
            self.last = None  # it says nothing of this bit
        self.now = Now(
            listener.at,
            state,
            listener.watcher.because,
            score,
            listener.phase,
            listener.speed,
            self._place,
            bit,
        )
        self.seen = of_bit(self.seen, bit, state, known=self._place is not None)
        self._hold(listener.phase is Phase.CUT, listener.speed)

    def _hold(self, cut: bool, speed: float) -> None:
        """Hold what has come for the picture, and as much of what came before as there is room for."""
        if self._came:
            most = max(1, round(_HELD * self.rate / len(self._came[-1])))
            pieces = [_Piece(samples, cut, speed) for samples in self._came]
            self._heard = (*self._heard, *pieces)[-most:]
            self._came.clear()

    # --- on either ------------------------------------------------------------------------------------------

    def say(self, words: str) -> None:
        """Show words for a while: what a press came to, or what is wrong."""
        self._said = (time.monotonic() + _SHOWN, words)

    @property
    def said(self) -> str:
        """Words that are to be shown still."""
        until, words = self._said
        return words if time.monotonic() < until else ""

    @property
    def _old(self) -> Deaf | None:
        """That what is heard is old, where that hides no alarm."""
        return self.seen.deaf if self.now.state != "alarm" else None

    @property
    def state(self) -> State:
        """The state to be shown: nobody listens where what is heard is old."""
        return "deaf" if self._old else self.now.state

    @property
    def because(self) -> str:
        """Why it is so."""
        return self._old.because if self._old else self.now.because

    @property
    def hangs(self) -> bool:
        """Whether the loop that listens has stood still for so long that what is here is old."""
        return not self.over and time.monotonic() - self._alive > _STILL

    # --- on the page's thread -------------------------------------------------------------------------------

    def part(self, place: Place | None) -> str | None:
        """Return the part that a place belongs to."""
        return None if place is None else self._parts.get(place.file)

    def flutes(self, bit: int) -> int:
        """Return how many cutting edges a bit has."""
        return (self._bits.get(bit) or self._bits[0]).flutes

    def orders(self) -> dict[str, Any]:
        """Return the sound in orders, as it was learned and as it is; ``None`` where it was not cut."""
        with self._lock:
            bit = self.now.bit
            if bit not in self._drawn and bit in self._learned:
                normal = _levels(self._learned[bit], self.rate)
                if normal is not None:
                    self._drawn[bit] = normal
            now = _levels(self._heard, self.rate)
            return {
                "orders": ORDERS.tolist(),
                "normal": _plain(self._drawn.get(bit)),
                "now": _plain(now),
                "flutes": self.flutes(bit),
            }


@dataclass(frozen=True)
class _Tapped:
    """A source whose blocks pass by somewhere."""

    source: Source
    take: Callable[[Block | None], None]

    @property
    def rate(self) -> int:
        return self.source.rate

    @property
    def name(self) -> str:
        return self.source.name

    def blocks(self) -> Iterator[Block | None]:
        for block in self.source.blocks():
            self.take(block)
            yield block


def _owners(program: Program | None) -> dict[int, str]:
    """Return which part each line of a program cuts."""
    if program is None:
        return {}
    lines = program.moves.file_line
    return {int(line): part.name for part in find_parts(program) for line in np.unique(lines[part.moves])}


def _levels(heard: _Heard, rate: int) -> NDArray[np.float64] | None:
    """Return the levels in orders of those stretches in which a cut was heard; ``None`` without any."""
    pieces: list[tuple[NDArray[np.float32], float]] = []
    together: list[NDArray[np.float32]] = []
    speeds = [piece.speed for piece in heard if piece.cut and piece.speed > 0]
    if not speeds:
        return None
    size = window_for(rate, float(np.median(speeds)))
    for samples, cut, speed in heard:
        together = [*together, samples] if cut and speed > 0 else []
        if sum(map(len, together)) >= size:
            pieces.append((np.concatenate(together)[-size:], speed))
            together = []
    pieces = [(piece, speed) for piece, speed in pieces if np.isfinite(piece).all()]
    if not pieces:
        return None
    with suppress(ValueError):
        return order_spectrum(
            np.stack([piece for piece, _ in pieces]), rate, np.array([speed for _, speed in pieces]), ORDERS
        )
    return None


def _plain(levels: NDArray[np.float64] | None) -> list[float | None] | None:
    if levels is None:
        return None
    return [round(level, 1) if np.isfinite(level) else None for level in levels.tolist()]
