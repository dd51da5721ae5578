"""Sources of line numbers, real ones: a file that grows, a pipe, sockets, an MQTT broker."""

import errno
import http.client
import os
import socket
import subprocess
import time
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

import paho.mqtt.publish
import pytest
from receivers import HERE, Broker, broker_program, free_port

from monitor.linefeed.growing import GrowingFile
from monitor.linefeed.mqtt import MqttTopic
from monitor.linefeed.reading import reader_for
from monitor.linefeed.sockets import TcpPort, UdpPort
from monitor.linefeed.source import Source
from monitor.linefeed.standard_input import StandardInput
from monitor.linefeed.where import is_file, source_of

Gather = Callable[..., "Gathered"]  # noqa: F821 - of conftest.py


def line(number: int) -> str:
    """A line number as JSON."""
    return f'{{"line": {number}}}\n'


# --- a file that grows ----------------------------------------------------------------------------------


def test_what_is_appended_to_a_file_is_given(gather: Gather, tmp_path: Path):
    """What stood there before is of another cut; half a line waits for its end."""
    path = tmp_path / "sender.log"
    path.write_text("sent 1\nsent 2\n")
    had = gather(GrowingFile(path), reader_for(r"sent (?P<line>\d+)"))
    had.until_well()
    with path.open("a") as log:
        log.write("sent 3\nerror\nsent 1")
        log.flush()
        had.until(lambda had: had.garbled == ["error"])
        log.write("7\n")
    had.until(lambda had: had.lines == [3, 17])


def test_a_file_that_is_emptied_replaced_or_gone_is_followed(gather: Gather, tmp_path: Path):
    """Another program may begin its log anew in any of these ways; when it is gone, that is said."""
    path = tmp_path / "lines.jsonl"
    path.write_text(line(1))
    had = gather(GrowingFile(path))
    had.until_well()
    path.write_text(line(20))  # emptied and written again, longer
    had.until(lambda had: had.lines == [20])
    path.write_text(line(3))  # shorter
    had.until(lambda had: had.lines == [20, 3])
    path.write_text(line(4))  # just as long
    had.until(lambda had: had.lines == [20, 3, 4])
    (tmp_path / "new").write_text(line(5) + line(6))
    (tmp_path / "new").replace(path)
    had.until(lambda had: had.lines == [20, 3, 4, 5, 6])
    path.unlink()
    had.until(lambda had: had.turns[-1] == "the file is gone; waiting for it to come back")
    path.write_text(line(7))
    had.until(lambda had: had.lines[-1] == 7)
    assert had.turns[-1] == ""


def test_a_file_may_come_later(gather: Gather, tmp_path: Path):
    """What is not there yet is waited for, and said; then it is read from its start."""
    path = tmp_path / "late.jsonl"
    had = gather(GrowingFile(path))
    had.until(lambda had: bool(had.turns))
    assert "cannot be read (No such file or directory); waiting" in had.turns[0]
    path.write_text(line(1))
    had.until(lambda had: had.lines == [1])


@pytest.fixture
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a source that failed be tried again at once."""
    monkeypatch.setattr("monitor.linefeed.worker._SOON", 0.02)


@pytest.mark.usefixtures("soon")
def test_a_file_that_was_away_goes_on_where_it_was(gather: Gather, tmp_path: Path):
    """A share that drops for a moment brings no old line back, and loses none that was begun or written."""
    path, away = tmp_path / "sender.log", tmp_path / "away"
    path.write_text("".join(map(line, range(1, 100))))
    had = gather(GrowingFile(path))
    had.until_well()
    append(path, line(100) + line(101)[:5])
    had.until(lambda had: had.lines == [100])
    path.rename(away)
    had.until(lambda had: "the file is gone" in had.turns[-1])
    append(away, line(101)[5:] + line(102))
    away.rename(path)
    had.until(lambda had: had.turns[-1] == "" and had.lines[-1] == 102)
    append(path, line(103))
    had.until(lambda had: had.lines[-1] == 103)
    assert (had.lines, had.garbled) == ([100, 101, 102, 103], [])


def test_a_file_that_is_saved_as_a_whole_gives_what_is_new_in_it(gather: Gather, tmp_path: Path):
    """Some programs write all of their log anew at each save, under another name, and rename it."""
    path = tmp_path / "sender.log"
    path.write_text("".join(map(line, range(1, 50))))
    had = gather(GrowingFile(path))
    had.until_well()
    for last in range(50, 54):
        (tmp_path / "new").write_text("".join(map(line, range(1, last + 1))))
        (tmp_path / "new").replace(path)
        had.until(lambda had, last=last: had.lines[-1:] == [last])
    assert had.lines == [50, 51, 52, 53]


@pytest.mark.usefixtures("soon")
def test_of_much_that_waits_in_a_file_the_last_lines_are_given(gather: Gather, tmp_path: Path):
    """A long file in the place of another, and what was written while it was away, are not of now."""
    path, away = tmp_path / "sender.log", tmp_path / "away"
    path.write_text("begun\n")
    had = gather(GrowingFile(path))
    had.until_well()
    (tmp_path / "new").write_text("".join(map(line, range(1, 100_000))))
    (tmp_path / "new").replace(path)
    had.until(lambda had: had.lines[-1:] == [99_999])
    path.rename(away)
    had.until(lambda had: "the file is gone" in had.turns[-1])
    append(away, "".join(map(line, range(100_000, 200_000))))
    away.rename(path)
    had.until(lambda had: had.lines[-1:] == [199_999])
    near = [*range(99_999 - 600, 100_000), *range(199_999 - 600, 200_000)]
    assert set(had.lines) <= set(near)
    assert had.garbled == []


def test_long_lines_of_a_file_are_read(gather: Gather, tmp_path: Path):
    """A status may be told with the line number; one that is longer than any source takes is said."""
    path = tmp_path / "sender.log"
    path.touch()
    had = gather(GrowingFile(path))
    had.until_well()
    for number, size in enumerate((100, 7_000, 8_300, 20_000, 60_000), 1):
        append(path, f'{{"line": {number}, "status": "{"x" * size}"}}\n')
        had.until(lambda had, number=number: had.lines[-1:] == [number])
    (tmp_path / "new").write_text(f'{{"line": 6, "status": "{"x" * 70_000}"}}\n')
    (tmp_path / "new").replace(path)
    had.until(lambda had: had.remarks == ["a line of more than 64 kB was passed over: send shorter ones"])
    append(path, "".join(f'{{"line": {number}, "status": "{"x" * 60_000}"}}\n' for number in (7, 8, 9)))
    had.until(lambda had: had.lines[-1:] == [9])
    assert (had.lines[:5], had.garbled) == ([1, 2, 3, 4, 5], [])


@pytest.mark.usefixtures("soon")
def test_a_file_from_before_that_comes_late_tells_nothing_of_now(gather: Gather, tmp_path: Path):
    """A share that is there at last brings the log of an earlier cut: only what is appended counts."""
    path, early = tmp_path / "sender.log", tmp_path / "early"
    early.write_text(line(1) + line(2))
    os.utime(early, (time.time() - 3600.0,) * 2)
    had = gather(GrowingFile(path))
    had.until(lambda had: bool(had.turns))
    early.rename(path)
    had.until_well()
    append(path, line(3))
    had.until(lambda had: had.lines != [])
    assert had.lines == [3]


def append(path: Path, text: str) -> None:
    """Write at the end of a file."""
    with path.open("a") as log:
        log.write(text)


@pytest.mark.parametrize("end", [b"\r", b"\r\n", b"\n"])
def test_lines_may_end_as_on_any_system(gather: Gather, tmp_path: Path, end: bytes):
    """Old programs, and controllers, end a line with a carriage return alone."""
    path = tmp_path / "sender.log"
    path.touch()
    had = gather(GrowingFile(path), reader_for(r"^sent (?P<line>\d+)$"))
    had.until_well()
    with path.open("ab", buffering=0) as log:
        for number in range(1, 4):
            log.write(b"sent %d" % number + end)
            had.until(lambda had, number=number: had.lines[-1:] == [number])
    assert (had.lines, had.garbled) == ([1, 2, 3], [])


# --- standard input and ports ---------------------------------------------------------------------------


def test_standard_input_is_read_to_its_end(gather: Gather):
    """What the other program writes is given; when it ends that is said, and its last line still counts."""
    near, far = os.pipe()
    had = gather(StandardInput(near))
    os.write(far, (line(1) + line(2)[:5]).encode())
    had.until(lambda had: had.lines == [1])
    os.write(far, line(2)[5:-1].encode())
    os.close(far)
    had.until(lambda had: had.turns[-1] == "it has ended, and no more line numbers will come")
    assert had.lines == [1, 2]
    os.close(near)


def test_programs_of_this_computer_write_to_a_tcp_port(gather: Gather):
    """Several may, one that is gone may come again, and nobody from elsewhere; noise is only noise."""
    port = free_port()
    had = gather(TcpPort(port))
    had.until_well()
    with socket.create_connection((HERE, port)) as first, socket.create_connection((HERE, port)) as second:
        first.sendall(line(1).encode() + b'{"li')
        second.sendall(b"\x00\xff\n" + line(2).encode())
        first.sendall(b'ne": 3}\n')
        had.until(lambda had: sorted(had.lines) == [1, 2, 3])
    with socket.create_connection((HERE, port)) as again:
        again.sendall(b"x" * 200_000 + b"\n" + line(4).encode())
        had.until(lambda had: 4 in had.lines)
    assert any(text.startswith("x") for text in had.garbled)
    listening = subprocess.run(["ss", "-Hltn"], capture_output=True, text=True, check=False).stdout
    assert f"{HERE}:{port}" in listening or not listening


def test_a_line_that_breaks_off_is_no_line(gather: Gather):
    """Of "line 123" only "line 12" may have come before its sender was gone; JSON shows if it is whole."""
    port = free_port()
    had = gather(TcpPort(port), reader_for(r"line\D*(?P<line>\d+)"))
    had.until_well()
    for text in ("line 1\nline 12", line(13)[:-2], line(14)[:-1]):
        with socket.create_connection((HERE, port)) as program:
            program.sendall(text.encode())
    had.until(lambda had: 14 in had.lines)
    near, far = os.pipe()
    other = gather(StandardInput(near), reader_for(r"line (?P<line>\d+)"))
    os.write(far, b"line 2\nline 12")
    os.close(far)
    other.until(lambda had: len(had.turns) == 2)
    os.close(near)
    assert (had.lines, other.lines) == ([1, 14], [2])
    said = "a line broke off and was passed over: end each with a line break"
    assert (had.remarks, other.remarks) == ([said, said], [said])


@pytest.mark.parametrize("path", ["/", "/" + 80_000 * "a", "/47"])
def test_a_page_in_a_browser_cannot_write_to_a_tcp_port(gather: Gather, path: str):
    """Any page may post to ports of the computer that it is looked at on; what it posts is no line number."""
    port = free_port()
    had = gather(TcpPort(port), reader_for(r"(?P<line>\d+)"))
    had.until_well()
    browser = http.client.HTTPConnection(HERE, port, timeout=8.0)
    with closing(browser), suppress(ConnectionError):  # it may be turned away while it still writes
        browser.request("POST", path, "\n" + line(47), {"Content-Type": "text/plain"})
        browser.getresponse()
    with socket.create_connection((HERE, port)) as program:
        program.sendall(line(1).encode())
        had.until(lambda had: had.lines != [])
    assert (had.lines, had.garbled) == ([1], [])


def test_a_tcp_port_ends_without_trouble(gather: Gather):
    """When it is closed, whoever wrote to it is let go, and nothing is complained of."""
    port = free_port()
    had = gather(TcpPort(port))
    had.until_well()
    with socket.create_connection((HERE, port)) as program:
        program.sendall(line(1).encode())
        had.until(lambda had: had.lines == [1])
        had.worker.close(8.0)
        program.settimeout(8.0)
        assert program.recv(1) == b""
    had.until(lambda _: True)
    assert had.turns == [""]


def test_what_is_wrong_with_a_tcp_port_is_said(gather: Gather, monkeypatch: pytest.MonkeyPatch):
    """A caller who cannot be let in is a trouble in the system's words, and all is well again after it."""
    port = free_port()
    had = gather(TcpPort(port))
    had.until_well()
    with monkeypatch.context() as patched:
        patched.setattr(socket.socket, "accept", refuse)
        with socket.create_connection((HERE, port)):
            had.until(lambda had: len(had.turns) > 1)
    assert "Too many open files" in had.turns[1]
    had.until_well()


def refuse(_: socket.socket) -> None:
    """Let nobody in, as a system does that has no file left."""
    raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))


def test_a_udp_port_takes_datagrams(gather: Gather):
    """Each holds whole lines."""
    port = free_port()
    had = gather(UdpPort(port))
    had.until_well()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        for text in (line(1) + line(2), line(3)[:-1], "?"):
            out.sendto(text.encode(), (HERE, port))
    had.until(lambda had: had.garbled == ["?"])
    assert had.lines == [1, 2, 3]


def test_a_port_that_another_program_has_is_said_and_taken_later(gather: Gather):
    """The trouble names the port; when it is free, all is well by itself."""
    with socket.create_server((HERE, 0)) as taken:
        port = taken.getsockname()[1]
        had = gather(TcpPort(port))
        had.until(lambda had: bool(had.turns))
        assert had.turns == [f"port {port} cannot be opened (another program has it): choose another"]
    had.until_well()


def test_a_flood_is_slowed_down_and_holds_nobody_up(gather: Gather):
    """However fast lines come, no more than some hundred wait, and they are taken at once."""
    near, far = os.pipe()
    had = gather(StandardInput(near))
    os.set_blocking(far, False)
    piece = line(1).encode() * 4000
    os.write(far, piece)
    had.until(lambda had: had.lines != [])
    time.sleep(0.1)
    began = time.thread_time()
    waiting = had.worker.out.take()
    assert 0 < len(waiting) <= 500
    assert time.thread_time() - began < 0.05
    had.worker.close()
    os.close(far)
    os.close(near)


# --- a broker -------------------------------------------------------------------------------------------


def test_a_topic_of_a_broker(gather: Gather, tmp_path: Path):
    """What is published is given, what the broker kept from before is not; it may stop and come back."""
    broker = Broker(tmp_path)
    broker.start()
    try:

        def publish(text: str, *, retain: bool = False) -> None:
            paho.mqtt.publish.single("shop/line", text, hostname=HERE, port=broker.port, retain=retain)

        publish(line(99), retain=True)
        had = gather(MqttTopic(HERE, "shop/#", broker.port))
        had.until_well()
        publish(line(1))
        publish("none")
        had.until(lambda had: had.lines == [1] and had.garbled == ["none"])
        broker.stop()
        had.until(lambda had: had.turns[-1] != "")
        assert "broker" in had.turns[-1]
        broker.start()
        had.until(lambda had: had.turns[-1] == "", within=15.0)
        publish(line(2))
        had.until(lambda had: had.lines == [1, 2])
    finally:
        broker.stop()


def test_a_broker_that_refuses_is_said(gather: Gather, tmp_path: Path):
    """A password that is wrong is a trouble in words, and is in none of them."""
    program = Path(broker_program()).with_name("mosquitto_passwd")
    maker = str(program) if program.exists() else "mosquitto_passwd"
    subprocess.run([maker, "-b", "-c", tmp_path / "people", "me", "right"], check=True, capture_output=True)
    broker = Broker(tmp_path, f"password_file {tmp_path / 'people'}", "user root")
    broker.start()
    try:
        source = source_of(f"mqtt://me:secret@{HERE}:{broker.port}/line")
        had = gather(source)
        had.until(lambda had: bool(had.turns))
        assert "the broker refuses: " in had.turns[0]
        assert "secret" not in f"{had.turns} {source!r} {source.name}"
    finally:
        broker.stop()


# --- what the user says ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("where", "name"),
    [
        ("-", "standard input"),
        ("sender.log", "sender.log"),
        ("C:/sender.log", "C:/sender.log"),
        ("tcp:5555", "tcp:5555"),
        ("udp:5555", "udp:5555"),
        ("mqtt://shop.local/cnc/line", "cnc/line on shop.local:1883"),
        ("mqtts://u:p@shop.local/cnc/+/line#", "cnc/+/line# on shop.local:8883"),
        ("mtconnect+http://10.0.0.7:5000/router", "http://10.0.0.7:5000/router"),
        ("mtconnect+http://10.0.0.7:5000", "http://10.0.0.7:5000"),
        ("mtconnect+http://10.0.0.7:5000/router#path2", "http://10.0.0.7:5000/router#path2"),
        ("mtconnect+http://10.0.0.7:5000/#path2", "http://10.0.0.7:5000#path2"),
    ],
)
def test_the_form_names_the_source(where: str, name: str):
    """One option names any source."""
    source: Source = source_of(where)
    assert source.name == name
    assert is_file(where) == (name == where and ":5" not in where)


@pytest.mark.parametrize(
    "where", ["tcp:0", "udp:70000", "mqtt://host", "mqtt://h:x/t", "http://host/x", "mtconnect+http://"]
)
def test_what_names_no_source_is_refused(where: str):
    """A sentence says what there is."""
    with pytest.raises(
        ValueError, match=r"a port is a number from 1 to 65535|is no source of line numbers: give a file"
    ):
        source_of(where)


@pytest.mark.parametrize(
    "where", ["tcp", "udp", "tcp:", "tcp:abc", "UDP:5555x", "tcp:127.0.0.1:5555", "tcp:-1"]
)
def test_what_is_meant_as_a_port_is_no_file(where: str):
    """Such a file would be waited for in vain, all the run long: it is said how to write a port."""
    with pytest.raises(ValueError, match=rf"'{where}' names no port: write tcp:5555 or udp:5555"):
        source_of(where)


def test_a_folder_is_no_file(tmp_path: Path):
    """Nor does a folder ever hold a line."""
    with pytest.raises(ValueError, match=r"is a folder: give a file, - for"):
        source_of(str(tmp_path))
    assert is_file(str(tmp_path / "tcp.log"))
