"""Output that fails, or that the terminal has no signs for, ends no hearing; others' words move no cursor."""

import fcntl
import functools
import io
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

import numpy as np
import pytest
from contract import Ended, shipped, sound
from live_watch import COMMAND
from stage import DEVICES, Stage

from analysis.cutting import Bit
from analysis.events import Deaf, Event, Summary
from analysis.listener import Listener
from analysis.locate import Nowhere
from monitor.actions.command import Command
from monitor.actions.kind import Done
from monitor.actions.message import rehearsal
from monitor.actions.telling import done_text, done_to_dict, kept_text
from monitor.journal import runs
from monitor.output import (
    going_on_unread,
    has_failed,
    printable,
    waiting_for_nobody,
    write,
    write_nowhere,
)
from monitor.screen import JsonLines, Screen, Shown
from monitor.testing import FakeMicrophone, silence
from monitor.trouble import one_line, warn
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


def with_closed(closed: str, *words: str) -> "subprocess.CompletedProcess[str]":
    """Run the command with some of its standard streams closed, as a shell does it."""
    shell = ["sh", "-c", f'exec "$@" {closed}', "sh", *COMMAND, *words]
    env, nothing = {"CHIPSONG_HOME": "/nowhere"}, subprocess.DEVNULL
    return subprocess.run(shell, env=env, stdin=nothing, capture_output=True, text=True, check=False)


# With all its streams open the command says the same each time.
usual_of = functools.cache(functools.partial(with_closed, ""))


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
@pytest.mark.parametrize("words", [("--help",), ("bits",), ("watch", "--program", "none", "--control", "-")])
def test_closed_streams_are_no_traceback(closed: str, words: tuple[str, ...]):
    """Whoever starts the command may have closed all that it reads and writes: it does what it does else."""
    done, usual = with_closed(closed, *words), usual_of(*words)
    assert done.returncode == usual.returncode
    assert done.stdout == ("" if ">&-" in closed.replace("2>&-", "") else usual.stdout)
    assert done.stderr == ("" if "2>&-" in closed else usual.stderr)


@pytest.mark.slow
def test_a_slip_is_heard_where_standard_output_is_closed():
    """Nobody can be told, and still the exit status says that there was an alarm."""
    done = with_closed(">&-", *shipped("slip_outline"))
    assert (done.returncode, done.stderr) == (3, "")


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


@contextmanager
def unread() -> Iterator[TextIO]:
    """Give a stream into a pipe whose reader is gone."""
    read, written = os.pipe()
    os.close(read)
    with open(written, "w") as stream:  # noqa: PTH123 - a number
        try:
            yield stream
        finally:
            write_nowhere([written])  # else what is still held back would fail once more


@pytest.mark.parametrize("words", [[], ["--json"]])
def test_watch_hears_on_where_nobody_reads_its_output(
    words: list[str], chipsong: Callable[..., Ended], home: Path, monkeypatch: pytest.MonkeyPatch
):
    """Into `head`, which ends, it is said once on standard error; the run is heard and kept to its end."""
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: FakeMicrophone(MUTED, RATE))
    with unread() as stream, monkeypatch.context() as patch:
        patch.setattr("monitor.cli.sys.stdout", stream)
        ended = chipsong("watch", "--rpm", 18000, *words)
    because = "nothing more can be written (Broken pipe); listening goes on"
    assert ended.err.count(because) == 1
    assert "Traceback" not in ended.err
    assert ended.status == 1  # not all could be told
    (run,) = runs(home)
    assert run.closed
    assert any(event.name == "deaf" for event in run.events())


def test_an_alarm_that_nobody_reads_still_is_the_exit_status(
    chipsong: Callable[..., Ended], home: Path, monkeypatch: pytest.MonkeyPatch
):
    """Where standard error has no reader either, the alarm is kept, and is what the command ends with."""
    samples, rate = sound("slip_outline")
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: FakeMicrophone(samples, rate))
    program = shipped("slip_outline")[2:-1]
    with unread() as out, unread() as err, monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", out)
        patch.setattr(sys, "stderr", err)
        ended = chipsong("watch", "--keep-sound", "none", *program)
    assert ended.status == 3
    (run,) = runs(home)
    assert run.closed
    assert any(event.name == "alarm" for event in run.events())


@pytest.mark.parametrize("keep", [False, True])
def test_a_replay_that_nobody_reads_ends_unless_it_is_kept(
    keep: bool, chipsong: Callable[..., Ended], home: Path, monkeypatch: pytest.MonkeyPatch
):
    """It is not to go on for nobody, and needs no word; what is kept is for later, and heard to its end."""
    with unread() as stream, monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        ended = chipsong(*shipped("slip_outline"), *(["--keep"] if keep else []))
    assert (ended.status, "listening goes on" in ended.err) == ((3, True) if keep else (1, False))
    assert [run.closed for run in runs(home)] == ([True] if keep else [])


@contextmanager
def hanging(*, seconds: float = 60.0) -> Iterator[tuple[TextIO, int]]:
    """Give a stream into a pipe that is almost full, and its unread end, which closes after some time."""
    read, written = os.pipe()
    fcntl.fcntl(written, fcntl.F_SETPIPE_SZ, 4096)
    os.write(written, bytes(4000))
    ends = threading.Timer(
        seconds, os.close, [read]
    )  # who waits for the reader waits so long, and not for ever
    ends.start()
    with open(written, "w") as stream:  # noqa: PTH123 - a number
        try:
            yield stream, read
        finally:
            write_nowhere([written])
            ends.cancel()
            ends.join()


def test_a_reader_that_hangs_and_reads_later_gets_all_in_order():
    """Writing takes no time while nobody reads; nothing is lost to who reads in the end."""
    wanted = "".join(f"line {number}\n" for number in range(3000))
    got = bytearray()
    with hanging() as (stream, read), waiting_for_nobody():
        for number in range(3000):
            write(stream, f"line {number}\n")
        while len(got) < 4000 + len(wanted):
            got += os.read(read, 4096)
        assert not has_failed(stream)
    assert got[4000:].decode() == wanted


def test_what_was_written_last_is_read_at_the_end():
    """A reader that is a little slow gets what was still waiting as the run was over."""
    got = bytearray()

    def read_all(read: int) -> None:
        while not got.endswith(b"the end\n"):
            got.extend(os.read(read, 500))

    with hanging() as (stream, read):
        reader = threading.Thread(target=read_all, args=(read,))
        with waiting_for_nobody():
            write(stream, "x" * 20_000)
            reader.start()
            write(stream, "the end\n")
            assert not has_failed(stream)
        reader.join()
    assert len(got) == 4000 + 20_000 + len("the end\n")


def test_too_much_that_nobody_reads_is_left_out_from_its_beginning(monkeypatch: pytest.MonkeyPatch):
    """What waits takes no more and more room; whoever reads later finds what is newest."""
    monkeypatch.setattr("monitor.aside._MOST", 10)
    got = bytearray()
    with hanging() as (stream, read), waiting_for_nobody():
        for number in range(1000):
            write(stream, f"line {number}\n")
        while not got.endswith(b"line 999\n"):
            got += os.read(read, 4096)
        assert has_failed(stream)
    assert b"line 990\n" in got
    assert b"line 500\n" not in got


def test_standard_output_and_error_keep_their_order_in_one_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """With `2>&1` a warning stands where it was said."""
    path = tmp_path / "both"
    with path.open("a") as out, path.open("a") as err, monkeypatch.context() as patch, waiting_for_nobody():
        patch.setattr(sys, "stderr", err)
        for number in range(100):
            write(out, f"{number}\n")
            warn(str(number))
        assert not has_failed(out)
    assert path.read_text() == "".join(f"{number}\nchipsong: {number}\n" for number in range(100))


def test_that_nobody_reads_is_said_once(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """A text that has been under way for too long is told of on standard error, and so is its end."""
    monkeypatch.setattr("monitor.aside._STUCK", 0.0)
    monkeypatch.setattr("monitor.aside._STILL", 0.2)
    with hanging() as (stream, _), monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        with going_on_unread(), waiting_for_nobody():
            for _ in range(300):
                write(stream, "nobody reads this\n")
                time.sleep(0.001)
            assert has_failed(stream)
        write(stream, "nor is anybody held up by it later\n")
    said = capsys.readouterr().err
    assert said.count("nobody reads what is written: it waits for its reader, and listening goes on") == 1
    assert said.endswith("chipsong: what was written last was not read, and is lost\n")
    assert said.count("\n") == 2


@pytest.mark.slow
@pytest.mark.parametrize("words", [[], ["--json"]])
def test_watch_hears_on_and_ends_where_its_reader_hangs(
    words: list[str], chipsong: Callable[..., Ended], home: Path, monkeypatch: pytest.MonkeyPatch
):
    """Its alarm is decided and kept, and is what the command ends with."""
    monkeypatch.setattr("monitor.aside._STILL", 0.5)
    samples, rate = sound("slip_outline")
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: FakeMicrophone(samples, rate))
    program = shipped("slip_outline")[2:-1]
    with hanging(seconds=240.0) as (stream, _), monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        ended = chipsong("watch", "--keep-sound", "none", *program, *words)
    assert ended.status == 3
    assert "what was written last was not read" in ended.err
    assert "nothing more can be written" not in ended.err
    (run,) = runs(home)
    assert run.closed
    assert any(event.name == "alarm" for event in run.events())


def test_signs_that_the_terminal_lacks_end_no_hearing(
    chipsong: Callable[..., Ended], monkeypatch: pytest.MonkeyPatch
):
    """A microphone with a Cyrillic name is listened to where standard output is Latin-1."""
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: FakeMicrophone(MUTED, RATE, name="Микро"))
    narrow = io.TextIOWrapper(io.BytesIO(), encoding="latin-1")
    with monkeypatch.context() as patch:
        patch.setattr("monitor.cli.sys.stdout", narrow)
        ended = chipsong("watch", "--keep-sound", "none", "--rpm", 18000)
    assert (ended.status, ended.err) == (0, "")
    narrow.seek(0)
    said = narrow.read()
    assert "Listening to ????? at 8000 Hz" in said
    assert "DEAF" in said


# --- others' words --------------------------------------------------------------------------------------

ERASE = "\x1b[2J\x9b1mgone\x07"


def test_what_is_printable_stays():
    """Ordinary text, accents included, is left alone, and made one line; what is too long is cut."""
    assert printable("Frässtift 6 mm") == "Frässtift 6 mm"
    assert printable("one\r\ntwo\tthree\xa0mm") == "one  two three mm"
    assert printable("x" * 61, 60) == "x" * 57 + "..."
    assert printable(ERASE) == "?[2J?1mgone?"


def test_trouble_moves_no_cursor(capsys: pytest.CaptureFixture[str]):
    """What a program, a broker or a driver says is written without signs that a terminal obeys."""
    warn(f"two lines,\n{ERASE}")
    assert capsys.readouterr().err == "chipsong: two lines,\n?[2J?1mgone?\n"
    assert one_line(OSError(f"no\n{ERASE}")) == "no ?[2J?1mgone?"


def test_what_an_action_said_moves_no_cursor():
    """The last line of a command is shown so, now and when the run is looked at later."""
    said = Command(("printf", "%s", ERASE)).fire(rehearsal("alarm"), 10.0)
    done = Done("hook", rehearsal("alarm"), ok=True, said=said, took=0.1)
    assert done_text(done) == "action 'hook' at alarm done after 0.1 s: ended well: ?[2J?1mgone?"
    assert "ended well: ?[2J?1mgone?" in kept_text(done_to_dict(done, 1.0))


def test_the_name_of_a_microphone_moves_no_cursor(chipsong: Callable[..., Ended], stage: Stage):
    """A device that calls itself something odd is listed without that."""
    stage.tell(devices=[*DEVICES[:2], (f"USB {ERASE}", 0, 1, 8000.0)])
    assert "  2  USB ?[2J?1mgone?  (" in chipsong("mics").out


def test_why_a_microphone_is_lost_moves_no_cursor():
    """What a sound server calls a microphone is told and kept so."""
    told: list[Event] = []
    with FakeMicrophone(NOISE, RATE, notes={5: f"the sound server has lost {ERASE}"}) as source:
        listener = Listener(RATE, {0: Bit("any", 6.0, 2, 18000.0)}, Nowhere())
        listen(source, listener, Ears(told.append))
    (deaf,) = (event for event in told if isinstance(event, Deaf))
    assert deaf.because == "the sound server has lost ?[2J?1mgone?"
