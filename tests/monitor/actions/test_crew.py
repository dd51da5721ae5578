"""The crew: nobody waits for an action, each is tried as it may be, and what becomes of it is told once."""

import queue
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import ClassVar

import pytest

from analysis.events import Alarm, Deaf, Heard, StateChange
from monitor.actions.crew import Crew
from monitor.actions.kind import Action, ActionError, Done
from monitor.actions.message import Message, rehearsal

ALARM = Alarm(3.0, 2.0, "loose", 0.7, ("it hisses",), score=2.0, threshold=1.0)
DEAF, HEARD = Deaf(5.0, "silence"), Heard(9.0, "sound is back")


@dataclass
class Does:
    """A kind of action that does what the test wants, and counts."""

    what: Callable[[], str] = lambda: "fine"
    fired: list[Message] = field(default_factory=list)
    acts: ClassVar[bool] = False

    def describe(self) -> str:
        """Say nothing."""
        return ""

    def prepare(self) -> None:
        """Fail, as where a library is missing: the action is fired nevertheless."""
        raise ActionError("not there")

    def close(self) -> None:
        """Do nothing."""

    def fire(self, message: Message, limit: float) -> str:
        """Do it, with no regard for the limit."""
        del limit
        self.fired.append(message)
        return self.what()


def action(does: Does, *, on=("alarm", "deaf"), limit=0.3, tries=1, name="one") -> Action:
    """Return an action."""
    return Action(name, does, frozenset(on), limit, tries)


class Told:
    """Keeps what became of actions."""

    def __init__(self) -> None:
        self._queue: queue.SimpleQueue[Done] = queue.SimpleQueue()
        self.put = self._queue.put

    def next(self) -> Done:
        """Return the next that is told."""
        return self._queue.get(timeout=60)

    def rest(self) -> list[Done]:
        """Return what has been told and was not looked at."""
        return [self._queue.get() for _ in range(self._queue.qsize())]


@pytest.fixture
def told() -> Told:
    """Give somebody to be told."""
    return Told()


@pytest.fixture
def never() -> Iterator[threading.Event]:
    """Give something that does not come to pass while the test runs."""
    event = threading.Event()
    yield event
    event.set()


def hanging(never: threading.Event) -> Does:
    """Return what hangs for as long as the test takes."""
    return Does(lambda: str(never.wait(30)))


def test_an_action_fires_at_its_own_events(told: Told):
    """One that is on alarm and heard gets these in order, and neither deaf nor a change of state."""
    does = Does()
    crew = Crew([action(does, on=("alarm", "heard"))], told.put)
    for event in (ALARM, StateChange(4.0, "alarm", "x"), DEAF, HEARD):
        crew.tell(event)
    dones = [told.next(), told.next()]
    crew.finish(5)
    assert [(done.action, done.event.name, done.ok, done.said) for done in dones] == [
        ("one", "alarm", True, "fine"),
        ("one", "heard", True, "fine"),
    ]
    assert [message.at for message in does.fired] == [3.0, 9.0]
    assert told.rest() == []


def test_telling_takes_no_time_while_all_actions_hang(told: Told, never: threading.Event):
    """
    200 events to five actions that all hang take less than 2 ms each of whoever tells them.

    Of its own time, for others may keep the machine busy; all are told in less time than one of them hangs.
    """
    crew = Crew([action(hanging(never), limit=30, name=f"{i}") for i in range(5)], told.put)
    begun, own = time.monotonic(), time.thread_time()
    for number in range(200):
        crew.tell(ALARM if number % 2 else DEAF)
    assert time.thread_time() - own < 200 * 0.002
    assert time.monotonic() - begun < 30.0
    # In hand is one at most, and eight wait: what gave way to newer ones has been told.
    given_up = told.rest()
    assert len(given_up) >= 5 * (200 - 9)
    assert {done.said for done in given_up} == {"given up: too much waits for this action, which is slow"}
    crew.finish(0)


def test_one_that_hangs_holds_up_no_other(told: Told, never: threading.Event):
    """While one hangs another fires at once, and the one that hangs is told as failed at its limit."""
    crew = Crew([action(hanging(never), name="hangs"), action(Does(), name="works")], told.put)
    crew.tell(ALARM)
    first, second = told.next(), told.next()
    assert (first.action, first.ok) == ("works", True)
    assert first.took < 0.7
    assert (second.action, second.ok, second.said) == ("hangs", False, "not over after 0.8 s")
    assert 0.8 <= second.took < 20.0
    crew.finish(0)


def test_what_hangs_is_not_piled_up(told: Told, never: threading.Event):
    """However often an action that hangs is tried, no second thread is begun before the first is over."""
    does = hanging(never)
    crew = Crew([action(does, tries=3, limit=0.1)], told.put, pause=0.01)
    crew.tell(ALARM)
    done = told.next()
    assert not done.ok
    assert done.said == "the try before still hangs (3 tries)"
    assert len(does.fired) == 1
    crew.finish(0)


def test_it_is_fired_again_once_it_hangs_no_more(told: Told):
    """When what hung comes to its end the next try is made."""
    let_go = threading.Event()
    does = Does(lambda: str(let_go.wait(30)))
    crew = Crew([action(does, tries=2, limit=0.1)], told.put, pause=0.2)
    crew.tell(ALARM)
    while not does.fired:
        time.sleep(0.01)
    threading.Timer(0.8, let_go.set).start()
    done = told.next()
    assert (done.ok, done.said, len(does.fired)) == (True, "True (2 tries)", 2)
    crew.finish(1)


def test_one_that_raises_is_told_and_the_others_fire(told: Told):
    """Whatever an action raises is said in one line; it fires again at the next event, the others anyway."""

    def raises() -> str:
        raise RuntimeError("no\nsuch luck")

    does = Does(raises)
    crew = Crew([action(does, name="bad"), action(Does(), name="good")], told.put)
    crew.tell(ALARM)
    crew.tell(DEAF)
    crew.finish(5)
    said = sorted((done.action, done.ok, done.said) for done in told.rest())
    assert said == [("bad", False, "no such luck")] * 2 + [("good", True, "fine")] * 2


def test_it_is_tried_as_often_as_it_may_be(told: Told):
    """Two failures and a success in three tries have come about, after a pause and one twice as long."""
    outcomes = iter([ActionError("down"), OSError("down"), "up"])

    def do() -> str:
        if isinstance(outcome := next(outcomes), Exception):
            raise outcome
        return outcome

    crew = Crew([action(Does(do), tries=3)], told.put, pause=0.05)
    crew.tell(ALARM)
    done = told.next()
    assert (done.ok, done.said) == (True, "up (3 tries)")
    assert done.took >= 0.15
    crew.finish(1)


def test_pauses_have_an_end():
    """The pause doubles from try to try and is never longer than 8 s."""
    crew = Crew([action(Does())], lambda _: None, pause=1.0)
    (worker,) = crew._workers  # noqa: SLF001 - waiting for it would take a minute
    assert [worker._pause_after(tries) for tries in range(1, 7)] == [1, 2, 4, 8, 8, 8]  # noqa: SLF001
    crew.finish(1)


def test_at_the_end_there_is_time_to_finish(told: Told):
    """What waits when the run ends is still done, if it is done soon."""
    crew = Crew([action(Does(lambda: time.sleep(0.1) or "done"), limit=5)], told.put)
    for _ in range(3):
        crew.tell(ALARM)
    crew.finish(5)
    assert [done.ok for done in told.rest()] == [True] * 3


def test_what_is_not_over_at_the_end_is_left_and_told_once(told: Told):
    """What hangs when the run ends is not waited for, is told as failed with what waits, and only once."""
    let_go = threading.Event()
    does = Does(lambda: str(let_go.wait(30)))
    crew = Crew([action(does, limit=30)], told.put)
    crew.tell(ALARM)
    crew.tell(DEAF)
    while not does.fired:
        time.sleep(0.01)
    begun = time.monotonic()
    crew.finish(0.2)
    assert time.monotonic() - begun < 1.0
    let_go.set()
    time.sleep(0.1)
    dones = told.rest()
    assert [(done.event.name, done.ok) for done in dones] == [("alarm", False), ("deaf", False)]
    assert all("left to itself" in done.said for done in dones)


def test_a_test_reaches_the_one_that_is_meant(told: Told):
    """A message for one action alone reaches it, whatever it fires at, and no other."""
    one, other = Does(), Does()
    crew = Crew([action(one, name="one", on=("heard",)), action(other, name="other")], told.put)
    crew.send(rehearsal("alarm"), only="one")
    crew.finish(5)
    assert [message.test for message in one.fired] == [True]
    assert other.fired == []
