"""Bytes to a serial port, with a pseudo-terminal as the line."""

import time
from pathlib import Path

import pytest
from receivers import Line

from monitor.actions.libraries import needed
from monitor.actions.message import rehearsal
from monitor.actions.serial_port import SerialPort

TEST = rehearsal("alarm")


@pytest.mark.parametrize("data", [b"!", b"M5\r\n", bytes(range(256))])
def test_the_bytes_arrive_as_they_were_written(line: Line, data: bytes):
    """All bytes, and nothing but them, arrive at the other end."""
    said = SerialPort(line.port, data, 115_200).fire(TEST, 2.0)
    assert line.read(len(data)) == data
    assert said.startswith(f"{len(data)} bytes written to {line.port}")
    assert "what came of them can't be seen from here" in said


def test_it_may_be_fired_again(line: Line):
    """The port is closed after each firing, so that the next one can open it."""
    port = SerialPort(line.port, b"x", 9600)
    for _ in range(3):
        port.fire(TEST, 2.0)
        assert line.read() == b"x"


def test_a_line_that_takes_nothing_is_given_up(line: Line):
    """When the device does not take its data the limit ends it."""
    line.clog()
    begun = time.monotonic()
    with pytest.raises(Exception, match="Write timeout"):
        SerialPort(line.port, b"x" * 100, 9600).fire(TEST, 0.3)
    assert time.monotonic() - begun < 20.0


def test_a_port_that_another_program_holds_is_said_so(line: Line):
    """What is to be done about it is said, and no number of the system's."""
    with (
        needed("serial").Serial(line.port, exclusive=True),
        pytest.raises(OSError, match="another program") as got,
    ):
        SerialPort(line.port, b"x", 9600).fire(TEST, 1.0)
    assert str(got.value) == f"another program holds {line.port}: end that one, then try again"


def test_a_port_that_is_not_there_is_named(tmp_path: Path):
    """No such port is an error that names it."""
    with pytest.raises(Exception, match=r"could not open port .*ttyNone"):
        SerialPort(str(tmp_path / "ttyNone"), b"x", 9600).fire(TEST, 1.0)
