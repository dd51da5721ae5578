"""A microphone, heard live by a process of its own, and found again when it was lost."""

import queue
import threading
from collections.abc import Iterator
from contextlib import suppress
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from analysis.errors import SoundError
from monitor.capture import wire
from monitor.capture.wire import Message, Place, clock
from monitor.sources.block import Block
from monitor.sources.child import Child
from monitor.sources.devices import find_microphone, listed, same_microphone
from monitor.sources.tally import Tally

OVERFLOW = "overflow: the computer was too busy and samples were lost"

# Seconds without sound after which a microphone that was heard is lost; one that begins may take longer,
# for a sound system that slept needs up to two seconds to wake.
_QUIET: Final = 1.0
_BEGINNING: Final = 6.0
# Seconds from one search for it to the next, and from the how manyeth search on.
_SEARCHES: Final = ((0, 1.0), (10, 2.0))
# The same while a process that was ended is not gone: they must not pile up.
_STUCK: Final = 60.0
# Seconds in which the sound server must have said whose the sound of one that came back is, and from one word
# of what is lost meanwhile to the next.
_UNSURE: Final = 5.0
_TELLING: Final = 0.5

_IN_USE: Final = "see that it is there, and that nothing else uses it"

_NONE: NDArray[np.float32] = np.empty(0, dtype=np.float32)


class Microphone:
    """
    A microphone, heard live through PortAudio in a process of its own (`monitor.capture`).

    Parameters
    ----------
    device
        Which one, see `find_microphone`.
    rate
        Samples per second, Hz; the device's own when ``None``, which spares the system a conversion.

    Raises
    ------
    SoundError
        When PortAudio is missing, the device is not there or not clear, or it does not take the rate.

    Notes
    -----
    PortAudio's list of devices is made when it starts, and frozen. So what is lost, unplugged or carried on
    by the sound server with another microphone is looked for by name in a new process every second or two,
    until it is there again. Meanwhile blocks tell how many samples were lost, by the clock.
    """

    def __init__(self, device: str | int | None = None, rate: int | None = None) -> None:
        self._child: Child | None = None
        self._before: Child | None = None
        self._changing = threading.Lock()
        self._closed = threading.Event()
        self._start()
        try:
            self._then = listed(self._running().first())
            self._device = find_microphone(device, self._then)
        except SoundError:
            self.close()
            raise
        self._rate = rate or self._device.rate
        self._tally = Tally(self._rate)
        self._place: Place | None = None
        self._sure = True  # that the sound is of the microphone that was chosen
        self._unsure: float | None = None  # since when there is sound of which that is not known
        self._told = 0.0
        self._away = False
        self._lost = False  # and the process that has lost it is not ended yet
        self._next: int | None = None
        self._held: Message | None = None
        self._since = self._began = clock()
        self._waited = 0.0  # s, in vain since the last message
        self._searches = 0

    @property
    def name(self) -> str:
        """The device's name."""
        return self._device.name

    @property
    def rate(self) -> int:
        """Samples per second, Hz."""
        return self._rate

    def __enter__(self) -> Self:
        """Begin to listen."""
        try:
            self._begin(self._running())
        except BaseException:
            self.close()
            raise
        return self

    def _begin(self, child: Child) -> None:
        child.open(self._device.index, self._rate, None)
        message = child.reply()
        if message.kind not in (wire.OPENED, wire.SOUND, wire.OVERFLOWED):
            raise self._refused(message)
        # Sound may come before the word that the microphone is open.
        self._held = message
        self._since = clock()

    def blocks(self, timeout: float = 0.5) -> Iterator[Block | None]:
        """
        Give what is heard, for as long as the microphone is open.

        Parameters
        ----------
        timeout
            How long to wait for sound, s.

        Yields
        ------
        Block or None
            The next samples, or ``None`` when nothing arrived for ``timeout`` seconds. While the microphone
            is away, blocks without samples that tell how many were lost.
        """
        while not self._closed.is_set():
            # That it is lost is said before its process is ended, which may take a while.
            if self._lost:
                self._stop()
            try:
                message = self._wait(timeout)
            except queue.Empty:
                self._waited += timeout
                yield self._missed()
                continue
            self._waited = 0.0
            if not self._closed.is_set() and (block := self._take(message)) is not None:
                yield block

    def close(self) -> None:
        """Stop listening; whoever waits in `blocks` is let go."""
        self._closed.set()
        self._stop()

    def __exit__(self, *_: object) -> None:
        """Stop listening."""
        self.close()

    # --- the process ------------------------------------------------------------------------------------

    def _start(self) -> None:
        with self._changing:
            if not self._closed.is_set():
                self._child = Child()

    def _stop(self) -> None:
        with self._changing:
            child, self._child, self._lost = self._child, None, False
        if child is not None:
            self._before = child
            child.stop()

    def _running(self) -> Child:
        if self._child is None:
            raise SoundError("this microphone was closed: make another")
        return self._child

    def _refused(self, message: Message) -> SoundError:
        own = self._device.rate
        advice = f"leave the rate at its own {own} Hz" if self._rate != own else _IN_USE
        because = message.told["because"]
        return SoundError(f"cannot listen to {self.name} at {self._rate} Hz ({because}): {advice}")

    # --- what it says -----------------------------------------------------------------------------------

    def _wait(self, timeout: float) -> Message | None:
        if (held := self._held) is not None:
            self._held = None
            return held
        if (child := self._child) is not None:
            return child.get(timeout)
        self._closed.wait(timeout)
        raise queue.Empty

    def _take(self, message: Message | None) -> Block | None:
        """Take in a message; return what it makes known, if anything."""
        if message is None:
            return self._lose("the process that listens has ended")
        if message.kind in (wire.SOUND, wire.OVERFLOWED):
            return self._hear(message)
        if message.kind == wire.PLACE:
            return self._look(message.told)
        if message.kind == wire.DEVICES:
            self._reopen(message.told)
        elif message.kind in (wire.REFUSED, wire.FAILED):
            return self._lose(f"{self._called()} is gone ({message.told['because']})")
        return None

    def _hear(self, message: Message) -> Block | None:
        if not self._sure:
            return self._pass_over(message.at)
        samples = np.frombuffer(message.body, dtype=np.float32)
        lost, note = self._count(message, len(samples))
        if self._tally.hurried:
            return self._lose(f"sound comes faster than {self._rate} Hz: its rate was changed")
        self._since, self._searches, self._away = clock(), 0, False
        return Block(samples, note, lost, self._since - message.at)

    def _pass_over(self, at: float) -> Block | None:
        """Return what is lost of sound that may be another microphone's; give it up when that takes long."""
        if self._unsure is None:
            self._unsure = self._told = at
        if at - self._unsure > _UNSURE:
            self._stop()
        elif at - self._told < _TELLING:
            return None
        self._told = at
        return Block(_NONE, "", self._tally.away(at))

    def _count(self, message: Message, frames: int) -> tuple[int, str]:
        """Return how many samples were lost before a message, and what to say of it."""
        expected, self._next = self._next, message.first + frames
        if expected is None:
            lost = self._tally.begin(message.at, frames)
            return lost, f"{self._called()} is heard again" if self._away else ""
        told = message.kind == wire.OVERFLOWED
        dropped = self._tally.dropped(message.first - expected)
        lost = dropped + self._tally.take(message.at, frames, told=told)
        if dropped or told:
            return lost, OVERFLOW + (f" ({lost / self._rate:.2f} s)" if lost else "")
        return lost, f"a gap: {lost / self._rate:.2f} s of sound never arrived" if lost else ""

    def _look(self, told: dict[str, Any] | None) -> Block | None:
        """See whether the sound is still that of the microphone which was chosen, with the same gain."""
        if told is None:
            return self._nowhere()
        before, now = self._place or Place(**told), Place(**told)
        if now.source != before.source:
            return self._lose(f"the sound comes from {now} now, not from {before}")
        self._place, self._sure = now, True
        if now.gain != before.gain:
            note = f"the gain of {now.label} moved from {before.gain} % to {now.gain} %: leave it as it is"
            return Block(_NONE, note)
        if now.default != before.default:
            note = f"the default microphone is {now.default} now: making sure of {now.label}, which is kept"
            return Block(_NONE, note)
        return None

    def _nowhere(self) -> Block | None:
        """Return what is to be said when the sound server does not have the sound, or has it no more."""
        if not self._sure:
            self._stop()  # nobody will say whose sound this is: the next process may be told
            return Block(_NONE, "", self._tally.away(clock()))
        return self._lose(f"the sound server has lost {self._called()}") if self._place else None

    def _called(self) -> str:
        return str(self._place) if self._place else self.name

    # --- away -------------------------------------------------------------------------------------------

    def _missed(self) -> Block | None:
        """Return what is to be said when nothing arrived in time."""
        now = clock()
        if self._away:
            self._search(now)
            return Block(_NONE, "", self._tally.away(now))
        # After a standstill of the computer the clock tells of a long silence, and the sound still waits.
        silent = min(self._waited, now - self._since)
        if silent < (_BEGINNING if self._next is None else _QUIET):
            return None
        return self._lose(f"nothing arrives from {self._called()}")

    def _lose(self, why: str) -> Block:
        """Give up this process; the search begins with the next block that fails to come."""
        self._lost, self._away, self._next = True, True, None
        return Block(_NONE, f"{why}: looking for it", self._tally.away(clock()))

    def _search(self, now: float) -> None:
        """Look for the microphone with a new process, unless one is at it."""
        if self._child is not None and now - self._began > _BEGINNING:
            self._stop()
        pause = max(pause for first, pause in _SEARCHES if self._searches >= first)
        if self._before is not None and not self._before.gone:
            pause = _STUCK
        if self._child is None and now - self._began >= pause:
            self._began, self._searches = now, self._searches + 1
            with suppress(SoundError):  # a system that starts no process now may do so later
                self._start()

    def _reopen(self, told: list[dict[str, Any]]) -> None:
        found = same_microphone(self._device, self._then, listed(told))
        if found is None or self._child is None:
            self._stop()
            return
        # The sound server may give another microphone than it is asked for: first it has to say which.
        self._sure, self._unsure = self._place is None, None
        self._child.open(found.index, self._rate, self._place.source if self._place else None)
