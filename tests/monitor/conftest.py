"""What the tests of `monitor` share."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from contract import SHIPPED, Ended, shipped
from live_watch import COMMAND
from sound_server import SoundServer, missing
from stage import Stage

from monitor.cli import main
from monitor.journal import Run, runs
from monitor.testing import FakeClock


@pytest.fixture
def clock() -> FakeClock:
    """Give a clock that stands at 25 November 2026, 9:31."""
    return FakeClock()


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a folder of the test's own for shelf and journal."""
    folder = tmp_path / "home"
    monkeypatch.setenv("CHIPSONG_HOME", str(folder))
    return folder


@pytest.fixture
def chipsong(
    home: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Ended]:
    """Give the command, run within this process: its words as arguments, how it ended in return."""
    del home

    def run(*words: object) -> Ended:
        monkeypatch.setattr(sys, "argv", ["chipsong", *map(str, words)])
        capsys.readouterr()
        with pytest.raises(SystemExit) as left:
            main()
        said = capsys.readouterr()
        return Ended(int(left.value.code or 0), said.out, said.err)

    return run


@pytest.fixture(scope="session")
def replayed() -> Callable[[str], Ended]:
    """Give what the command, a process of its own, says of a shipped recording; each is replayed once."""
    known: dict[str, Ended] = {}

    def replay(name: str) -> Ended:
        if name not in known:
            done = subprocess.run([*COMMAND, *shipped(name)], capture_output=True, text=True, check=False)
            known[name] = Ended(done.returncode, done.stdout, done.stderr)
        return known[name]

    return replay


@pytest.fixture(scope="session")
def heard_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a home with one kept run, of the shipped recording in which a bit slips; not to be changed."""
    home = tmp_path_factory.mktemp("heard")
    env = os.environ | {"CHIPSONG_HOME": str(home)}
    words = [*COMMAND, *shipped("slip_outline"), "--keep"]
    done = subprocess.run(words, env=env, check=False, capture_output=True)
    assert done.returncode == 3, done.stderr
    return home


@pytest.fixture(scope="session")
def comp_heard_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a home with two bits, and of one a good run and one with a slip; not to be changed."""
    home = tmp_path_factory.mktemp("comp")
    bit = '[[bit]]\nname = "{}"\ndiameter = 6\nflutes = 2\nkind = "compression"\nmaterial = "plywood"\n'
    (home / "bits.toml").write_text(
        "\n".join(f"{bit.format(name)}speed = 18000\n" for name in ("comp", "other"))
    )
    env = os.environ | {"CHIPSONG_HOME": str(home)}
    for name, status in (("tight_outline", 0), ("slip_outline", 3)):
        words = (
            "replay",
            SHIPPED / f"{name}.flac",
            "--program",
            SHIPPED / f"{name}.ngc",
            "--bit",
            "comp",
            "--keep",
        )
        done = subprocess.run([*COMMAND, *words], env=env, check=False, capture_output=True)
        assert done.returncode == status, done.stderr
    return home


@pytest.fixture
def kept_run(heard_once: Path, home: Path) -> Run:
    """Give a run with an alarm, kept in the test's own home."""
    shutil.copytree(heard_once, home)
    (run,) = runs(home)
    return run


@pytest.fixture
def stage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Stage:
    """Give a PortAudio that does as it is told, for the process that captures."""
    return Stage(tmp_path, monkeypatch)


@pytest.fixture
def sound_daemon() -> Iterator[SoundServer]:
    """Give a running `SoundServer`, for tests that stop it or talk to it."""
    if absent := missing():
        pytest.skip(f"the real audio stack is not installed here: {absent}")
    # A socket's path may have 108 characters at most, and pytest's own folders can be longer.
    with tempfile.TemporaryDirectory(prefix="chipsong-") as folder:
        server = SoundServer(Path(folder))
        try:
            server.start()
            yield server
        finally:
            server.stop()


@pytest.fixture
def sound_server(sound_daemon: SoundServer) -> dict[str, str]:
    """Give the environment in which programs play into and listen to a sound server of their own."""
    return sound_daemon.env
