"""Line numbers beside the listening: put on the run's clock, told in words, kept, heard again."""

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from contract import BIT, SHIPPED, Ended, sound, truth
from hypothesis import given
from hypothesis import strategies as st
from receivers import HERE, free_port

from analysis.cutting import Bit
from analysis.events import to_dict
from analysis.linesfed import FedLocator
from analysis.locate import Nowhere, Plan
from analysis.presence import Phase
from analysis.program import read
from monitor.journal import runs
from monitor.linefeed import feed as feeding
from monitor.linefeed.clock import RunClock
from monitor.linefeed.feed import Feed
from monitor.linefeed.kept import reports_of
from monitor.linefeed.reading import Reader, read_json, reader_for
from monitor.linefeed.source import LineFeedError, Outlet
from monitor.rehear.again import Judged, hear_again
from monitor.sources import Block
from monitor.testing import FakeMicrophone

# --- the run's clock ------------------------------------------------------------------------------------


def test_what_came_while_sound_waited_is_put_where_it_belongs():
    """A busy computer hears late; a line number that came meanwhile belongs to sound still to come."""
    clock = RunClock()
    for second in range(5):
        clock.see(100.0 + second, float(second))
    clock.see(108.0, 4.5)  # 3.5 s of sound wait
    assert clock.on_run(107.0, 4.5) == pytest.approx(7.0, abs=0.02)
    assert clock.on_run(107.5, 4.5) == pytest.approx(7.5, abs=0.02)


def test_what_is_decided_stays_so():
    """A line number that came long ago counts from the first moment that is still open."""
    clock = RunClock()
    clock.see(100.0, 0.0)
    clock.see(104.0, 4.0)
    assert clock.on_run(101.0, 4.0) == 4.0


@given(drift=st.floats(-2e-4, 2e-4), late=st.lists(st.floats(0.0, 0.3), min_size=10, max_size=60))
def test_the_clock_of_a_sound_card_may_be_wrong(drift: float, late: list[float]):
    """For hours both clocks are told apart by no more than sound is late at the least."""
    clock = RunClock()
    for minute, behind in enumerate(late):
        real = 60.0 * minute + behind
        clock.see(real, 60.0 * minute * (1.0 + drift))
    now, at = 60.0 * (len(late) - 1), 60.0 * (len(late) - 1) * (1.0 + drift)
    assert at <= clock.on_run(now, at) <= at + 0.35


# --- taking ---------------------------------------------------------------------------------------------


@dataclass
class Script:
    """A source that does what the test says."""

    name: str = "a script"
    texts: list[str] = field(default_factory=list)
    fails: list[str] = field(default_factory=list)

    def run(self, out: Outlet) -> None:
        """Fail as often as it is to, then give the texts as they are added."""
        if self.fails:
            raise LineFeedError(self.fails.pop(0))
        out.fine()
        while not out.over.wait(0.001):
            while self.texts:
                out.text(self.texts.pop(0))


class Taking:
    """A feed, and what it told and kept."""

    def __init__(self, source: Script, read: Reader = read_json, plan: Plan | None = None) -> None:
        self.source = source
        self.locator = FedLocator(Nowhere(), plan, 2)
        self.told: list[str] = []
        self.kept: list[dict[str, Any]] = []
        self.feed = Feed(source, read, self.locator, self.told.append)

    def take(self, at: float, *texts: str) -> None:
        """Let the source say something, and take it at ``at`` s."""
        self.source.texts += texts
        time.sleep(0.03)
        self.kept += map(dict, self.feed.take(at))

    @property
    def reports(self) -> list[list[Any]]:
        """All line numbers that were kept."""
        return [report for body in self.kept for report in body.get("reports", [])]


@pytest.fixture
def taking() -> Iterator[Callable[..., Taking]]:
    """Make feeds that end with the test."""
    made: list[Taking] = []

    def make(plan: Plan | None = None, **how: Any) -> Taking:
        made.append(Taking(Script(**how), plan=plan))
        return made[-1]

    yield make
    for one in made:
        list(one.feed.end(0.0))


def test_a_line_number_is_told_by_the_runs_clock(taking: Callable[..., Taking]):
    """Whatever its own time, even an hour off, it counts from when it came; and it is kept."""
    had = taking()
    had.take(10.0, '{"line": 5, "at": 3600.0}', '{"word": 80}')
    had.take(11.0, '{"line": 6, "at": 3601.0}')
    had.locator.row(11.5, Phase.CUT)
    assert [had.locator.place(at) and had.locator.place(at).file for at in (9.9, 10.9, 11.5)] == [None, 5, 6]
    assert had.reports == []
    had.take(13.0)
    assert [report[1:] for report in had.reports] == [[5, None, 0], [6, None, 0]]
    assert 10.0 <= had.reports[0][0] < 10.1
    assert had.told == [
        "line numbers from a script: line 5 is the first",
        "line numbers from a script: the program has no N80, or has it twice: is it the one being cut?",
    ]


def test_what_comes_late_or_twice_is_passed_over(taking: Callable[..., Taking]):
    """By their own times reports are put in order; a clock that was set back is no such thing."""
    had = taking()
    had.take(
        1.0, *(f'{{"line": {line}, "at": {at}}}' for line, at in ((5, 7200), (6, 7201), (4, 7199), (7, 3601)))
    )
    had.take(2.0, '{"line": 8}')
    had.take(2.1, '{"line": 8}')
    had.take(5.0)
    assert [report[1] for report in had.reports] == [5, 6, 7, 8]


def test_that_line_numbers_come_in_bunches_is_said_once(taking: Callable[..., Taking]):
    """Who sends them can send each as it begins."""
    text = "G21 G90\nS18000 M3\nG0 Z5\nG1 Z-1 F600\n" + "G1 X90 F1200\nX0\n" * 10 + "G0 Z5\nM30\n"
    had = taking(Plan.of(read(text, "job"), {0: Bit("bit", 6.0, 2)}))
    for at in (20.0, 40.0, 60.0):
        had.take(at, *(f'{{"line": {line}}}' for line in range(int(at) // 4, int(at) // 4 + 5)))
        had.locator.row(at + 1.0, Phase.CUT)
        had.take(at + 1.0)
    assert had.told == [
        "line numbers from a script: line 5 is the first",
        "line numbers from a script: many come at once, or not for each line: let each be sent as it begins",
    ]


@pytest.mark.parametrize("back", [45, 4])
def test_a_clock_that_is_set_back_silences_nobody(taking: Callable[..., Taking], back: int):
    """By a minute or by seconds: line numbers count from when they come."""
    had = taking()
    had.take(1.0, *(f'{{"line": {5 + n}, "time": {1000 + n}}}' for n in range(5)))
    had.take(2.0, *(f'{{"line": {10 + n}, "time": {1005 + n - back}}}' for n in range(5)))
    had.take(5.0)
    assert [report[1] for report in had.reports] == [*range(5, 15)]
    assert had.told == ["line numbers from a script: line 5 is the first"]


def test_a_clock_that_is_set_back_a_little_is_believed_soon(taking: Callable[..., Taking]):
    """A few look as if they came late, and that is said; then the clock is taken as it is."""
    had = taking()
    had.take(1.0, '{"line": 5, "time": 1000}', '{"line": 6, "time": 1000.1}')
    had.take(2.0, *(f'{{"line": {7 + n}, "time": {998.2 + n / 10}}}' for n in range(12)))
    had.take(5.0)
    assert [report[1] for report in had.reports] == [5, 6, *range(12, 19)]
    assert had.told[1:] == ["line numbers from a script: line 7 came after a later one, by its own time"]


def test_senders_with_clocks_of_their_own_are_all_heard(taking: Callable[..., Taking]):
    """Two that write to one port need not agree what time it is."""
    had = taking()
    lines = (
        (f'{{"line": {5 + n}, "time": {1000 + n}}}', f'{{"line": {50 + n}, "time": {970 + n}}}')
        for n in range(5)
    )
    had.take(1.0, *(text for both in lines for text in both))
    had.take(5.0)
    assert [report[1] for report in had.reports] == [line for n in range(5) for line in (5 + n, 50 + n)]


def test_of_a_backlog_the_newest_line_number_counts(taking: Callable[..., Taking]):
    """Of some hundred that waited all but the last are over; what could not be understood is still said."""
    had = taking()
    had.source.texts += [*(f'{{"line": {line}}}' for line in range(1, 400)), "?", '{"line": 400}']
    end = time.monotonic() + 60.0
    while len(had.feed._worker.out._items) < 402:  # noqa: SLF001 - all of it, and that it can come
        assert time.monotonic() < end
        time.sleep(0.001)
    had.take(1.0)
    had.take(5.0)
    assert [report[1] for report in had.reports] == [400]
    before = "line numbers from a script: "
    assert had.told == [before + "not understood: ?", before + "line 400 is the first"]
    had.take(6.0, '{"line": 401}', '{"line": 402}')
    had.take(9.0)
    assert [report[1] for report in had.reports] == [400, 401, 402]


def test_what_is_wrong_with_a_source_is_said(taking: Callable[..., Taking], monkeypatch: pytest.MonkeyPatch):
    """That it is gone, back, or silent, what is garbled (without its signs that move a cursor), how often."""
    monkeypatch.setattr("monitor.linefeed.worker._SOON", 0.01)
    had = taking(fails=["gone", "gone"])
    had.take(1.0)
    had.take(2.0, *["\x1b?"] * 12)
    had.take(33.0)
    had.take(34.0, '{"line": 5}')
    had.take(65.0)
    had.take(66.0, '{"line": 6}')
    before = "line numbers from a script: "
    assert had.told == [
        before + "gone",
        before + "they can come again",
        before + "not understood: ??",
        before + "10 so far could not be used; now not understood: ??",
        before + "none for 30 s; are they still sent?",
        before + "line 5 is the first",
        before + "none for 30 s; are they still sent?",
        before + "line 6; they come again",
    ]
    assert [body["said"] for body in had.kept if "said" in body] == had.told


def test_lines_in_which_a_pattern_takes_too_long_are_passed_over():
    """That is said once, with the pattern; the lines between them count."""
    had = Taking(Script(), reader_for(r"^(\w|\w\w)+: line (?P<line>\d+)"))
    slow = "a" * 80 + "-: line 7"
    had.source.texts += [slow, "job: line 5", slow, "job: line 6", slow, "?"]
    end = time.monotonic() + 60.0
    while not any("not understood: ?" in told for told in had.told):
        assert time.monotonic() < end
        had.take(1.0)
    had.take(5.0)
    list(had.feed.end(6.0))
    assert [report[1] for report in had.reports] == [5, 6]
    (said,) = (told for told in had.told if "takes too long" in told)
    assert said.startswith(
        "line numbers from a script: passed over: the pattern takes too long in some lines"
    )
    assert said.endswith(r"^(\w|\w\w)+: line (?P<line>\d+)")


def test_a_source_that_hangs_holds_up_nothing():
    """Not the taking, and not the end of the run for longer than a second; a busy machine has three tries."""

    class Hangs(Script):
        def run(self, out: Outlet) -> None:
            del out
            threading.Event().wait(60)

    def takes() -> float:
        had = Taking(Hangs())
        began = time.monotonic()
        list(had.feed.take(1.0))
        list(had.feed.end(2.0))
        return time.monotonic() - began

    assert any(takes() < 1.5 for _ in range(3))


# --- the command ----------------------------------------------------------------------------------------

PROGRAM = SHIPPED / "slip_outline.ngc"


class Sender(FakeMicrophone):
    """A microphone that hears the shipped slip while lines are sent to a port, as they are cut."""

    port = 0
    worker: feeding.Worker

    def blocks(self, timeout: float = 0.5) -> Iterator[Block | None]:
        """Give the sound, and send each line when it begins."""
        waiting = [(move["begin"], move["file_line"]) for move in truth("slip_outline")["moves"]]
        heard = 0
        with self._connected() as out:
            for block in super().blocks(timeout):
                while waiting and waiting[0][0] <= heard / self.rate:
                    self._send(out, waiting.pop(0)[1])
                yield block
                heard += len(block.samples) if block else 0

    def _connected(self) -> socket.socket:
        end = time.monotonic() + 60.0
        while True:
            try:
                return socket.create_connection((HERE, self.port))
            except ConnectionRefusedError:
                assert time.monotonic() < end
                time.sleep(0.01)

    def _send(self, out: socket.socket, line: int) -> None:
        """Send a line, and let the source's thread have it: the sound does not take its time here."""
        had = len(self.worker.out._items)  # noqa: SLF001 - nobody else needs to know
        out.sendall(json.dumps({"line": line}).encode() + b"\n")
        end = time.monotonic() + 60.0
        while len(self.worker.out._items) == had:  # noqa: SLF001 - as above
            assert time.monotonic() < end
            time.sleep(0.001)


@pytest.fixture
def sends(monkeypatch: pytest.MonkeyPatch) -> int:
    """Let the microphone hear, and lines be sent to a port, which is given."""
    samples, rate = sound("slip_outline")
    Sender.port = free_port()
    real = feeding.Worker

    def begun(*given: Any) -> feeding.Worker:
        Sender.worker = real(*given)
        return Sender.worker

    monkeypatch.setattr(feeding, "Worker", begun)
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: Sender(samples, rate))
    return Sender.port


def test_watch_takes_lines_and_the_run_is_heard_again_with_them(
    chipsong: Callable[..., Ended], home: Path, sends: int
):
    """The alarm's line is the one sent; the kept run, heard again, gives the same events."""
    ended = chipsong("watch", "--program", PROGRAM, *BIT, "--lines", f"tcp:{sends}", "--ahead", 3, "--json")
    place = ended.of("alarm")[0]["line"]
    first = truth("slip_outline")["moves"][0]["file_line"]
    said = f"chipsong: line numbers from tcp:{sends}: line {first} is the first\n"
    assert (ended.status, ended.err, place["source"]) == (3, said, "lines")
    assert place["from"] <= truth("slip_outline")["onset_line"] <= place["to"]
    (run,) = runs(home)
    sent = {move["file_line"] for move in truth("slip_outline")["moves"]}
    assert len({report.file_line for report in reports_of(run)} & sent) > 0.8 * len(sent)
    again = hear_again(run, Judged())
    assert [*map(to_dict, again.events), to_dict(again.summary)] == ended.events


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--lines", "tcp:0"), "a port is a number"),
        (("--lines", "ftp://x/y"), "'ftp://...' is no source of line numbers: give a file, - for"),
        (("--lines", "tcp:5555", "--lines-pattern", "("), "is no regular expression"),
        (("--lines", "-", "--control", "-"), "would both read standard input"),
        (("--lines-pattern", r"line (?P<line>\d+)"), "--lines-pattern reads what --lines gives"),
    ],
)
def test_what_means_nothing_is_wrong_usage(chipsong: Callable[..., Ended], words: tuple[str, ...], why: str):
    """It is said before anything is heard."""
    ended = chipsong("watch", *words)
    assert ended.status == 2
    assert why in " ".join(ended.err.replace("│", " ").split())


def test_a_replay_reads_lines_from_a_file_alone(chipsong: Callable[..., Ended]):
    """What comes now does not belong to sound of then."""
    ended = chipsong("replay", SHIPPED / "slip_outline.flac", "--lines", "tcp:5555")
    assert (ended.status, ended.err) == (
        1,
        "chipsong: to replay, line numbers are read from a file: give --lines FILE\n",
    )
