"""Output that fails, or that the terminal has no signs for: the hearing goes on."""

import fcntl
import io
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from contract import Ended, shipped
from live_watch import COMMAND

from analysis.cutting import Bit
from analysis.events import Deaf, Event, Summary
from analysis.listener import Listener
from analysis.locate import Nowhere
from monitor.output import has_failed, write
from monitor.screen import JsonLines, Screen, Shown
from monitor.testing import FakeMicrophone, silence
from monitor.watch import Ears, listen

RATE = 8000
NOISE = np.random.default_rng(3).normal(0.0, 0.02, 6 * RATE).astype(np.float32)
MUTED = silence(NOISE, RATE, start=2.0, seconds=2.0)


def heard_with(screen: Shown) -> list[Event]:
    """Return what actions are told of a run in which the microphone is muted for a while."""
    told: list[Event] = []
    ears = Ears(screen.event, screen.progress, screen.warn, at_once=told.append)
    with FakeMicrophone(MUTED, RATE) as source, screen:
        listen(source, Listener(RATE, {0: Bit("any", 6.0, 2, 18000.0)}, Nowhere()), ears)
    return told


@pytest.mark.parametrize("as_json", [False, True])
def test_a_full_disk_under_the_output_ends_no_hearing(
    as_json: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    """Actions are told of all that happens, to the end, and it is said once that nothing can be written."""
    with Path("/dev/full").open("w") as full:
        monkeypatch.setattr(sys, "stdout", full)
        told = heard_with(JsonLines() if as_json else Screen(full))
        assert has_failed(full)
    assert any(isinstance(event, Deaf) for event in told)
    assert isinstance(told[-1], Summary)
    because = "No space left on device"
    assert (
        capsys.readouterr().err == f"chipsong: nothing more can be written ({because}); listening goes on\n"
    )


@pytest.mark.slow
def test_the_alarm_still_is_the_exit_status_where_all_output_is_on_a_full_disk():
    """A run whose standard output and standard error take nothing hears its alarm, and ends with it."""
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*COMMAND, *shipped("slip_outline")], stdout=full, stderr=full, check=False)
    assert done.returncode == 3


@pytest.mark.slow
def test_a_calm_run_that_could_not_be_told_has_failed():
    """Whoever reads what a replay wrote into a full disk learns from its exit status that it is not all."""
    with Path("/dev/full").open("w") as full:
        words = [*COMMAND, *shipped("tight_outline")]
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr.count("nothing more can be written") == 1


def test_a_slow_reader_is_not_given_up():
    """What a pipe has no room for at the moment fails nothing; what is written later arrives."""
    read, written = os.pipe()
    fcntl.fcntl(written, fcntl.F_SETFL, os.O_NONBLOCK)
    with open(read, "rb") as reader, open(written, "w") as stream:  # noqa: PTH123 - numbers
        for _ in range(3000):
            write(stream, "a line of a hundred signs".ljust(99) + "\n")
        assert not has_failed(stream)
        reader.read(2**15)
        write(stream, "later\n")
        stream.close()
        assert reader.read().endswith(b"later\n")


def test_a_reader_that_is_gone_is_to_end_it():
    """A broken pipe is no failure to be passed over."""
    read, written = os.pipe()
    os.close(read)
    stream = io.TextIOWrapper(io.FileIO(written, "w"), write_through=True)
    with pytest.raises(BrokenPipeError):
        write(stream, "nobody reads this\n")
    stream.close()


def test_signs_that_the_terminal_lacks_end_no_hearing(
    chipsong: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
):
    """A microphone with a Cyrillic name is listened to where standard output is Latin-1."""
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: FakeMicrophone(MUTED, RATE, name="Микро"))
    narrow = io.TextIOWrapper(io.BytesIO(), encoding="latin-1")
    with monkeypatch.context() as patch:
        patch.setattr("monitor.cli.sys.stdout", narrow)
        ended = chipsong("watch", "--keep-sound", "none")
    assert (ended.status, ended.err) == (0, "")
    narrow.seek(0)
    said = narrow.read()
    assert "Listening to ????? at 8000 Hz" in said
    assert "DEAF" in said
