"""
How long the page about a run of three hours takes to open, and what browsers that hang cost the hearing.

Run as ``python tests/benchmarks/bench_page.py``. It needs chromium.
"""

import shutil
import socket
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/monitor"), str(ROOT / "tests/monitor/page")]

import soundfile  # noqa: E402
from live_run import BIT, SHIPPED, Paced, live_run  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

from analysis.events import Alarm, StateChange, Summary, to_dict  # noqa: E402
from analysis.listener import COLUMNS, Listener  # noqa: E402
from analysis.locate import Nowhere  # noqa: E402
from monitor.journal import Journal  # noqa: E402
from monitor.page.review_command import review_app  # noqa: E402
from monitor.page.serving import Server  # noqa: E402
from monitor.sharing import Sharing  # noqa: E402

HOURS = 3


def main() -> None:
    """Print both."""
    with tempfile.TemporaryDirectory() as folder:
        opens, drawn = opening(Path(folder))
        print(f"a run of {HOURS} h: the page is there in {opens:.2f} s, its timeline in {drawn:.2f} s")
    for readers in (0, 50):
        with tempfile.TemporaryDirectory() as folder:
            late = np.array(hearing(Path(folder), readers))
        ninety_five, most = 1000 * np.percentile(late, 95), 1000 * late.max()
        print(
            f"{readers} browsers that hang: blocks judged 95 % within {ninety_five:.0f} ms, all {most:.0f} ms"
        )


def opening(home: Path) -> tuple[float, float]:
    """Return s until the page of a long run is there, and until its timeline is drawn."""
    _long_run(home)
    with Server(lambda door: review_app(home, door), Sharing()) as server, _browser() as browser:
        page = browser.new_page()
        page.goto(server.address)
        begun = time.monotonic()
        page.click(".runs a", no_wait_after=True)
        page.wait_for_selector("#threshold")
        opens = time.monotonic() - begun
        page.wait_for_selector("#timeline[data-drawn]")
        return opens, time.monotonic() - begun


def _long_run(home: Path) -> None:
    """Keep a run whose rows are those of a shipped recording, over and over, with an alarm each time."""
    samples, rate = soundfile.read(SHIPPED / "slip_outline.flac", dtype="float32")
    step = Listener(rate, {0: BIT}, Nowhere()).hear(samples)
    length = len(samples) / rate
    with Journal.create(
        home,
        "long",
        {},
        rate=rate,
        columns=COLUMNS,
        keep_sound=False,
        now=lambda: datetime(2026, 1, 1, tzinfo=UTC),
    ) as journal:
        for number in range(round(HOURS * 3600 / length)):
            since = number * length
            journal.rows(step.at + since, step.table)
            for event in step.events:
                body = to_dict(event)
                kept = (
                    body
                    | {"at": event.at + since}
                    | ({"onset": event.onset + since} if isinstance(event, Alarm) else {})
                )
                if number % 20 == 0 or isinstance(event, StateChange):
                    journal.event(str(body["event"]), event.at + since, kept)
        journal.close(to_dict(Summary(HOURS * 3600.0, 1, HOURS * 3600.0, HOURS * 1800.0, 0)))


@contextmanager
def _browser() -> Iterator:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield browser
        browser.close()


def hearing(home: Path, readers: int) -> list[float]:
    """Return how late each block was judged, s, at the pace of life, while so many browsers hang."""
    samples, rate = soundfile.read(SHIPPED / "slip_outline.flac", dtype="float32")
    with live_run(home, Sharing(), Paced(samples, rate)) as run, ExitStack() as stack:
        where = urlsplit(run.address)
        for _ in range(readers):
            reader = stack.enter_context(socket.socket())
            reader.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
            reader.connect((where.hostname, where.port))
            reader.sendall(f"GET /stream HTTP/1.1\r\nHost: {where.netloc}\r\n\r\n".encode())
        while not any(isinstance(event, Summary) for event in run.events):
            time.sleep(0.1)
        return run.late


if __name__ == "__main__":
    main()
