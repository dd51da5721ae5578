"""Actions are told where the listening itself stands still."""

import json
import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from receivers import Web

from analysis.cutting import Bit
from analysis.events import Deaf, Event, Heard
from analysis.listener import Listener
from analysis.locate import Nowhere
from monitor import standstill
from monitor.actions import Action
from monitor.actions.beside import action_ears
from monitor.actions.request import Request
from monitor.sources import Block
from monitor.standstill import Standstill
from monitor.watch import listen

RATE = 8000
NOISE = np.random.default_rng(3).normal(0.0, 0.02, RATE).astype(np.float32)
HANGS = Deaf(1.5, "the listening itself hangs: look at the machine")


class Hangs:
    """A microphone that lets the loop hang after a second of sound, until something has happened."""

    rate = RATE
    name = "hangs"

    def __init__(self, until: Callable[[], bool]) -> None:
        self._until = until

    def blocks(self) -> Iterator[Block | None]:
        """Give sound, hang, and give sound again until that is known too."""
        yield Block(NOISE)
        for _ in range(2):
            self._wait()
            yield Block(NOISE)

    def _wait(self) -> None:
        end, before = time.monotonic() + 60.0, self._until()
        while self._until() == before:
            assert time.monotonic() < end, "nobody was told"
            time.sleep(0.01)


def test_a_loop_that_hangs_fires_deaf_and_one_that_goes_on_heard(web: Web, monkeypatch: pytest.MonkeyPatch):
    """A web server gets deaf while the loop hangs, with how far it had come, and heard once it goes on."""
    monkeypatch.setattr(standstill, "_LOOK", 0.05)
    action = Action("hook", Request(web.url()), frozenset({"deaf", "heard"}), limit=5.0, tries=1)
    ears = action_ears([action], [].append)
    listener = Listener(RATE, {0: Bit("any", 6.0, 2, 18000.0)}, Nowhere())
    listen(Hangs(lambda: len(web.received)), listener, ears)  # type: ignore[arg-type, return-value]
    told = [json.loads(got.body) for got in web.received]
    assert [(body["event"], body["at"]) for body in told[:2]] == [("deaf", 1.0), ("heard", 2.0)]
    assert told[0]["because"] == "the listening itself hangs: look at the machine"


def test_what_is_done_when_the_listening_is_over_is_no_standstill(web: Web, monkeypatch: pytest.MonkeyPatch):
    """It may take long, and nobody is to run to a machine because of it."""
    monkeypatch.setattr(standstill, "_LOOK", 0.01)
    action = Action("hook", Request(web.url()), frozenset({"deaf"}), limit=5.0, tries=1)
    ears = action_ears([action], [].append)
    ears.asked()
    ears.ends()
    time.sleep(0.2)
    assert list(ears.done(True)) == []  # noqa: FBT003 - as the loop calls it
    assert web.received == []


def looked(signs: str) -> list[Event]:
    """Return what is told where a dot is a look, and ``x`` a sign of life before it."""
    told: list[Event] = []
    watching = Standstill(told.append)
    watching.end()  # this test looks itself
    watching.at = 1.5
    for sign in signs:
        if sign == "x":
            watching.alive()
        watching.look()
    return told


def test_four_looks_without_a_sign_are_a_standstill():
    """It is told once, however long it lasts; and once more when it happens again."""
    assert looked("x...x...x") == []
    assert looked("x....") == [HANGS]
    assert looked("x...........") == [HANGS]
    assert looked("x.....xx") == [HANGS, Heard(1.5, "the listening goes on")]
    assert looked("x.....x......").count(HANGS) == 2


def test_one_that_says_itself_that_it_is_deaf_is_not_heard_because_it_goes_on():
    """When a microphone was lost during the standstill, only the listening says when it is heard again."""
    told: list[Event] = []
    watching = Standstill(told.append)
    watching.end()
    watching.alive()
    for _ in range(8):
        watching.look()
    watching.see(Deaf(2.0, "a gap"))
    watching.alive()
    watching.look()
    assert [type(event) for event in told] == [Deaf]
