"""What is known of the machines of a shop, from their messages; each event is given once, and in order."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from pydantic import ValidationError

from monitor.shop.messages import BROKE_OFF, MOST_BYTES, OVER, EventMessage, HereMessage, StateMessage

# s that an event waits for those before it, and a machine for its first state; after which missing events are
# asked for, and from one asking to the next.
_WAIT, _GAP, _ASK_EVERY = 3.0, 0.5, 2.0
# s beyond two beats after which a machine that says nothing is not heard of.
SLACK = 2.0
# Events that are asked for at once.
_ASKED = 500

News = dict[str, Any]


@dataclass(frozen=True)
class Ask:
    """Events of a run that never came."""

    machine: str
    run: str
    first: int
    last: int


@dataclass(frozen=True)
class Row:
    """
    What is shown of a machine.

    Attributes
    ----------
    machine
        Its name.
    word
        How it is: the state, ``gone``, ``not heard of`` or ``two machines``.
    state
        What it last said; ``None`` before it has said anything.
    last
        Its last event.
    silent
        For how many s nothing was heard of it.
    both
        What each last said of those that have this name, where there are several.
    """

    machine: str
    word: str
    state: StateMessage | None
    last: EventMessage | None
    silent: float
    both: tuple[StateMessage, ...] = ()

    @property
    def urgent(self) -> bool:
        """Whether somebody should look at once."""
        return self.word in URGENT


TWO = "two machines"
URGENT = ("alarm", TWO, "gone", "not heard of", BROKE_OFF, "deaf")
# Machines of one name that are told apart at most.
_MOST_OF_A_NAME = 8


@dataclass
class _Run:
    """The events of a run: given up to ``done``, all but ``missing``; ``held`` wait for those before them."""

    done: int = 0
    known: int = 0
    held: dict[int, EventMessage] = field(default_factory=dict)
    missing: set[int] = field(default_factory=set)
    since: float = 0.0
    asked: float = float("-inf")


@dataclass
class _Machine:
    met: float
    state: StateMessage | None = None
    here: HereMessage | None = None
    last: EventMessage | None = None
    heard: float = float("-inf")
    told: tuple[str, str] = ("", "")
    runs: dict[str, _Run] = field(default_factory=dict)
    going: dict[str, StateMessage] = field(default_factory=dict)
    several: bool = False

    def word(self, now: float) -> str:
        if self.state is None:
            return "not heard of"
        if self.several:
            return "alarm" if any(state.state == "alarm" for state in self.going.values()) else TWO
        gone = self.here is not None and not self.here.here and self.here.run == self.state.run
        if self.state.state in OVER:
            return self.state.state
        if gone:
            return "gone"
        return "not heard of" if now - self.heard > 2 * self.state.beat + SLACK else self.state.state

    def shows(self, now: float) -> bool:
        """Whether there is anything to show: what says that it is there says in a moment how it is."""
        return self.state is not None or now - self.met > _WAIT

    def speaks(self, said: StateMessage) -> None:
        """
        Take in what is said now, and by whom: a run that speaks again after another is another machine's.

        One that is silent after that stays, until it says that it is over: it may be in trouble.
        """
        if said.state in OVER:
            self.going.pop(said.run, None)
            self.several = self.several and len(self.going) > 1
            return
        latest = next(reversed(self.going), said.run)
        self.several = self.several or (said.run in self.going and said.run != latest)
        self.going.pop(said.run, None)
        self.going[said.run] = said
        most = _MOST_OF_A_NAME if self.several else 2
        for run in list(self.going)[:-most]:
            del self.going[run]


class Machines:
    """
    The machines of a shop.

    Attributes
    ----------
    repeated
        How many events came that were here already, and were dropped.
    """

    def __init__(self) -> None:
        self.repeated = 0
        self._machines: dict[str, _Machine] = {}

    def take(self, topic: str, payload: bytes, now: float, *, kept_at: float | None = None) -> list[News]:
        """
        Take in a message; return what is news, the events in their order.

        Parameters
        ----------
        topic
            ``MACHINE/state``, ``MACHINE/here`` or ``MACHINE/events``; anything else is passed over.
        payload
            JSON; what is no message of ours is passed over.
        now
            The monotonic clock, s, here and below: one on the wall may be set.
        kept_at
            What the clock on the wall showed, s since 1970, when one came that the broker had kept: how old
            it is only its own time tells.
        """
        name, _, what = topic.rpartition("/")
        kind = _KINDS.get(what)
        if kind is None or len(payload) > MOST_BYTES:
            return []
        try:
            said = kind.model_validate_json(payload)
        except ValidationError:
            return []
        if said.machine != name:
            return []
        machine = self._machines.setdefault(name, _Machine(now))
        if isinstance(said, HereMessage):
            machine.here = said
            return []
        age = 0.0 if kept_at is None else max(0.0, kept_at - _seconds(said.time))
        machine.heard = max(machine.heard, now - age)
        if isinstance(said, StateMessage):
            if kept_at is None:
                machine.speaks(said)
            machine.state = said
            _later(machine, said.last, live=kept_at is None)
            for run, events in {**said.before, said.run: said.events}.items():
                self._expect(machine, run, events, now)
            return []
        _later(machine, said, live=kept_at is None and not said.late)
        return list(self._event(machine, said, now))

    def look(self, now: float) -> list[News]:
        """Return what has changed since this was last asked: states, and events that waited long enough."""
        news: list[News] = []
        for name, machine in sorted(self._machines.items()):
            if not machine.shows(now):
                continue
            for run in machine.runs.values():
                if run.held and now - run.since > _WAIT:
                    news.extend(_let_go(run))
            word = machine.word(now)
            whose = machine.state.run if machine.state and not machine.several else ""
            if machine.told != (told := (word, whose)):
                machine.told = told
                news.append(_state_news(name, word, machine))
        return news

    def asks(self, now: float) -> Iterator[Ask]:
        """Give which events to ask for now, of machines that are there."""
        for name, machine in self._machines.items():
            if machine.word(now) in ("gone", "not heard of", *OVER):
                continue
            for run_name, run in machine.runs.items():
                lacking = self._lacking(run)
                due = now - run.since > _GAP and now - run.asked > _ASK_EVERY
                if lacking and due:
                    run.asked = now
                    yield Ask(name, run_name, lacking[0], min(lacking[-1], lacking[0] + _ASKED))

    def rows(self, now: float) -> list[Row]:
        """Return what to show, what is urgent first."""
        rows = [
            Row(
                name,
                machine.word(now),
                machine.state,
                machine.last,
                max(0.0, now - machine.heard),
                tuple(machine.going.values()) if machine.several else (),
            )
            for name, machine in self._machines.items()
            if machine.shows(now)
        ]
        rank = {word: number for number, word in enumerate(URGENT)}
        return sorted(rows, key=lambda row: (rank.get(row.word, len(rank)), row.machine))

    def _expect(self, machine: _Machine, name: str, events: int, now: float) -> None:
        run = machine.runs.setdefault(name, _Run())
        if events > run.known:
            if not self._lacking(run):
                run.since = now
            run.known = events

    @staticmethod
    def _lacking(run: _Run) -> list[int]:
        return sorted(
            {*run.missing, *(seq for seq in range(run.done + 1, run.known + 1) if seq not in run.held)}
        )

    def _event(self, machine: _Machine, said: EventMessage, now: float) -> Iterator[News]:
        run = machine.runs.setdefault(said.run, _Run())
        seq = said.seq
        if seq in run.held or (seq <= run.done and seq not in run.missing):
            self.repeated += 1
            return
        if seq in run.missing:
            run.missing.discard(seq)
            yield said.plain() | {"late": True}
            return
        if not self._lacking(run):
            run.since = now
        run.known = max(run.known, seq)
        run.held[seq] = said
        while run.done + 1 in run.held:
            run.done += 1
            yield run.held.pop(run.done).plain()


def _later(machine: _Machine, event: EventMessage | None, *, live: bool) -> None:
    """
    Note the last event: what is told now is later than all before it, whatever the machine's clock says.

    Of one run the numbers tell which is later; only of what is told late of another run its time has to.
    """
    last = machine.last
    if event is None:
        return
    if last is None:
        is_later = True
    elif event.run == last.run:
        is_later = event.seq >= last.seq
    else:
        is_later = live or _seconds(event.time) >= _seconds(last.time)
    if is_later:
        machine.last = event


def _let_go(run: _Run) -> Iterator[News]:
    """Give the events that wait, though some before them are missing."""
    for seq in sorted(run.held):
        run.missing.update(range(run.done + 1, seq))
        run.done = seq
        yield run.held.pop(seq).plain()


def _state_news(name: str, word: str, machine: _Machine) -> News:
    state = (
        machine.state.model_dump(by_alias=True, exclude={"last", "before"})
        if machine.state
        else {"machine": name}
    )
    if machine.several:
        state["because"] = several(name, tuple(machine.going.values()))
    return {**state, "event": "state", "word": word}


def several(name: str, both: Sequence[StateMessage]) -> str:
    """Return what to say of machines that have one name."""
    each = "; ".join(f"{state.run} is {state.state}" for state in sorted(both, key=lambda state: state.run))
    return f"{len(both)} machines are called {name}: give each its own --machine ({each})"


def _seconds(time: str) -> float:
    try:
        return datetime.fromisoformat(time).timestamp()
    except (ValueError, OverflowError):
        return float("-inf")


_KINDS: dict[str, type[StateMessage] | type[EventMessage] | type[HereMessage]] = {
    "state": StateMessage,
    "here": HereMessage,
    "events": EventMessage,
}
