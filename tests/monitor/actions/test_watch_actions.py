"""Actions beside ``chipsong watch``; ``replay`` fires nothing."""

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from contract import BIT, SHIPPED, Ended, shipped, sound
from receivers import HERE, Web, silent_server

from analysis.events import Alarm
from monitor.actions import Crew
from monitor.journal import Run, runs
from monitor.testing import FakeMicrophone, silence

Command = Callable[..., Ended]
WATCH = ("watch", "--program", SHIPPED / "slip_outline.ngc", *BIT)


@pytest.fixture(autouse=True)
def hears(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the microphone hear the shipped slip, muted for a while before the cut, until after the alarm."""
    samples, rate = sound("slip_outline")
    muted = silence(samples[: 11 * rate], rate, start=0.5, seconds=2.0)
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: FakeMicrophone(muted, rate))


def set_up(home: Path, *tables: str) -> None:
    """Write the file of actions."""
    home.mkdir(exist_ok=True)
    (home / "actions.toml").write_text("\n".join(f"[[action]]\n{table}" for table in tables))


def hook(web: Web) -> str:
    """Return an action that reaches the web server at every event."""
    return f'name = "hook"\nkind = "http"\nurl = "{web.url()}"\non = ["alarm", "deaf", "heard"]\n'


@pytest.fixture(scope="module")
def plain() -> dict[str, Ended]:
    """Keep how a run without actions ended."""
    return {}


def without_actions(chipsong: Command, plain: dict[str, Ended]) -> Ended:
    """Return how a run without actions ends; it is heard once for all tests."""
    if not plain:
        plain["--json"] = chipsong(*WATCH, "--json")
    return plain["--json"]


def the_run(home: Path) -> Run:
    """Return the one run that was kept."""
    (run,) = runs(home)
    return run


def test_the_events_of_a_run_fire_actions(chipsong: Command, home: Path, web: Web):
    """What --json writes of alarm, deaf and heard arrives, and says that it is no test."""
    set_up(home, hook(web))
    ended = chipsong(*WATCH, "--json")
    written = [event for event in ended.events if event["event"] in {"alarm", "deaf", "heard"}]
    assert {event["event"] for event in written} == {"alarm", "deaf", "heard"}
    arrived = [json.loads(got.body) for got in web.received]
    key = json.dumps
    assert sorted(map(key, arrived)) == sorted(key(event | {"test": False}) for event in written)


def test_what_became_of_them_is_shown_and_kept(chipsong: Command, home: Path, web: Web):
    """Each outcome is a line on the screen, an event of the journal, and a line of `chipsong runs`."""
    web.answers = [204, 500]
    set_up(home, hook(web) + "tries = 1\n")
    ended = chipsong(*WATCH)
    kept = [event for event in the_run(home).events() if event.name == "action"]
    assert len(kept) == len(web.received)
    assert [event.body["ok"] for event in kept] == [True] + [False] * (len(kept) - 1)
    assert kept[0].body["action"] == "hook"
    assert kept[0].body["for"] == "deaf"
    assert kept[0].body["said"] == "answered 204 No Content"
    assert kept[0].body["at"] == pytest.approx(kept[0].at, abs=1e-4)
    assert "action 'hook' at deaf done after " in ended.out
    assert "action 'hook' at alarm FAILED after " in ended.out
    told = chipsong("runs", the_run(home).id).out
    assert "action 'hook' at deaf done after " in told
    assert "*** ALARM: " in told


def test_json_stays_as_it_is(chipsong: Command, home: Path, web: Web, plain: dict[str, Ended]):
    """With --json outcomes and cautions are on standard error, and standard output is that of no actions."""
    before = without_actions(chipsong, plain)
    set_up(home, hook(web))
    ended = chipsong(*WATCH, "--json")
    assert (ended.status, ended.out) == (before.status, before.out)
    lines = ended.err.splitlines()
    assert "chipsong: 'hook' may act on the machine, as you set it up." in lines[0]
    assert "A feed hold does not stop the spindle." in lines[0]
    assert sum("chipsong: action 'hook' at " in line for line in lines) == len(web.received) > 0


def test_what_cannot_work_is_said_at_the_start(
    chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch
):
    """An action whose library is missing is told before the listening, and again when it fails."""
    monkeypatch.setitem(sys.modules, "paho.mqtt.client", None)
    set_up(home, 'name = "broker"\nkind = "mqtt"\nhost = "shop.example"\ntopic = "t"\ntries = 1')
    ended = chipsong(*WATCH)
    start, end = ended.out.index("action 'broker' CANNOT WORK: paho-mqtt"), ended.out.index("LEARN")
    assert start < end
    assert "action 'broker' at alarm FAILED" in ended.out


def test_hearing_goes_on_while_all_actions_hang(
    chipsong: Command, home: Path, plain: dict[str, Ended], monkeypatch: pytest.MonkeyPatch
):
    """With a server that never answers the run hears the same, and is over soon after its end."""
    before = without_actions(chipsong, plain)
    monkeypatch.setattr("monitor.actions.beside._AT_THE_END", 0.5)
    with silent_server() as port:
        table = f'kind = "http"\nurl = "http://{HERE}:{port}"\nlimit = 60\n'
        set_up(home, *(f'name = "{number}"\n{table}' for number in range(3)))
        begun = time.monotonic()
        ended = chipsong(*WATCH, "--json")
        took = time.monotonic() - begun
    assert ended.out == before.out
    assert took < 20.0
    failed = [line for line in ended.err.splitlines() if "FAILED" in line]
    assert failed
    assert all(line.endswith("not over at the end of the run, and left to itself") for line in failed)


def test_an_alarm_is_told_before_it_is_written_down(
    chipsong: Command, home: Path, web: Web, monkeypatch: pytest.MonkeyPatch
):
    """Actions are told of an event before the journal, which waits for the disk."""
    order: list[str] = []
    tell = Crew.tell

    def told(crew: Crew, event: object) -> None:
        order.append(f"told {type(event).__name__}")
        tell(crew, event)

    def kept(_journal: object, name: str, *_: object) -> None:
        order.append(f"kept {name}")

    set_up(home, hook(web))
    monkeypatch.setattr(Crew, "tell", told)
    monkeypatch.setattr("monitor.journal.Journal.event", kept)
    chipsong(*WATCH, "--json")
    assert order.index(f"told {Alarm.__name__}") < order.index("kept alarm")


def test_replay_fires_nothing(chipsong: Command, home: Path, web: Web):
    """A replay of the same cut alarms, and no action fires, with --keep as without."""
    set_up(home, hook(web))
    for more in ((), ("--keep",)):
        assert chipsong(*shipped("slip_outline"), *more).status == 3
    assert web.received == []
    assert not any(event.name == "action" for event in the_run(home).events())


def test_an_impatient_end_still_has_its_summary(
    chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch
):
    """Ctrl-C while actions get their time at the end leaves them, and the summary is told."""

    def finish(_crew: Crew, _within: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Crew, "finish", finish)
    set_up(home, 'name = "cmd"\nkind = "command"\nrun = ["true"]')
    ended = chipsong(*WATCH, "--json")
    assert ended.events[-1]["event"] == "summary"
    assert the_run(home).closed
