"""The live page: what is heard now, buttons that reach the loop, and no browser that slows hearing."""

import io
import json
import re
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Literal
from urllib.parse import urlsplit

import httpx2
import numpy as np
import pytest
import soundfile
from contract import SHIPPED, Ended
from live_run import BIT, LiveRun, Paced, live_run
from live_watch import COMMAND
from starlette.testclient import TestClient

from analysis.errors import ProgramError
from analysis.events import Alarm, Checked, Deaf, Heard, Place, ResumeLine, StateChange, Summary, Tightness
from analysis.listener import Listener
from analysis.locate import Nowhere
from analysis.presence import Phase
from analysis.program import read
from monitor.controls import Controls, Press
from monitor.journal import Run, runs
from monitor.listening import ears_for
from monitor.page.beside import live_app, page_beside
from monitor.page.guard import Door, Guard
from monitor.page.live import Live
from monitor.page.rendering import STATIC
from monitor.page.view import View
from monitor.screen import Screen
from monitor.sharing import Job, Sharing
from monitor.sources import Block
from monitor.sources.unhurried import Unhurried
from monitor.testing import FakeClock, FakeMicrophone
from monitor.watch import Ears, together

HOST = "127.0.0.1:8000"
OURS = {"Host": HOST, "Origin": f"http://{HOST}"}


@pytest.fixture
def view() -> View:
    """Give what a loop has left that heard a bit slip."""
    view = View(32_000, {0: BIT}, run="a-run")
    view.note(StateChange(1.0, "learn", "learning"))
    view.note(Alarm(9.0, 8.0, "loose", 0.7, ("it <swells>",), 20.0, 18.0, resume=ResumeLine(5, None)))
    return view


@pytest.fixture
def controls() -> Controls:
    """Give what the loop asks for presses."""
    return Controls()


@pytest.fixture
def browser(view: View, controls: Controls, tmp_path: Path) -> TestClient:
    """Give a browser at the live page."""
    door = Door(frozenset({HOST}))
    app = Guard(live_app(Live(view, controls, door), tmp_path, door), door)
    return TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False, follow_redirects=False)


def test_the_page_shows_state_alarm_and_cautions_without_a_script(browser: TestClient):
    """What comes from the run is never markup."""
    page = browser.get("/").text
    for words in (
        'data-state="learn"',
        "The bit may be loose (70 % sure)",
        "it &lt;swells&gt;",
        "Carry on from line 5.",
        "<li>Isolate the spindle&#39;s power.</li>",
        "<li>Press &#34;Tightened, carry on&#34;. Carry on with the restart program",
        ">Tightened, carry on</button>",
        "no safety device",
    ):
        assert words in page
    assert "<swells>" not in page


def test_an_alarm_is_told_as_what_it_is_and_where_it_began(browser: TestClient, view: View):
    """Whoever reads the page first learns that, and not what speaks for it or where the cut is by now."""
    view.note(StateChange(9.0, "alarm", "it <swells>"))
    told = browser.get("/").text
    assert '<p id="because">The bit may be loose (70 % sure), since 0:08</p>' in told
    assert '<span id="began">Where it began:</span> <strong id="line">place unknown</strong>' in told
    assert '<p id="resume">Carry on from line 5.</p>' in told
    view.note(StateChange(20.0, "listen", "comparing"))
    told = browser.get("/").text
    assert '<p id="resume"></p>' in told
    assert '<p id="do">Stop, and look at bit, collet and nut before you go on.</p>' in told
    view.note(Deaf(22.0, "a gap"))
    view.note(Heard(23.0, "sound is usable again"))
    assert " alarm: the bit may be loose. Stop, and look at bit" in browser.get("/").text


def test_where_no_restart_program_can_be_made_the_page_says_why(browser: TestClient, view: View):
    """A line to carry on from, and a link to nothing, would be taken for leave to start the program there."""
    view.program, alarm = read("G21 G90\nG0 Z5\nG1 Z-1 F300\nG1 X10\nM2\n"), view.alarms[0]
    why = ["no restart from line 5: its unit is not said"]

    def write(_: Alarm) -> str:
        if why:
            raise ProgramError(why.pop())
        return "Restart program: rest.ngc"

    ears = together(ears_for(Screen(io.StringIO()), write), view.ears)
    for refused in (True, False):
        ears.event(alarm)
        ears.refused(ears.at_alarm(alarm))
        page = browser.get("/").text
        assert page.count("There is no restart from line 5: its unit is not said.") == 2 * refused
        assert page.count("Carry on from line 5.") == 2 * (not refused)
        assert bool(re.search(r'<a class="button" id="restart"[^>]* hidden download>', page)) is refused


@pytest.mark.parametrize("script", ["live.js", "shop.js"])
def test_that_a_page_has_lost_touch_is_told_by_a_clock_that_nobody_sets(script: str):
    """By the clock on the wall, set back an hour, what is old would look new for as long."""
    text = (STATIC / script).read_text(encoding="utf-8")
    assert "performance.now() - heard < STALE" in text
    assert "Date" not in text


def test_what_the_cause_asks_for_comes_before_the_steps(browser: TestClient, view: View):
    """It goes before all that is to be done after any alarm, and what is to be done before why."""
    view.note(replace(view.alarms[0], cause="spindle", because=("its line is gone",)))
    page = browser.get("/").text
    places = [
        page.index(words) for words in ("Stop the feed at once", "<li>Stop the feed.", "its line is gone")
    ]
    assert places == sorted(places)


def test_what_is_heard_late_is_deaf_on_the_page(browser: TestClient, view: View):
    """Until it is of now again the page says that nobody listens, but where there is an alarm."""
    view.note(StateChange(9.0, "listen", "comparing"))
    view.note(Deaf(10.0, "what is heard is old"))
    assert 'data-state="deaf"' in (page := browser.get("/").text)
    assert ">what is heard is old</p>" in page
    assert ">Watch the cut yourself, or stop it: nobody listens.</p>" in page
    view.note(StateChange(11.0, "alarm", "it swells"))
    assert 'data-state="alarm"' in browser.get("/").text
    view.note(StateChange(12.0, "listen", "comparing"))
    view.note(Heard(13.0, "of now"))
    assert 'data-state="listen"' in browser.get("/").text


def test_only_who_hears_nothing_usable_is_sent_to_the_microphone(browser: TestClient, view: View):
    """It is fine where what is heard is old, and where the run is over."""
    assert 'class="cautions" hidden></p>' in browser.get("/").text
    view.note(StateChange(9.0, "deaf", "all samples are the same"))
    assert ">Watch the cut yourself, or stop it: nobody listens. Then see to the microphone.</p>" in (
        browser.get("/").text
    )
    view.ears.ends()
    page = browser.get("/").text
    assert ">Watch the cut yourself, or stop it: nobody listens.</p>" in page
    assert '"over": true' in browser.get("/stream").text


def test_the_stream_ends_with_the_run(browser: TestClient, view: View):
    """Each message is the whole state; when the run is over, that is the last thing that is said."""
    view.note(Summary(10.0, 1, 10.0, 5.0, 3))
    answer = browser.get("/stream")
    assert answer.headers["content-type"].startswith("text/event-stream")
    (message,) = answer.text.strip().split("\n\n")
    told = json.loads(message.removeprefix("data: "))
    assert (told["over"], told["alarms"], told["last"]["resume"]) == (True, 1, "Carry on from line 5.")
    assert told["orders"]["now"] is None


@pytest.mark.parametrize(
    ("said", "press"),
    [
        ({"kind": "nothing"}, Press("nothing")),
        ({"kind": "tightened"}, Press("tightened")),
        ({"kind": "mark", "line": "47"}, Press("mark", 47)),
    ],
)
def test_each_button_reaches_the_loop(browser: TestClient, controls: Controls, said: dict, press: Press):
    """It leads back to the page, which says what was said."""
    assert browser.post("/press", data=said, headers=OURS).status_code == 303
    assert controls.take() == (press,)
    assert "You said" in browser.get("/").text


@pytest.mark.parametrize(
    "said",
    [
        {}, {"kind": "stop"}, {"kind": "mark"}, {"kind": "mark", "line": "-1"},
        {"kind": "mark", "line": "1e3"}, {"kind": "mark", "line": "9" * 30},
        {"kind": "mark", "line": "\u0664\u0662"}, {"a": 1, "b": 2, "c": 3, "d": 4, "e": 5},
    ],
)  # fmt: skip
def test_what_is_no_button_is_refused(browser: TestClient, controls: Controls, said: dict):
    """In one line, and nothing reaches the loop."""
    answer = browser.post("/press", data=said, headers=OURS)
    assert (answer.status_code, answer.text.count("\n")) == (400, 1)
    assert controls.take() == ()


def test_a_finger_that_does_not_let_go_is_held_off(browser: TestClient, controls: Controls):
    """Of many presses in one second only some are heeded."""
    answers = [browser.post("/press", data={"kind": "nothing"}, headers=OURS).status_code for _ in range(20)]
    assert set(answers) == {303, 429}
    assert len(controls.take()) == answers.count(303) <= 5


def test_a_warning_of_the_loop_is_shown(browser: TestClient, view: View):
    """So a person sees why a press came to nothing."""
    view.ears.warn("nothing moves on line 3")
    assert "nothing moves on line 3" in browser.get("/").text


def test_what_is_to_be_done_stays_in_deafness(browser: TestClient, view: View):
    """The alarm lasts, and with it the steps, and from where to carry on."""
    view.note(StateChange(12.0, "deaf", "silence to the last bit"))
    view.note(Deaf(12.0, "silence to the last bit"))
    page = browser.get("/").text
    assert re.search(r'<section id="todo"[^>]*?\s>', page), "not hidden"
    assert "silence to the last bit. Before that: The bit may be loose" in page, "what it was is still said"
    assert "it &lt;swells&gt;" in page
    assert "Carry on from line 5." in page
    view.note(Heard(14.0, "sound is usable again"))
    assert "it &lt;swells&gt;" in browser.get("/").text, "what speaks for it stays as long as it lasts"
    view.note(StateChange(20.0, "listen", "good again"))
    assert re.search(r'<section id="todo"[^>]* hidden>', browser.get("/").text)


@pytest.mark.parametrize("kind", ["tightened", "nothing"])
def test_what_a_person_says_in_deafness_answers_the_alarm(
    browser: TestClient, view: View, kind: Literal["tightened", "nothing"]
):
    """No change of state tells of it: it stays deaf."""
    view.note(StateChange(12.0, "deaf", "silence to the last bit"))
    view.note(Deaf(12.0, "silence to the last bit"))
    view.heeded(Press(kind))
    assert re.search(r'<section id="todo"[^>]* hidden>', browser.get("/").text)


@pytest.mark.parametrize(("verdict", "stays"), [("tight", False), ("doubtful", True), ("loose", True)])
def test_from_where_to_carry_on_is_told_until_the_bit_is_found_tight(
    browser: TestClient, view: View, verdict: Tightness, *, stays: bool
):
    """A bit that is in doubt once more is seated once more, and its restart is the same."""
    view.note(Checked(20.0, "before", verdict, ("half orders",)))
    assert ("Carry on from line 5." in browser.get("/").text) is stays


@pytest.mark.parametrize("verdict", ["tight", "doubtful", "loose"])
def test_that_a_bit_sounds_tight_is_not_said_of_the_next_one(view: View, verdict: Tightness):
    """It goes when another bit turns; what speaks against a bit stays."""
    context, watcher = SimpleNamespace(bit=1), SimpleNamespace(state="listen", because="all well", score=0.0)
    locator = SimpleNamespace(context=context, place=lambda _: None)
    said = SimpleNamespace(watcher=watcher, locator=locator, phase=Phase.CUT, speed=300.0, at=20.0)
    view.progress(said)
    found = Checked(20.0, "before", verdict, ("half orders",))
    view.note(found)
    view.progress(said)
    assert view.last is found
    assert view.because == "all well", "and not why that state once began"
    context.bit = 2
    view.progress(said)
    assert (view.last is found) is (verdict != "tight")


def test_the_page_asks_to_look_at_no_bit_that_is_out_of_the_spindle(view: View):
    """Once another one is heard to be well, at a place that is known."""
    context, place = SimpleNamespace(bit=1), Place(5, None, 5, 5, "sound")
    watcher = SimpleNamespace(state="listen", because="all well", score=0.0)
    locator = SimpleNamespace(context=context, place=lambda _: place)
    view.note(StateChange(12.0, "listen", "good again"))
    for at, bit, accused in ((20.0, 1, True), (40.0, 2, False)):
        context.bit = bit
        view.progress(SimpleNamespace(watcher=watcher, locator=locator, phase=Phase.CUT, speed=300.0, at=at))
        assert bool(view.seen.accused) is accused


def test_what_is_said_anywhere_settles_a_doubt_on_the_page():
    """A key on the terminal as well as a button: the page must not ask for what was said already."""
    said: list[Press] = []
    source = Paced(np.zeros(0, dtype=np.float32), 32_000)
    shown: list[str] = []
    with page_beside(Job({0: BIT}, None, None), source, Sharing(), shown.append) as (page, _):
        joined = together(Ears(asked=lambda: said), page)
        address = next(word for word in shown[0].split() if word.startswith("http://"))
        joined.event(Checked(3.0, "physics", "doubtful", ("half orders",)))
        _wait(lambda: _streamed(address)["doubted"])
        assert joined.asked() == []
        assert _streamed(address)["doubted"]
        said.append(Press("tightened"))
        assert joined.asked() == [Press("tightened")]
        assert _streamed(address)["doubted"], "it may be refused"
        joined.heeded(Press("tightened"), Listener(32_000, {0: BIT}, Nowhere()), None)
        _wait(lambda: not _streamed(address)["doubted"])


def _streamed(address: str) -> dict:
    """Return what the stream tells first."""
    with httpx2.stream("GET", f"{address.rstrip('/')}/stream") as answer:
        told = next(line for line in answer.iter_lines() if line)
    return json.loads(told.removeprefix("data: "))


def test_that_nothing_arrives_is_shown_though_nothing_goes_on(browser: TestClient, view: View):
    """Without sound the loop tells of no progress; the page must not stay calm."""
    view.note(StateChange(5.0, "deaf", "nothing arrives from the microphone"))
    page = browser.get("/").text
    assert 'data-state="deaf"' in page
    assert "nothing arrives from the microphone" in page


@pytest.mark.parametrize("phase", Phase)
def test_a_spindle_that_is_not_heard_is_never_said_to_stand_still(
    browser: TestClient, view: View, phase: Phase
):
    """Somebody may reach in on it. While nobody listens nothing is said of spindle, speed or cutting."""
    heard = {
        Phase.OFF: ("no spindle heard", ""),
        Phase.AIR: ("spindle in the air", "17796 rpm"),
        Phase.CUT: ("spindle cutting", "17796 rpm"),
    }
    view.now = replace(view.now, phase=phase, speed=296.6)
    assert _spindle(browser) == heard[phase]
    for state, over in (("deaf", False), ("listen", True)):
        view.note(StateChange(5.0, state, "why"))
        view.over = over
        assert _spindle(browser) == ("nothing is known of the spindle", "")


def _spindle(browser: TestClient) -> tuple[str, ...]:
    """Return what the page says of the spindle, and of its speed."""
    page = browser.get("/").text
    return tuple(re.findall(r'id="(?:spindle|speed)"[^>]*>([^<]*)<', page))


def test_a_loop_that_hangs_is_shown(browser: TestClient, view: View, monkeypatch: pytest.MonkeyPatch):
    """Blocks that fail to come are a sign of life; a source that never comes back is none."""
    clock = FakeClock()
    monkeypatch.setattr("monitor.page.view.time", clock)
    gone: list[None] = [None, None]
    blocks = view.tap(Paced(np.zeros(0, dtype=np.float32), 32_000)).blocks
    monkeypatch.setattr(Paced, "blocks", lambda _: iter(gone))
    for _ in blocks():
        clock.advance(2.0)
        assert 'data-state="learn"' in browser.get("/").text
    clock.advance(1.5)
    assert 'data-state="lost"' in browser.get("/").text
    assert _spindle(browser) == ("nothing is known of the spindle", "")


def tone_heard(most: int, lost: dict[int, int] | None = None) -> dict:
    """Return the picture in orders of a tone, heard as a cut; so many blocks are heard as one."""
    rate, size = 32_000, 2560
    times = np.arange(4 * rate) / rate
    tone = np.sin(2 * np.pi * 3.3 * 300.0 * times).astype(np.float32)
    gone = [first * size + np.arange(count) for first, count in (lost or {}).items()]
    tone = np.delete(tone, np.concatenate([[], *gone]).astype(int))
    watcher, locator = SimpleNamespace(state="listen", because="all well", score=0.0), Nowhere()
    said = SimpleNamespace(watcher=watcher, locator=locator, phase=Phase.CUT, speed=300.0, at=0.0)
    view = View(rate, {0: BIT})
    with FakeMicrophone(tone, rate, block=size, lost=lost) as source:
        for block in Unhurried(view.tap(source), lambda: True, most).blocks():
            if block is not None:
                said.at += len(block.samples) / rate
                view.progress(said)
    return view.orders()


@pytest.mark.parametrize("most", [2, 4, 5])
def test_the_picture_in_orders_is_of_all_that_was_heard(most: int):
    """A tone is one line and nothing beside it, also while several blocks are heard as one."""
    alone = tone_heard(1)
    now = dict(zip(alone["orders"], alone["now"], strict=True))
    assert max(now, key=now.__getitem__) == pytest.approx(3.3, abs=1 / 32)
    assert max(level for order, level in now.items() if abs(order - 3.3) > 0.5) < -80.0
    assert tone_heard(most) == alone


def test_sound_that_was_lost_is_no_part_of_the_picture():
    """What does not follow one another is never looked at as one stretch."""
    picture = tone_heard(4, lost={30: 1000, 41: 777})
    now = dict(zip(picture["orders"], picture["now"], strict=True))
    assert max(level for order, level in now.items() if abs(order - 3.3) > 0.5) < -80.0


# --- a live run ---------------------------------------------------------------------------------------------


@pytest.fixture
def fast(home: Path) -> Iterator[LiveRun]:
    """Give a live run at three times the pace of life, for the machine may be busy otherwise."""
    samples, rate = soundfile.read(SHIPPED / "slip_outline.flac", dtype="float32")
    with live_run(home, Sharing(), Paced(samples, rate, speed=3.0)) as run:
        yield run


def test_fifty_browsers_that_hang_slow_nothing(fast: LiveRun, home: Path):
    """Readers that never read, requests that never end: the run is heard to its end, in time."""
    where = urlsplit(fast.address)
    stream = f"GET /stream HTTP/1.1\r\nHost: {where.netloc}\r\n\r\n".encode()
    origin = f"Host: {where.netloc}\r\nOrigin: http://{where.netloc}"
    half = f"POST /press HTTP/1.1\r\n{origin}\r\nContent-Length: 9\r\n\r\nk"
    with ExitStack() as stack:
        for number in range(60):
            reader = stack.enter_context(socket.socket())
            reader.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            reader.connect((where.hostname, where.port))
            reader.sendall(stream if number < 50 else half.encode())
        _wait(lambda: any(isinstance(event, Summary) for event in fast.events))
    alarms = [event for event in fast.events if isinstance(event, Alarm)]
    assert len(alarms) == 1
    assert np.percentile(fast.late, 95) < 0.25
    assert max(fast.late) < 1.0
    _wait(lambda: runs(home)[0].closed)


@pytest.mark.parametrize(
    "request_line",
    [
        "GET /../../../../etc/passwd HTTP/1.1", "GET /static/../guard.py HTTP/1.1",
        "GET http://evil/ HTTP/1.1",
        "GET /runs/../secret HTTP/1.1", "BREW / HTTP/1.1", "\x16\x03\x01\x02\x00", "",
    ],
)  # fmt: skip
def test_malformed_requests_are_refused(fast: LiveRun, home: Path, request_line: str):
    """Raw, as no browser would send them: nothing is answered but a refusal, and the page goes on."""
    (home / "secret").write_text("secret words")
    where = urlsplit(fast.address)
    assert not _raw(fast, request_line).startswith(b"HTTP/1.1 2")
    assert b"secret words" not in _raw(fast, request_line)
    assert _raw(fast, "GET / HTTP/1.1", host=where.netloc).startswith(b"HTTP/1.1 200")


def _raw(run: LiveRun, request_line: str, host: str | None = None) -> bytes:
    where = urlsplit(run.address)
    with socket.create_connection((where.hostname, where.port), timeout=2) as line:
        line.sendall(
            f"{request_line}\r\nHost: {host or where.netloc}\r\nConnection: close\r\n\r\n".encode("latin-1")
        )
        received = b""
        try:
            while piece := line.recv(65536):
                received += piece
        except TimeoutError:
            pass
        return received


def test_a_shared_page_is_behind_its_token(home: Path, monkeypatch: pytest.MonkeyPatch):
    """The address holds a long random token; without it, and by another name, there is nothing."""
    monkeypatch.setattr("monitor.page.serving._address_on_network", lambda: "127.0.0.1")
    with live_run(home, Sharing(share=True)) as run:
        where = urlsplit(run.address)
        assert len(where.path.strip("/")) >= 24
        assert _raw(run, f"GET {where.path} HTTP/1.1").startswith(b"HTTP/1.1 200")
        assert _raw(run, "GET / HTTP/1.1").startswith(b"HTTP/1.1 404")
        assert _raw(run, f"GET {where.path} HTTP/1.1", host="evil.example").startswith(b"HTTP/1.1 421")


def _wait(until: Callable[[], bool], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not until():
        assert time.monotonic() < end
        time.sleep(0.02)


# --- the commands -------------------------------------------------------------------------------------------


def test_watch_serves_the_page_while_it_listens(
    chipsong: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
):
    """The address is told at once, and is gone with the run; what is decided does not change."""
    samples, rate = soundfile.read(SHIPPED / "slip_outline.flac", dtype="float32")
    seen: list[bytes] = []

    class Looked(FakeMicrophone):
        def blocks(self, timeout: float = 0.5) -> Iterator[Block | None]:
            for number, block in enumerate(super().blocks(timeout)):
                if number == 20:
                    seen.append(httpx2.get(told["page"]).content)
                yield block

    told: dict[str, str] = {}
    monkeypatch.setattr(
        "monitor.page.beside.shown", lambda server, *_: told.setdefault("page", server.address)
    )
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: Looked(samples, rate))
    job = ("--program", SHIPPED / "slip_outline.ngc", "--rpm", 18000, "--flutes", 2, "--diameter", "6mm")
    ended = chipsong("watch", *job, "--page", "--json")
    assert told["page"] in ended.err
    assert b"What is heard now" in seen[0]
    assert ended.status == 3
    with pytest.raises(httpx2.ConnectError):
        httpx2.get(told["page"])


def test_review_serves_the_runs_until_it_is_told_to_end(kept_run: Run):
    """It tells its address, answers there, and ends when it is asked to."""
    command = [*COMMAND, "review", kept_run.id[:6]]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        address = process.stdout.readline().split()[2]
        try:
            assert address.endswith(f"/runs/{kept_run.id}")
            assert b"may be loose" in httpx2.get(address).content
        finally:
            process.send_signal(signal.SIGTERM)
        assert process.wait(10) == 0
