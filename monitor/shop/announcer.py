"""A worker that announces a machine: its state, its events, and by the broker's mouth that it is gone."""

import json
import queue
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from analysis.events import Alarm, Deaf, Event, Place, StateChange, Summary, to_dict
from analysis.events import Heard as HeardAgain
from monitor.actions.libraries import needed
from monitor.linefeed.source import LineFeedError
from monitor.output import printable
from monitor.screen.seen import Heard
from monitor.shop.address import ALIVE, Shop
from monitor.shop.messages import BROKE_OFF, ENDED, MOST_BYTES, OVER, AskMessage, StateMessage
from monitor.shop.told import TOLD, Message, Told, kept_messages, message, told_before, unsent
from monitor.trouble import one_line
from monitor.words import count

# s that the library works before it is asked whether there is more, and the pause before a broker is tried
# again: at first, and at the most.
_TURN, _SOON, _LATE = 0.05, 0.5, 5.0
# s of age at which an event counts as late; s without a sign of life after which no state is told any more.
_AGE, _STILL = 2.0, 3.0
# Events that are on their way to the broker at once; bytes of a question; runs that are said to be another's.
_UNDER_WAY, _LONGEST, _MOST_OTHERS = 16, 1000, 10
# States in which a run may not end calmly, and how it ended in them.
_UNSETTLED = {"alarm": "while an alarm lasted", "deaf": "while nothing could be heard"}


@dataclass(frozen=True)
class Machine:
    """
    A machine and its run.

    Attributes
    ----------
    name
        What it is called; part of its topics.
    run
        What the run is called in the shop; no other run has that name.
    title
        What is cut.
    program
        The program's file, ``None`` without one.
    home
        Where runs are kept.
    folder
        Where this one is; ``None`` if it is not.
    """

    name: str
    run: str
    title: str
    program: str | None
    home: Path
    folder: Path | None


@dataclass(frozen=True)
class _State:
    word: str = "settle"
    because: str = "listening begins"
    since: str = ""
    heard: Heard | None = None
    events: int = 0
    last: Mapping[str, Any] | None = field(default=None, compare=False)

    def same(self, other: "_State") -> bool:
        """Return whether there is nothing new that should be told at once."""
        mine, others = ((one.word, one.because, one.since, one.events) for one in (self, other))
        return mine == others


class Announcer:
    """
    Announces a machine, in a thread of its own.

    What is told to it is put where the thread finds it: nobody ever waits for a broker.

    Parameters
    ----------
    shop
        The broker.
    machine
        Which machine.
    now
        The clock on the wall.
    beat
        s between two states while nothing changes.
    """

    def __init__(
        self, shop: Shop, machine: Machine, now: Callable[[], datetime], *, beat: float = 5.0
    ) -> None:
        self._shop = shop
        self._machine = machine
        self._now = now
        self._beat = beat
        self._state = self._change = _State(since=self._time())
        # The alarm that lasts, also through deafness.
        self._alarm: _State | None = None
        self._deaf: _State | None = None
        self._alive = time.monotonic()
        self._broke: Deaf | None = None
        self._all: list[Message] = []
        self._told = Told(machine.folder, shop.name, machine.name, machine.run)
        # By which the broker knows this link: another machine of the same name must not throw it out.
        self._link_name = f"chipsong-{machine.name}-{secrets.token_hex(4)}"
        self._newest = True
        self._others: set[str] = set()
        self._before: dict[str, int] = {}
        self._came: queue.SimpleQueue[Message] = queue.SimpleQueue()
        self._said: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._over = threading.Event()
        self._end = float("inf")
        self._work = _Work()
        self._trouble = ""
        self._parted = False
        self._thread = threading.Thread(target=self._run, name="shop", daemon=True)
        self._thread.start()

    # --- on the thread that listens -------------------------------------------------------------------------

    def alive(self) -> None:
        """Take in that the listening goes on."""
        self._alive = time.monotonic()

    def see(self, heard: Heard) -> None:
        """Take in what is heard."""
        self._state = replace(self._state, heard=heard)

    def alert(self, event: Event) -> None:
        """Take in an event before it is kept; that the listening broke off is told here alone."""
        if isinstance(event, Deaf):
            self._broke = event
            self._state = replace(self._state, word="deaf", because=event.because, since=self._time())

    def tell(self, event: Event) -> None:
        """Take in an event that is kept by now."""
        match event:
            case StateChange(_, state, because):
                self._change = _State(state, because, self._time())
                self._alarm = self._alarm if state in ("alarm", "deaf") else None
                if state == "alarm":
                    self._alarm = self._change = self._alarm or self._change
                self._show_state()
                return
            case Deaf(_, because):
                self._broke, self._deaf = None, _State("deaf", because, self._time())
                self._show_state()
            case HeardAgain():
                self._deaf = None
                self._show_state()
            case Alarm():
                because = event.because[0] if event.because else ""
                self._alarm = self._change = _State("alarm", because, self._time())
                self._show_state()
            case Summary():
                word, because = self._how_it_ended(event)
                self._state = replace(self._state, word=word, because=because, since=self._time())
        body = to_dict(event)
        if body["event"] in TOLD:
            self._number(body)

    def _show_state(self) -> None:
        """Let the state be the last that was told, unless nobody listens: what is heard may be old."""
        told = self._deaf if self._deaf and self._change.word != "alarm" else self._change
        self._state = replace(self._state, word=told.word, because=told.because, since=told.since)

    def _how_it_ended(self, summary: Summary) -> tuple[str, str]:
        """Return whether a run ended well, and why: a calm word must not hide what nobody looked at."""
        state = self._state
        if self._broke:
            return BROKE_OFF, self._broke.because
        if summary.heard_s == 0.0:
            return BROKE_OFF, "the run is over, and nothing usable was heard from its beginning to its end"
        if state.word in _UNSETTLED:
            return BROKE_OFF, f"the run ended {_UNSETTLED[state.word]}: {state.because}"
        return ENDED, f"the run is over: {count(summary.alarms)}"

    def said(self) -> list[str]:
        """Return what is to be said to the person since this was last asked."""
        return [self._said.get() for _ in range(self._said.qsize())]

    def finish(self, within: float) -> None:
        """Give the worker some time, s, for what is not sent; the rest is sent by this machine's next run."""
        self._end = time.monotonic() + within
        self._over.set()
        self._thread.join(within)

    def _number(self, body: Mapping[str, Any]) -> None:
        machine, seq = self._machine, self._state.events + 1
        told = message(machine.name, machine.run, seq, self._now(), body)
        made = Message(machine.run, seq, told, time.monotonic(), self._told)
        self._all.append(made)
        self._came.put(made)
        # The state is told every few seconds and kept by the broker; a summary may have thousands of parts.
        last = {key: value for key, value in told.items() if key != "parts"}
        self._state = replace(self._state, events=seq, last=last)

    def _time(self) -> str:
        return self._now().isoformat(timespec="milliseconds")

    # --- on the worker's thread -----------------------------------------------------------------------------

    def _run(self) -> None:
        self._told.save()
        self._take_up()
        pause = _SOON
        last = False
        while not last:
            last = self._over.is_set()
            try:
                self._link()
            except Exception as error:  # noqa: BLE001 - whatever fails here is said, and listening goes on
                self._say(one_line(error))
            if self._work.welcome:
                pause = _SOON
            self._work.broke_off()
            last = last or self._parted
            self._over.wait(pause)
            pause = min(2 * pause, _LATE)

    def _take_up(self) -> None:
        """Take up what earlier runs could not send; where that fails, this run is announced all the same."""
        shop, machine = self._shop, self._machine
        try:
            self._work.waiting.extend(unsent(machine.home, shop.name, machine.name, but=machine.run))
            self._before = told_before(machine.home, shop.name, machine.name, but=machine.run)
        except Exception as error:  # noqa: BLE001 - as below
            told = f"events of earlier runs cannot be sent ({one_line(error)})"
            self._said.put(f"the shop, {shop.name}: {told}")

    def _say(self, trouble: str) -> None:
        """Say what is wrong with the broker, and that it is there again, once each."""
        if trouble != self._trouble:
            self._trouble = trouble
            told = trouble or "the broker has all of it"
            self._said.put(f"the shop, {self._shop.name}: {told}")

    def _link(self) -> None:
        """Work with the broker until it breaks off, or all is over."""
        client, met = self._client(), False
        try:
            client.connect(self._shop.host, self._shop.port, keepalive=ALIVE)
            met = True
            while not self._is_over():
                if trouble := client.loop(_TURN):
                    why = needed("paho.mqtt.client").error_string(trouble)
                    raise LineFeedError(f"the broker broke off ({why}); events wait for it")
                if self._work.welcome:
                    self._send(client)
            if self._work.welcome:
                self._part(client)
        except OSError as error:
            raise LineFeedError(f"the broker is not reached ({error}); events wait for it") from error
        finally:
            # A broker that does not know MQTT 5 says so, or nothing at all.
            self._newest ^= met and not self._work.welcome
            client.disconnect()

    def _client(self) -> Any:  # noqa: ANN401 - the library is there only where it is needed
        client = self._shop.client(self._link_name, newest=self._newest)
        client.will_set(self._topic("here"), self._here(here=False), qos=1, retain=True)
        client.on_connect = self._connected
        client.on_publish = lambda _client, _data, number, reason, _more: self._arrived(number, reason)
        client.on_subscribe = lambda _client, _data, _id, reasons, _more: self._work.taken("ask", reasons[0])
        client.on_message = lambda _client, _data, came: self._hear(came)
        return client

    def _topic(self, what: str) -> str:
        return self._shop.topic(self._machine.name, what)

    def _here(self, *, here: bool) -> str:
        return json.dumps({"machine": self._machine.name, "run": self._machine.run, "here": here})

    def _connected(self, client: Any, _data: object, _flags: object, reason: Any, _more: object) -> None:  # noqa: ANN401
        if reason.is_failure:
            raise LineFeedError(f"the broker refuses: {reason}")
        client.subscribe([(self._topic(what), 1) for what in ("ask", "state")])
        self._publish(client, "here", self._here(here=True))
        self._work.welcome = True
        self._work.next_state = 0.0

    def _publish(self, client: Any, what: str, payload: str, *, retain: bool = True) -> Any:  # noqa: ANN401
        sent = client.publish(self._topic(what), payload, qos=1, retain=retain)
        self._work.sent[sent.mid] = what
        return sent

    def _arrived(self, number: int, reason: Any) -> None:  # noqa: ANN401
        """Note what the broker has, or has not taken; in MQTT 3.1.1 it can't say the latter."""
        work = self._work
        work.taken(work.sent.pop(number, ""), reason)
        work.arrived(number, taken=not reason.is_failure)
        if (refused := work.refused) and not work.sent:  # so that it is said of all topics at once
            told = f"{', '.join(sorted(refused))} ({', '.join(sorted(set(refused.values())))})"
            self._say(
                f"the broker does not give this user the topics {self._topic('')}{told}; events wait for it"
            )

    def _is_over(self) -> bool:
        if not self._over.is_set():
            return False
        nothing = self._work.welcome and self._came.empty() and not self._work.busy
        return nothing or time.monotonic() > self._end - 2 * _TURN

    def _send(self, client: Any) -> None:  # noqa: ANN401 - as above
        work = self._work
        while not self._came.empty():
            work.waiting.append(self._came.get())
        while work.waiting and len(work.under_way) < _UNDER_WAY:
            made = work.waiting.popleft()
            late = made.late or time.monotonic() - made.born > _AGE
            payload = json.dumps({**made.body, "late": late})
            work.under_way[self._publish(client, "events", payload, retain=False).mid] = made
        if not (work.lacks or work.refused):
            self._say("")
        self._send_state(client)

    def _send_state(self, client: Any) -> None:  # noqa: ANN401 - as above
        """Tell the state when it has changed, and as a sign of life, but only while the listening goes on."""
        state, now = self._state, time.monotonic()
        if now - self._alive > _STILL:
            return
        work = self._work
        if now >= work.next_state or not state.same(work.state):
            work.state, work.next_state = state, now + self._beat
            self._publish(client, "state", json.dumps(self._state_body(state)))
            work.try_again()

    def _state_body(self, state: _State) -> dict[str, Any]:
        heard = state.heard
        return {
            "machine": self._machine.name,
            "run": self._machine.run,
            "time": self._time(),
            "state": state.word,
            # Of the same state what is heard may be otherwise by now.
            "because": heard.because if heard and heard.state == state.word else state.because,
            "since": state.since,
            "title": self._machine.title,
            "program": self._machine.program,
            "at": round(heard.at, 2) if heard else 0.0,
            "place": _place(heard.place if heard else None),
            "part": heard.part if heard else None,
            "score": round(heard.score, 3) if heard else 0.0,
            "rpm": round(heard.speed) if heard and heard.speed else None,
            "events": state.events,
            "before": self._before,
            "last": state.last,
            "beat": self._beat,
        }

    def _part(self, client: Any) -> None:  # noqa: ANN401 - as above
        """Say the last, and wait until the broker has it."""
        work = self._work
        if self._state.word in OVER:
            self._publish(client, "state", json.dumps(self._state_body(self._state)))
        self._parted = True
        last = self._publish(client, "here", self._here(here=False))
        while not last.is_published() and time.monotonic() < self._end:
            if client.loop(_TURN):
                return
        if self._came.empty() and not work.lacks:
            self._told.over = True
            self._told.save()

    def _hear(self, came: Any) -> None:  # noqa: ANN401 - as above
        """Take in what is said on this machine's topics; what the broker had kept is of long ago."""
        if came.retain:
            return
        if came.topic == self._topic("ask"):
            self._asked(came.payload)
        elif len(came.payload) <= MOST_BYTES:
            self._overhear(came.payload)

    def _overhear(self, payload: bytes) -> None:
        """Say, once for each, that another machine speaks under this one's name."""
        try:
            state = StateMessage.model_validate_json(payload)
        except ValidationError:
            return
        other, name = state.run, self._machine.name
        if other == self._machine.run or state.state in OVER or other in self._others:
            return
        if len(self._others) < _MOST_OTHERS:
            self._others.add(other)
            told = (
                f"another machine is called {name} as well (its run is {other}): give each its own --machine"
            )
            self._said.put(printable(f"the shop, {self._shop.name}: {told}"))

    def _asked(self, payload: bytes) -> None:
        """Send again what somebody asks for; one question at a time."""
        if len(payload) > _LONGEST:
            return
        try:
            asked = AskMessage.model_validate_json(payload)
        except ValidationError:
            return
        if any(made.told is None for made in (*self._work.waiting, *self._work.under_way.values())):
            return
        if asked.run == self._machine.run:
            known = self._all
        else:
            known = kept_messages(self._machine.home, asked.run, self._shop.name, self._machine.name)
        again = [made.again() for made in known if asked.first <= made.seq <= asked.last]
        self._work.waiting.extendleft(reversed(again))


class _Work:
    """What the worker is at."""

    def __init__(self) -> None:
        self.welcome = False
        self.waiting: deque[Message] = deque()
        self.under_way: dict[int, Message] = {}
        self.sent: dict[int, str] = {}
        self.refused: dict[str, str] = {}
        self.not_taken: list[Message] = []
        self.state = _State()
        self.next_state = 0.0

    @property
    def busy(self) -> bool:
        """Whether some event is still to be sent, or on its way."""
        return bool(self.waiting or self.under_way)

    @property
    def lacks(self) -> bool:
        """Whether some event has not reached the broker."""
        return self.busy or bool(self.not_taken)

    def taken(self, what: str, reason: Any) -> None:  # noqa: ANN401 - the library is there only where it is needed
        """Note for one of the machine's topics whether the broker lets us at it."""
        if reason.is_failure:
            self.refused[what] = str(reason)
        else:
            self.refused.pop(what, None)

    def arrived(self, number: int, *, taken: bool) -> None:
        """Note what the broker has: it must acknowledge in the order of sending (MQTT 3.1.1, 4.6)."""
        made = self.under_way.pop(number, None)
        if made is None:
            return
        if not taken:
            self.not_taken.append(made)
        elif made.told and not self.not_taken:
            made.told.arrived(made.seq)

    def try_again(self) -> None:
        """Send once more what the broker did not take, in its order: its rules may have been changed."""
        back = [*self.not_taken, *self.under_way.values()] if self.not_taken else []
        self.waiting.extendleft(reversed(back))
        self.not_taken.clear()
        if back:
            self.under_way.clear()

    def broke_off(self) -> None:
        """Take back what may not have arrived: it is sent again, and then is late."""
        self.welcome = False
        back = [replace(made, late=True) for made in (*self.not_taken, *self.under_way.values())]
        self.waiting.extendleft(reversed(back))
        self.not_taken.clear()
        self.under_way.clear()
        self.sent.clear()
        self.refused.clear()


def _place(place: Place | None) -> dict[str, Any] | None:
    if place is None:
        return None
    return {"file": place.file, "word": place.word, "from": place.first, "to": place.last}
