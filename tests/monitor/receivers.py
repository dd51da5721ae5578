"""What actions reach: a real web server, a real MQTT broker, a pseudo-terminal as a serial port."""

import http.server
import os
import shutil
import socket
import socketserver
import subprocess
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import pytest

HERE = "127.0.0.1"


def free_port() -> int:
    """Return a port on which nothing listens now."""
    with socket.create_server((HERE, 0)) as listening:
        return int(listening.getsockname()[1])


@dataclass(frozen=True)
class Received:
    """A request as it came."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


@dataclass
class Web:
    """A web server: `answers` says with which statuses it answers, the last one again and again."""

    port: int
    answers: list[int] = field(default_factory=lambda: [204])
    received: list[Received] = field(default_factory=list)

    def url(self, path: str = "/") -> str:
        """Return its address."""
        return f"http://{HERE}:{self.port}{path}"


@contextmanager
def web_server(port: int = 0) -> Iterator[Web]:
    """Give a running web server."""

    class Answering(http.server.BaseHTTPRequestHandler):
        def _answer(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            web.received.append(Received(self.command, self.path, dict(self.headers), body))
            self.send_response(web.answers[0] if len(web.answers) == 1 else web.answers.pop(0))
            self.send_header("Location", "/elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_GET = do_POST = do_PUT = _answer  # noqa: N815 - their names there

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    with http.server.ThreadingHTTPServer((HERE, port), Answering) as server:
        web = Web(server.server_port)
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield web
        finally:
            server.shutdown()
            thread.join()


@contextmanager
def silent_server() -> Iterator[int]:
    """Give the port of a server that lets everyone in and never says a word."""
    with socket.create_server((HERE, 0)) as listening:
        yield int(listening.getsockname()[1])


@contextmanager
def dripping_server() -> Iterator[int]:
    """Give the port of a server that answers the first who comes, with one byte every 0.1 s."""
    over = threading.Event()

    def drip() -> None:
        caller, _ = listening.accept()
        with caller, suppress(OSError):
            caller.sendall(b"HTTP/1.1 200 OK\r\nX-Long: ")
            while not over.wait(0.1):
                caller.sendall(b"x")

    with socket.create_server((HERE, 0)) as listening:
        thread = threading.Thread(target=drip)
        thread.start()
        try:
            yield int(listening.getsockname()[1])
        finally:
            over.set()
            thread.join()


@dataclass
class Line:
    """The far end of a serial line, and the name of the near one."""

    far: int
    near: int
    port: str

    def read(self, least: int = 1) -> bytes:
        """Return what has arrived, as soon as it is this much, and at the latest after a second."""
        os.set_blocking(self.far, False)
        came, end = b"", time.monotonic() + 1.0
        while len(came) < least and time.monotonic() < end:
            try:
                came += os.read(self.far, 100_000)
            except BlockingIOError:
                time.sleep(0.001)
        return came

    def clog(self) -> None:
        """Fill it up, so that nothing more can be written, as to a device that does not take its data."""
        os.set_blocking(self.near, False)
        full = 0
        while full < 5:  # the system moves on what was written for some time, and then there is room again
            try:
                os.write(self.near, bytes(1000))
                full = 0
            except BlockingIOError:
                full += 1
                time.sleep(0.03)
        os.set_blocking(self.near, True)


@contextmanager
def serial_line() -> Iterator[Line]:
    """Give a pseudo-terminal in place of a serial line."""
    far, near = os.openpty()
    tty.setraw(near)
    try:
        yield Line(far, near, os.ttyname(near))
    finally:
        os.close(far)
        os.close(near)


class Broker:
    """An MQTT broker, Debian's mosquitto, on a port of its own."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.port = free_port()
        self._conf = folder / "broker.conf"
        allow = [] if any("password_file" in line for line in more) else ["allow_anonymous true"]
        self._conf.write_text("\n".join([f"listener {self.port} {HERE}", *allow, *more, ""]))
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it lets somebody in."""
        self._process = subprocess.Popen(
            [broker_program(), "-c", self._conf], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        end = time.monotonic() + 60
        while time.monotonic() < end:
            try:
                socket.create_connection((HERE, self.port), timeout=1).close()
            except OSError:
                time.sleep(0.02)
            else:
                return
        pytest.fail("the broker did not start")

    def kill(self) -> None:
        """End it with no time to tell or write anything."""
        assert self._process is not None
        self._process.kill()
        self.stop()

    def stop(self) -> None:
        """Stop it."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10)
            self._process = None


def people(folder: Path, rights: str) -> tuple[str, ...]:
    """Return what makes a broker know ``me``, whose password is ``right``, and what he may do."""
    program = Path(broker_program()).with_name("mosquitto_passwd")
    maker = str(program) if program.exists() else "mosquitto_passwd"
    known, may = folder / "people", folder / "rights"
    subprocess.run([maker, "-b", "-c", known, "me", "right"], check=True, capture_output=True)
    may.write_text(f"user me\n{rights}\n")
    return f"password_file {known}", f"acl_file {may}", "user root"


@contextmanager
def of_long_ago() -> Iterator[tuple[int, list[int]]]:
    """Give the port of what closes on everyone, and the levels of MQTT in which it was spoken to."""
    levels: list[int] = []

    class Noting(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            begins = self.request.recv(1000)
            # The level stands behind the name of the protocol (MQTT 3.1.1 and 5, 3.1.2).
            levels.append(begins[begins.index(b"MQTT") + 4])

    with socketserver.ThreadingTCPServer((HERE, 0), Noting) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield server.server_address[1], levels
        finally:
            server.shutdown()
            thread.join()


def broker_program() -> str:
    """Return where the broker is; skip the test when it is not installed."""
    found = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if found is None:
        pytest.skip("no MQTT broker is installed here: apt-get install mosquitto")
    return found
