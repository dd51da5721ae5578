"""``chipsong watch``, with a microphone that hears a shipped recording; test_live.py has the real stack."""

import errno
import json
import os
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from contract import BIT, SHIPPED, Ended, sound
from numpy.typing import NDArray
from restarting import restart_program

from analysis.program import read
from monitor.journal import Run, open_run, runs
from monitor.journal.sound import SoundWriter
from monitor.sources import Block
from monitor.testing import FakeMicrophone

Command = Callable[..., Ended]
PROGRAM = SHIPPED / "slip_outline.ngc"
WATCH = ("watch", "--program", PROGRAM, *BIT)


@pytest.fixture(autouse=True)
def hears(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the microphone hear the shipped slip."""
    samples, rate = sound("slip_outline")
    fake = FakeMicrophone(samples, rate)
    monkeypatch.setattr("monitor.listening.Microphone", lambda _device, _rate: fake)


def test_the_page_is_loaded_before_the_microphone_hears(chipsong: Command, monkeypatch: pytest.MonkeyPatch):
    """It may take a minute the first time, and all that was heard meanwhile would be heard late."""
    monkeypatch.delattr("monitor.page.beside", raising=False)
    monkeypatch.delitem(sys.modules, "monitor.page.beside", raising=False)
    loaded, fake = [], FakeMicrophone(np.zeros(24_000, dtype=np.float32), 24_000)

    def microphone(_device: str | None, _rate: int | None) -> FakeMicrophone:
        loaded.append("monitor.page.beside" in sys.modules)
        return fake

    monkeypatch.setattr("monitor.listening.Microphone", microphone)
    chipsong(*WATCH, "--page")
    assert loaded == [True]


def the_run(home: Path) -> Run:
    """Return the one run that was kept."""
    (run,) = runs(home)
    return run


def test_watch_says_what_replay_says(chipsong: Command, replayed: Callable[[str], Ended]):
    """The same samples live give the same bytes and the same exit status as from the file."""
    live, recorded = chipsong(*WATCH, "--json"), replayed("slip_outline")
    assert (live.status, live.out, live.err) == (recorded.status, recorded.out, recorded.err)


@pytest.mark.parametrize("more", [(), ("--json",)])
def test_the_restart_program_is_in_the_runs_folder(chipsong: Command, home: Path, more: tuple[str, ...]):
    """At the alarm the restart program is written into the run's folder, with --json as without."""
    ended = chipsong(*WATCH, *more)
    run = the_run(home)
    (alarm,) = (event.body for event in run.events() if event.name == "alarm")
    path = run.folder / f"restart-at-line-{alarm['resume']['file']}.ngc"
    program = read(PROGRAM.read_text(), PROGRAM.name)
    assert path.read_text() == restart_program(program, alarm["line"]["from"])
    assert (str(path) in ended.out) == (not more)


def test_the_run_is_kept_and_it_says_where(chipsong: Command, home: Path):
    """The run, named after its program, holds events, rows and sound; words say where, and who is on it."""
    ended = chipsong(*WATCH)
    run, (samples, _) = the_run(home), sound("slip_outline")
    assert run.title == "slip_outline"
    assert run.meta["program"] == str(PROGRAM)
    assert run.closed
    np.testing.assert_allclose(run.sound(), samples, atol=2**-15)
    assert f"The run is kept in {run.folder}; voices near the microphone are on it too;" in ended.out
    assert ended.out.endswith(f"Kept: {run.folder}\n")
    assert "Listening to fake microphone at 24000 Hz. End with Ctrl-C." in ended.out


def test_no_sound_keeps_none(chipsong: Command, home: Path):
    """With --keep-sound none the run is kept without its sound, and words say so."""
    ended = chipsong(*WATCH, "--keep-sound", "none", "--title", "Tuesday's trays")
    run = the_run(home)
    assert (run.keeps_sound, run.samples(), run.title) == (False, 0, "Tuesday's trays")
    assert not list((run.folder / "sound").iterdir())
    assert ", without its sound." in ended.out


def test_without_a_program_there_is_no_restart_program(chipsong: Command, home: Path):
    """Where the place is unknown none is written, and what to do is still said."""
    ended = chipsong("watch", *BIT)
    assert ended.status == 3
    assert "What to do now:" in ended.out
    assert not list(the_run(home).folder.glob("*.ngc"))


def test_the_program_is_kept_as_it_was_at_the_start(
    chipsong: Command, home: Path, tmp_path: Path, monkeypatch
):
    """A program that is changed while it is heard does not change the restart program."""
    path = tmp_path / "job.ngc"
    path.write_bytes(PROGRAM.read_bytes())
    samples, rate = sound("slip_outline")

    class Spoils(FakeMicrophone):
        def blocks(self, timeout: float = 0.5) -> Iterator[Block | None]:
            path.write_text("G21\nG1 X9 F100\n")
            yield from super().blocks(timeout)

    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: Spoils(samples, rate))
    assert chipsong("watch", "--program", path, *BIT).status == 3
    (restart,) = the_run(home).folder.glob("*.ngc")
    assert "G2 X93 Y9 I-3 J0" in restart.read_text()


# --- trouble --------------------------------------------------------------------------------------------


def test_a_full_disk_is_said_once_and_the_alarm_still_comes(
    chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch, replayed: Callable[[str], Ended]
):
    """Sound without room is one line on standard error; the events, also those kept, and the status stay."""

    def write(_writer: SoundWriter, _samples: NDArray[np.float32]) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(SoundWriter, "write", write)
    ended = chipsong(*WATCH, "--json")
    assert (ended.status, ended.out) == (3, replayed("slip_outline").out)
    assert ended.err.count("\n") == 1
    assert "No space left on device" in ended.err
    run = open_run(home, the_run(home).id)
    assert run.closed
    assert "alarm" in [event.name for event in run.events()]
    ended = chipsong("rehear", run.id)
    assert (ended.status, "not all of its sound was kept" in ended.err) == (1, True)


def test_a_home_that_cannot_be_made_does_not_stop_the_listening(
    chipsong: Command, home: Path, replayed: Callable[[str], Ended]
):
    """Where no run can be kept one line says so; the restart program is then a command to type."""
    home.mkdir()
    (home / "runs").write_text("in the way")
    ended = chipsong(*WATCH, "--json")
    assert (ended.status, ended.out) == (3, replayed("slip_outline").out)
    assert ended.err.count("\n") == 1
    assert "listening goes on without keeping the run" in ended.err
    told = chipsong(*WATCH).out
    assert "The run is not kept." in told
    assert f"chipsong resume {PROGRAM} --line " in told


def test_a_restart_program_that_cannot_be_written_is_said(
    chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch
):
    """One line says that there is no restart program, why, and what to type; the listening goes on."""

    def replace_file(_path: Path, _text: str) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("monitor.resuming.replace_file", replace_file)
    ended = chipsong(*WATCH, "--json")
    assert ended.status == 3
    assert ended.err.count("\n") == 1
    assert "no restart program: cannot write" in ended.err
    assert "(No space left on device)" in ended.err
    assert f"where there is room: chipsong resume {PROGRAM} --line " in ended.err
    assert the_run(home).closed
    told = chipsong(*WATCH).out
    assert "Carry on from line" in told
    assert f"where there is room: chipsong resume {PROGRAM} --line " in told


@pytest.mark.parametrize("how", [("--json",), ()])
def test_a_restart_that_is_refused_is_told_with_the_alarm(
    chipsong: Command, home: Path, tmp_path: Path, how: tuple[str, ...]
):
    """A program that says no unit gets no restart: the reason is told, the run goes on, the status is 3."""
    path = tmp_path / "job.ngc"
    path.write_text(PROGRAM.read_text().replace("G21", ""))
    ended = chipsong("watch", "--program", path, *BIT, *how)
    assert ended.status == 3
    reason = "no restart from line"
    assert f"chipsong: {reason}" in ended.err if how else f"There is {reason}" in ended.out
    assert "--units mm or --units inch" in (ended.err if how else ended.out)
    assert the_run(home).closed
    assert not list(the_run(home).folder.glob("*.ngc"))


class Stopped(FakeMicrophone):
    """A microphone beside which somebody sends signals while it gives its fiftieth block, and later ones."""

    signals: tuple[signal.Signals, ...] = ()

    def blocks(self, timeout: float = 0.5) -> Iterator[Block | None]:
        """Give what is heard."""
        for number, block in enumerate(super().blocks(timeout)):
            if number == 50:
                for which in self.signals:
                    os.kill(os.getpid(), which)
            yield block


@pytest.fixture
def heeded() -> Iterator[None]:
    """Let this process heed what ends it from a terminal: tests that run in the background would not."""
    usual = {
        signal.SIGINT: signal.default_int_handler,
        signal.SIGHUP: signal.SIG_DFL,
        signal.SIGQUIT: signal.SIG_DFL,
    }
    before = {which: signal.signal(which, handler) for which, handler in usual.items()}
    yield
    for which, handler in before.items():
        signal.signal(which, handler)


@pytest.mark.usefixtures("heeded")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGQUIT])
def test_a_run_that_is_ended_from_outside_has_its_summary(
    chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch, how: signal.Signals
):
    """Ctrl-C and the system's request to end both end the run after the block that is being heard."""
    samples, rate = sound("tight_outline")
    before = signal.getsignal(how)
    stopped = Stopped(samples, rate)
    stopped.signals = (how,)
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: stopped)
    ended = chipsong("watch", *BIT, "--json")
    assert (ended.status, ended.err) == (0, "chipsong: stopped by hand\n")
    blocks = ended.events[-1]["at"] * rate / 1024
    assert blocks == pytest.approx(51.5, abs=0.51)  # two may be heard at once
    assert the_run(home).closed
    assert signal.getsignal(how) is before


@pytest.mark.usefixtures("heeded")
def test_asked_twice_it_ends_at_once(chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch):
    """A second Ctrl-C does not wait for the block that is being heard; the summary is still told."""
    samples, rate = sound("tight_outline")
    stopped = Stopped(samples, rate)
    stopped.signals = (signal.SIGINT, signal.SIGINT)
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: stopped)
    ended = chipsong("watch", *BIT, "--json")
    assert ended.events[-1]["at"] == pytest.approx(50 * 1024 / rate, abs=1e-4)
    assert the_run(home).closed


@pytest.mark.usefixtures("heeded")
def test_a_terminal_that_is_closed_ends_the_run_with_its_summary(
    chipsong: Command, home: Path, monkeypatch: pytest.MonkeyPatch
):
    """Nobody meant to end it: it has failed, actions are told, and the summary is kept all the same."""
    samples, rate = sound("tight_outline")
    stopped = Stopped(samples, rate)
    stopped.signals = (signal.SIGHUP, signal.SIGHUP)  # the shell sends one, and the system
    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: stopped)
    home.mkdir()
    told = home / "told"
    run = ["/bin/sh", "-c", f"cat > {told}"]
    (home / "actions.toml").write_text(f'[[action]]\nname = "horn"\nkind = "command"\nrun = {run}\n')
    ended = chipsong("watch", *BIT, "--json")
    why = "the terminal was closed, and with it the listening has ended"
    assert (ended.status, ended.err.splitlines()[-1]) == (1, f"chipsong: {why}")
    assert ended.events[-1]["event"] == "summary"
    assert the_run(home).closed
    assert json.loads(told.read_text())["because"] == why


def test_it_ends_by_the_clock_though_nothing_arrives(chipsong: Command, monkeypatch: pytest.MonkeyPatch):
    """--for counts seconds on the clock: a microphone that gives nothing is deaf, and no reason to wait."""
    waited = 0.0

    class Dead(FakeMicrophone):
        def blocks(self, timeout: float = 0.5) -> Iterator[Block | None]:
            nonlocal waited
            while True:
                waited += timeout
                yield None

    monkeypatch.setattr("monitor.listening.Microphone", lambda *_: Dead(np.zeros(1), 8000))
    monkeypatch.setattr("monitor.listening.time.monotonic", lambda: waited)
    ended = chipsong("watch", "--json", "--for", "10")
    assert waited == pytest.approx(10.0)
    assert [event["event"] for event in ended.events] == ["deaf", "state", "summary"]
    assert ended.status == 1
    assert ended.err.splitlines()[-1].startswith("chipsong: nothing usable was heard")
