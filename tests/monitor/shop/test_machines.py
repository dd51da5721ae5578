"""What is made of messages, whatever order they come in."""

import json
import random
from types import SimpleNamespace

import pytest
from rich.console import Console
from starlette.testclient import TestClient

from analysis.events import Alarm, Checked, Deaf, Event, PartVerdict, Place, ResumeLine, Summary, to_dict
from monitor.page.guard import Door, Guard
from monitor.page.serving import shown
from monitor.sharing import Sharing
from monitor.shop.address import Shop
from monitor.shop.machines import Machines
from monitor.shop.messages import MOST_BYTES
from monitor.shop.page import shop_app
from monitor.shop.showing import Seen, cells, news_text, picture


def event(seq: int, *, run: str = "r", late: bool = False) -> bytes:
    """Return the message of an event."""
    time = "2026-11-28T10:00:00+00:00"
    body = {"machine": "m", "run": run, "seq": seq, "time": time, "event": "heard", "at": float(seq)}
    return json.dumps({**body, "because": "x", "late": late}).encode()


def state(
    events: int, *, word: str = "listen", run: str = "r", time: str = "2026-11-28T10:00:00+00:00"
) -> bytes:
    """Return the message of a state."""
    body = {"machine": "m", "run": run, "time": time, "state": word, "because": "x", "since": time}
    return json.dumps({**body, "events": events}).encode()


def test_each_event_is_given_once_and_in_order_however_they_come():
    """Repeated and shuffled messages of three runs give each event once, each run in order."""
    for seed in range(20):
        chance = random.Random(seed)  # noqa: S311 - a test
        sent = [(run, seq) for run in "abc" for seq in range(1, 9)] * 2
        chance.shuffle(sent)
        machines, given = Machines(), []
        for run, seq in sent:
            given += machines.take("m/events", event(seq, run=run), 0.0)
        for run in "abc":
            assert [one["seq"] for one in given if one["run"] == run] == list(range(1, 9))
        assert machines.repeated == 24


def test_what_never_came_is_asked_for_and_the_others_wait_a_little():
    """A gap is asked for; events after it are held for 3 s, then given; what comes late is marked."""
    machines = Machines()
    machines.take("m/state", state(3), 0.0)
    assert [one["seq"] for one in machines.take("m/events", event(1), 0.0)] == [1]
    assert machines.take("m/events", event(3), 0.0) == []
    (ask,) = machines.asks(1.0)
    assert (ask.machine, ask.run, ask.first, ask.last) == ("m", "r", 2, 2)
    assert list(machines.asks(1.5)) == []
    machines.take("m/state", state(3), 4.0)
    assert [one.get("seq") for one in machines.look(4.0)] == [3, None]
    assert list(machines.asks(4.0))
    (late,) = machines.take("m/events", event(2), 5.0)
    assert late["late"]
    assert machines.take("m/events", event(2), 5.0) == []
    assert list(machines.asks(9.0)) == []


def test_what_earlier_runs_told_is_asked_for_too():
    """A machine that told of them while nobody was there counts them in its state."""
    machines = Machines()
    machines.take("m/state", state(0).replace(b'"events"', b'"before": {"old": 2}, "events"'), 0.0)
    (ask,) = machines.asks(1.0)
    assert (ask.machine, ask.run, ask.first, ask.last) == ("m", "old", 1, 2)
    given = [machines.take("m/events", event(seq, run="old", late=True), 1.0) for seq in (1, 2)]
    assert [len(each) for each in given] == [1, 1]
    assert list(machines.asks(9.0)) == []


def test_a_state_that_the_broker_kept_may_be_old():
    """A machine whose kept state is older than two of its beats is not heard of, until it says something."""
    machines = Machines()
    machines.take("m/state", state(0), 100.0, kept_at=1.9e9)
    assert machines.rows(100.0)[0].word == "not heard of"
    machines.take("m/state", state(0), 100.0)
    assert machines.rows(111.0)[0].word == "listen"
    assert machines.rows(113.0)[0].word == "not heard of"


def test_the_last_will_of_an_earlier_run_says_nothing_of_the_next():
    """Gone is a machine only when that is said of the run that its state is of, and when it did not end."""
    machines = Machines()

    def here(run: str) -> bytes:
        return json.dumps({"machine": "m", "run": run, "here": False}).encode()

    machines.take("m/state", state(0, run="new"), 0.0)
    machines.take("m/here", here("old"), 0.0)
    assert machines.rows(0.0)[0].word == "listen"
    machines.take("m/here", here("new"), 0.0)
    assert machines.rows(0.0)[0].word == "gone"
    machines.take("m/state", state(0, run="new", word="ended"), 0.0)
    assert machines.rows(100.0)[0].word == "ended"


@pytest.mark.parametrize(
    ("height", "caution", "code"), [(10, False, False), (24, True, False), (60, True, True)]
)
def test_the_address_of_a_shared_page_takes_no_machine_its_room(height: int, *, caution: bool, code: bool):
    """Its code for a phone's camera fills an ordinary window: it is there where all machines are."""
    machines = Machines()
    for name, word in (("east", "alarm"), ("west", "listen")):
        machines.take(f"{name}/state", state(0, word=word).replace(b'"m"', f'"{name}"'.encode()), 0.0)
    there = SimpleNamespace(address="http://192.168.178.23:43211/Ab3dEf6hIj9lMn2pQr5tUv8x/")
    foot = shown(there, "", Sharing(share=True))  # type: ignore[arg-type]
    console = Console(width=80, height=height, color_system=None)
    drawn = picture(Shop("broker", "east"), machines.rows(0.0), "", height, foot, width=80)
    lines = console.render_lines(drawn)
    told = ["".join(piece.text for piece in line) for line in lines]
    assert len(told) <= height
    assert [">>> ALARM <<<" in line for line in told].count(True) == 1
    assert any(line.startswith(" west") for line in told)
    assert any(line.startswith("The page: http://") for line in told)
    assert any("unencrypted" in line for line in told) is caution
    assert any("█" in line for line in told) is code


def test_a_run_that_broke_off_is_to_be_looked_at():
    """It stands above what is calm, whatever the broker says later of its link, and is asked for nothing."""
    machines = Machines()
    machines.take("calm/state", state(0, word="ended").replace(b'"m"', b'"calm"'), 0.0)
    machines.take("m/state", state(1, word="broke off"), 0.0)
    machines.take("m/here", b'{"machine": "m", "run": "r", "here": false}', 0.0)
    row, calm = machines.rows(100.0)
    assert (row.machine, row.word, row.urgent, calm.urgent) == ("m", "broke off", True, False)
    assert cells(row)[:3] == ("m", "--- BROKE OFF ---", "since 10:00:00: x")
    assert list(machines.asks(100.0)) == []


def test_two_machines_of_one_name_are_seen():
    """Two runs that speak in turn are two machines, and an alarm of either is one; a restart is none."""
    machines = Machines()
    for run in ("old", "old", "new", "new"):
        machines.take("m/state", state(0, run=run), 0.0)
    assert machines.rows(0.0)[0].word == "listen"
    machines.look(0.0)
    machines.take("m/state", state(0, run="old"), 1.0)
    (news,) = machines.look(1.0)
    assert news["word"] == "two machines"
    assert "2 machines are called m: give each its own --machine (new is listen; old is" in news_text(news)
    (row,) = machines.rows(1.0)
    assert (row.urgent, cells(row)[1], "2 machines are called m" in cells(row)[2]) == (
        True,
        "!!! TWO MACHINES",
        True,
    )
    machines.take("m/state", state(0, run="old", word="alarm"), 2.0)
    assert [one["word"] for one in machines.look(2.0)] == ["alarm"]
    machines.take("m/state", state(0, run="new"), 3.0)
    assert machines.look(3.0) == []
    assert machines.rows(100.0)[0].word == "alarm"


def test_one_of_two_machines_is_left_when_the_other_says_that_it_is_over():
    """One that only falls silent may be in trouble: it stays, whatever the other says."""
    machines = Machines()
    for run in ("a", "b", "a", "b"):
        machines.take("m/state", state(0, run=run), 0.0)
    for at in range(1, 100):
        machines.take("m/state", state(0, run="b"), float(at))
    assert machines.rows(99.0)[0].word == "two machines"
    machines.take("m/state", state(0, run="a", word="ended"), 100.0)
    machines.take("m/state", state(0, run="b"), 100.0)
    assert machines.rows(100.0)[0].word == "listen"


def test_what_the_broker_kept_is_no_other_machine():
    """A broker that comes back with an old state tells it again, and nobody speaks."""
    machines = Machines()
    machines.take("m/state", state(0, run="old"), 0.0)
    machines.take("m/state", state(0, run="new"), 1.0)
    machines.take("m/state", state(0, run="old"), 2.0, kept_at=1.8e9)
    machines.take("m/state", state(0, run="new"), 3.0)
    assert machines.rows(3.0)[0].word == "listen"


def test_a_machine_that_says_that_it_is_there_says_in_a_moment_how_it_is():
    """Until its first state there is nothing to show; one that never comes is no calm."""
    machines = Machines()
    machines.take("m/here", b'{"machine": "m", "run": "r", "here": true}', 5.0)
    assert (machines.look(5.1), machines.rows(5.1)) == ([], [])
    machines.take("m/state", state(0), 5.2)
    assert [news["word"] for news in machines.look(5.2)] == ["listen"]
    machines.take("other/here", b'{"machine": "other", "run": "r", "here": true}', 6.0)
    assert [news["word"] for news in machines.look(9.5)] == ["not heard of"]
    assert [row.word for row in machines.rows(9.5)] == ["not heard of", "listen"]


def timed(seq: int, *, hour: int, run: str = "r", late: bool = False) -> bytes:
    """Return the message of an event that the machine's clock puts at some hour."""
    return event(seq, run=run, late=late).replace(b"T10:", f"T{hour}:".encode())


def last(machines: Machines) -> tuple[str, int]:
    """Return run and number of what is shown as a machine's last event."""
    shown = machines.rows(0.0)[0].last
    assert shown is not None
    return shown.run, shown.seq


def test_the_last_event_is_what_came_last_whatever_the_clock_of_the_machine_says():
    """A clock that was ahead and was put right hides no newer event, in the same run or in the next."""
    machines = Machines()
    machines.take("m/state", state(0), 0.0)
    machines.take("m/events", timed(1, hour=20), 0.0)
    machines.take("m/events", timed(2, hour=10), 0.0)
    assert last(machines) == ("r", 2)
    machines.take("m/events", timed(1, hour=20), 0.0)
    assert last(machines) == ("r", 2)
    machines.take("m/events", timed(3, hour=20), 0.0)
    machines.take("m/events", timed(1, hour=10, run="next"), 0.0)
    assert last(machines) == ("next", 1)


def test_what_is_told_late_is_the_last_event_only_by_its_time():
    """An event of an earlier run that comes after newer ones does not stand in their place."""
    machines = Machines()
    machines.take("m/state", state(0), 0.0)
    machines.take("m/events", timed(1, hour=10), 0.0)
    machines.take("m/events", timed(1, hour=11, run="b", late=True), 0.0)
    assert last(machines) == ("b", 1)
    machines.take("m/events", timed(1, hour=10, run="c", late=True), 0.0)
    assert last(machines) == ("b", 1)


def test_what_is_none_of_ours_is_passed_over():
    """Garbage, foreign topics, wrong numbers and messages in another's name change nothing."""
    machines = Machines()
    for topic, payload in [
        ("m/state", b"\xff"),
        ("m/events", b"[]"),
        ("m/events", event(0)),
        ("m/events", event(10**9)),
        ("other/events", event(1)),
        ("m/state", b'{"machine": "m"}'),
        ("m/elsewhere", state(1)),
        ("m/state", state(1) + b" " * MOST_BYTES),
        ("m/state", b"[" * 90_000),
        ("m/events", event(1).replace(b'"heard"', b'"state"')),
        ("m/events", event(1).replace(b'"at": 1.0', b'"at": 1e999')),
    ]:
        assert machines.take(topic, payload, 0.0) == []
    assert machines.rows(0.0) == []


ODD = (
    "1e999",
    "-1e999",
    "1e308",
    "1" + 400 * "0",
    "null",
    '""',
    '"x"',
    "[]",
    "[[]]",
    "{}",
    "true",
    99 * "[" + 99 * "]",
)
PLACE = Place(3, None, 2, 4, "sound")
WHOLE = [
    Alarm(9.0, 8.0, "loose", 0.9, ("it swells",), 12.0, 11.0, PLACE, ResumeLine(2, None)),
    Checked(1.0, "physics", "tight", ("nothing rises",)),
    Deaf(1.0, "muted"),
    Summary(9.0, 1, 5.0, 4.0, 7, (PartVerdict("part 1", 1, 2, "good"),)),
]


@pytest.mark.parametrize("whole", WHOLE, ids=lambda whole: type(whole).__name__)
@pytest.mark.parametrize("odd", ODD, ids=lambda odd: odd[:8])
def test_whatever_an_event_holds_is_one_line(whole: Event, odd: str):
    """A message with any value in place of a right one is passed over or shown, and ends nothing."""
    told = {"machine": "m", "run": "r", "seq": 1, "time": "2026-11-28T10:00:00+00:00", **to_dict(whole)}
    for key in told:
        body = json.dumps({**told, key: "ODD"}).replace('"ODD"', odd)
        machines = Machines()
        for news in machines.take("m/events", body.encode(), 0.0):
            assert news_text(news).isprintable()
        for row in machines.rows(0.0):
            assert all(cell.isprintable() for cell in cells(row))


def test_what_a_newer_version_tells_is_shown_by_its_name():
    """An event that is not known here counts as come, so that it is not asked for again."""
    machines = Machines()
    machines.take("m/state", state(1), 0.0)
    (news,) = machines.take("m/events", event(1).replace(b'"heard"', b'"singing"'), 0.0)
    assert news_text(news).endswith(" singing")
    assert list(machines.asks(9.0)) == []


def test_the_page_tells_what_the_terminal_does():
    """Each machine is there with its word, why and where, without a script; what it says is no markup."""
    machines, seen, door = Machines(), Seen(), Door(frozenset({"here"}))
    browser = TestClient(Guard(shop_app(Shop("broker", "east"), seen, door), door), base_url="http://here")
    assert "No machine has said anything" in browser.get("/").text
    machines.take(
        "m/state", state(0, word="alarm").replace(b'"because": "x"', b'"because": "<b>it swells"'), 1.9e9
    )
    seen.put(machines.rows(1.9e9), "")
    page = browser.get("/").text
    assert "1 of 1 machines to look at" in page
    assert "&gt;&gt;&gt; ALARM &lt;&lt;&lt;" in page
    assert "&lt;b&gt;it swells" in page
    assert "may be old" not in page
    seen.put(machines.rows(1.9e9), "the broker is not reached")
    assert "may be old:</strong> the broker is not reached" in browser.get("/").text
    assert browser.get("/static/shop.js").status_code == 200
