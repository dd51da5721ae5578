"""Asking an agent again and again."""

import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from http.client import HTTPException, HTTPResponse
from typing import cast
from urllib.error import HTTPError
from urllib.parse import quote
from urllib.request import ProxyHandler, build_opener

from monitor.actions.bounded import Bounded
from monitor.actions.kind import ActionError
from monitor.linefeed.agent.document import AgentError, Observation, Streams, read_document
from monitor.linefeed.agent.following import Choice, Following
from monitor.linefeed.source import LineFeedError, Outlet

# s between two questions, that an answer may take, and after these until it is not waited for; how many
# observations are asked for; how many bytes an answer may have, and are taken of it at once.
_OFTEN, _LIMIT, _MORE, _COUNT, _MOST, _PIECE = 0.25, 5.0, 1.0, 500, 8_000_000, 65_536
# A line number that did not change holds on, and that is said so often, s.
_HOLDS = 1.0


@dataclass(frozen=True)
class Agent:
    """
    Gives the line numbers of one device.

    Attributes
    ----------
    base
        As ``http://host:port``.
    device
        Its name; empty where the agent has one alone.
    path
        Of which of its paths, by the component's id; empty where it is the first one that has them.
    """

    base: str
    device: str = ""
    path: str = ""
    # One for all attempts, so that no more than one of them is ever left hanging.
    _bounded: Bounded = field(default_factory=Bounded, init=False, repr=False, compare=False)

    # For all of them, too: a machine that is lost for a while is no reason to follow its loader.
    _choice: Choice = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Nothing is followed yet."""
        object.__setattr__(self, "_choice", Choice(self.path))

    @property
    def _address(self) -> str:
        return f"{self.base}/{self.device}".rstrip("/")

    @property
    def name(self) -> str:
        """Its address."""
        return f"{self._address}#{self.path}" if self.path else self._address

    def run(self, out: Outlet) -> None:
        """Give line numbers while the agent is there; when it was started again, all is begun again."""
        asking = _Asking(self._address, out, self._bounded, self._choice)
        while not out.over.is_set():
            asking.follow()


class _Asking:
    def __init__(self, address: str, out: Outlet, bounded: Bounded, choice: Choice) -> None:
        self._address = address
        self._out = out
        self._choice = choice
        # Not by way of a proxy: the machine's network is this one's.
        self._opener = build_opener(ProxyHandler({}))
        self._bounded = bounded
        self._samples = True

    def follow(self) -> None:
        """Follow one life of the agent, from what holds now on, as long as nothing is missed."""
        told = _Told(self._out, self._choice)
        streams = self._ask("current")
        instance = streams.instance
        told.tell(streams.observations)
        while not self._out.over.wait(_OFTEN):
            streams = self._next(streams)
            if streams.instance != instance:
                return
            told.tell(streams.observations)

    def _next(self, before: Streams) -> Streams:
        """Return what was observed since; where it cannot be asked for, what holds now."""
        if not self._samples:
            return self._ask("current")
        count = min(_COUNT, before.room)
        try:
            return self._ask(f"sample?from={before.following}&count={count}")
        except AgentError as error:
            # Forgotten by the agent already, or of another life of it: what holds now tells the rest.
            self._samples = "OUT_OF_RANGE" in error.codes
            return self._ask("current")

    def _ask(self, what: str) -> Streams:
        try:
            text = self._bounded.run(lambda: self._fetched(what), _LIMIT + _MORE)
        except ActionError as error:
            raise _mute() from error
        return read_document(text)

    def _fetched(self, what: str) -> str:
        until = time.monotonic() + _LIMIT
        try:
            with self._opener.open(f"{quote(self._address, safe=':/@[]%')}/{what}", timeout=_LIMIT) as answer:
                came = _read(answer, until)
        except HTTPError as error:
            with error:
                came = _read(cast("HTTPResponse", error.fp), until)
            if b"MTConnectError" not in came:
                raise LineFeedError(f"the agent answers {error.code}: check host, port and device") from error
        except (OSError, HTTPException) as error:
            reason = getattr(error, "reason", None) or error
            raise LineFeedError(f"the agent is not reached ({reason}); trying again") from error
        if len(came) > _MOST:
            raise LineFeedError("the agent's answer is too long")
        return came.decode("utf-8", "replace")


def _read(answer: HTTPResponse, until: float) -> bytes:
    """Return an answer, or more than it may have where it is longer."""
    came = bytearray()
    # Each wait for a piece has an end; one byte now and then would have none.
    while len(came) <= _MOST and (piece := answer.read1(_PIECE)):
        came += piece
        if time.monotonic() > until:
            raise _mute()
    return bytes(came)


def _mute() -> LineFeedError:
    return LineFeedError(f"the agent does not answer within {_LIMIT + _MORE:g} s; trying again")


class _Told:
    """Gives on what follows from observations, and again now and then while it holds."""

    def __init__(self, out: Outlet, choice: Choice) -> None:
        self._out = out
        self._choice = choice
        self._following = Following(choice)
        self._machine: dict[str, str | float] = {}
        self._trouble: str | None = None
        self._others: list[str] = []
        self._at = 0.0

    def tell(self, observations: Iterable[Observation]) -> None:
        """Take in what is new."""
        lines = self._following.take(observations)
        now = self._following.now()
        self._remark_others()
        if not lines and now and time.monotonic() - self._at >= _HOLDS:
            lines = [now]
        if (trouble := self._following.trouble()) != self._trouble:
            self._trouble = trouble
            self._out.trouble(trouble)  # no trouble is that all is well
        for said in lines:
            self._out.said(said)
            self._at = time.monotonic()
        if self._following.machine != self._machine:
            self._machine = self._following.machine
            self._out.machine(self._machine)

    def _remark_others(self) -> None:
        """Say that another path than the one that is followed has line numbers, where nobody chose."""
        followed, others = self._choice.of, self._following.others()
        if followed and others and not self._choice.wanted and others != self._others:
            self._others = others
            self._out.remark(
                f"{followed[1]} is followed; for {' or '.join(others)} add #{others[0]} to the address"
            )
