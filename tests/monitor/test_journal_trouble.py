"""The journal when things go wrong: killed, no room, another version."""

import os
import re
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from contract import Ended
from journal_bench import NOISE, RATE, begin, names_of_sound
from live_watch import COMMAND

from analysis.errors import JournalError
from monitor.journal import Journal, open_run, runs, sorted_out
from monitor.journal.held import is_held
from monitor.journal.schema import MIGRATIONS, connect, get_meta, migrate
from monitor.testing import FakeClock

# --- killed ---------------------------------------------------------------------------------------------

WRITE_FOR_EVER = """
    import mmap, sys
    from datetime import datetime, timedelta, UTC
    from pathlib import Path
    import numpy as np
    from monitor.journal import Journal

    rate, handed, block = 1000, 0, 50
    with open(sys.argv[2], "r+b") as file:
        count = mmap.mmap(file.fileno(), 8)

    def now():  # the clock goes by the sound that was heard
        return datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=handed / rate)

    journal = Journal.create(Path(sys.argv[1]), "killed", {}, rate=rate, columns=("n",), keep_sound=True,
                             now=now, segment_seconds=3)
    while True:
        journal.sound(((np.arange(handed, handed + block) % 4096) / 4096).astype(np.float32))
        journal.rows([handed / rate], [[handed]])
        if handed % 5000 == 0:
            journal.event("state", handed / rate, {"handed": handed})
        handed += block
        count[:] = handed.to_bytes(8, "little")
"""


# In how many runs a program is killed.
KILLS = int(os.environ.get("CHIPSONG_KILLS", "15"))


@pytest.mark.parametrize(
    "seed", [1, 2, 3, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(4, KILLS + 1))]
)
def test_a_killed_program_loses_two_seconds_at_most(tmp_path: Path, seed: int):
    """After SIGKILL in the middle of writing the run opens, and all but the last 2 s is there, exactly."""
    counter = tmp_path / "count"
    counter.write_bytes(bytes(8))
    script = "\n".join(line[4:] for line in WRITE_FOR_EVER.splitlines())
    writer = subprocess.Popen([sys.executable, "-c", script, str(tmp_path), str(counter)])
    handed = 0
    wait = np.random.default_rng(seed).uniform(0.05, 0.4)
    while handed < 8 * RATE:
        handed = int.from_bytes(counter.read_bytes(), "little")
        assert writer.poll() is None
    (run,) = runs(tmp_path)
    assert run.is_going_on
    time.sleep(wait)
    writer.kill()
    writer.wait()
    handed = int.from_bytes(counter.read_bytes(), "little")

    (run,) = runs(tmp_path)
    assert not run.is_going_on
    sound, (at, values, _) = run.sound(), run.rows()
    assert len(sound) >= handed - 2 * RATE
    assert at[-1] >= handed / RATE - 2
    np.testing.assert_array_equal(sound, (np.arange(len(sound)) % 4096 / 4096).astype(np.float32))
    np.testing.assert_array_equal(values[:, 0], np.arange(0, len(at) * 50, 50))
    np.testing.assert_allclose(at, values[:, 0] / RATE)
    assert [event.body["handed"] for event in run.events()] == list(range(0, int(at[-1] * RATE) + 1, 5000))
    assert not run.closed


# --- no room --------------------------------------------------------------------------------------------


def test_a_home_that_cannot_be_made_is_said(tmp_path: Path, clock: FakeClock):
    """A place that cannot hold runs is a JournalError of one line."""
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(JournalError, match=r"cannot be kept in .*: make room or choose another") as caught:
        begin(tmp_path / "file", clock)
    assert "\n" not in str(caught.value)


def full(*_: object, **__: object) -> None:
    """Stand in for a write on a full disk."""
    raise OSError(28, "No space left on device")


@pytest.mark.parametrize("place", ["write", "flush", "close"])
def test_no_room_for_sound_is_said_once_and_events_are_kept(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch, place: str
):
    """Wherever it strikes: one JournalError, then all but the sound is kept, and what was kept stays."""
    journal = begin(tmp_path, clock)
    journal.sound(NOISE[:500])
    journal.event("state", 0.5, {})
    with monkeypatch.context() as broken:
        broken.setattr(f"monitor.journal.sound.Segment.{place}", full)
        clock.advance(2)
        with pytest.raises(JournalError, match=r"the run's sound cannot be kept .*No space left on device"):
            journal.sound(NOISE[500:3000])
    assert not journal.failed
    journal.sound(NOISE)
    journal.rows([1.0], [[1, 2]])
    journal.event("alarm", 1.0, {})
    journal.close({"alarms": 1})

    run = open_run(tmp_path, journal.id)
    assert [event.name for event in run.events()] == ["state", "alarm"]
    assert len(run.rows().at) == 1
    assert run.closed
    np.testing.assert_array_equal(run.sound(0, 500), NOISE[:500])
    assert run.samples() <= 3000


def test_no_room_at_the_end_leaves_the_summary(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
):
    """How a run ended is on disk before its sound is brought to its end; and nobody holds the run then."""
    journal = begin(tmp_path, clock)
    journal.sound(NOISE[:500])
    monkeypatch.setattr("monitor.journal.sound.Segment.close", full)
    with pytest.raises(JournalError, match="sound cannot be kept"):
        journal.close({"alarms": 1})
    run = open_run(tmp_path, journal.id)
    assert run.summary == {"alarms": 1}
    assert not is_held(journal.folder)


def test_an_event_is_kept_though_the_sound_with_it_cannot_be(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
):
    """An alarm that finds no room for the sound so far is on disk all the same."""
    journal = begin(tmp_path, clock)
    journal.sound(NOISE[:500])
    monkeypatch.setattr("monitor.journal.sound.Segment.flush", full)
    with pytest.raises(JournalError, match="sound cannot be kept"):
        journal.event("alarm", 0.5, {})
    assert [event.name for event in open_run(tmp_path, journal.id).events()] == ["alarm"]


def test_the_last_room_on_a_disk_is_left_to_events(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
):
    """Sound stops at the end of a segment while there is room for events still."""
    journal = begin(tmp_path, clock)
    journal.sound(NOISE[:1000])
    nearly = SimpleNamespace(free=1_000_000)
    monkeypatch.setattr("monitor.journal.sound.shutil.disk_usage", lambda _: nearly)
    journal.sound(NOISE[1000:2000])
    with pytest.raises(JournalError, match="sound cannot be kept"):
        journal.sound(NOISE[2000:3000])
    journal.event("alarm", 3.0, {})
    journal.close({"alarms": 1})
    run = open_run(tmp_path, journal.id)
    assert run.closed
    assert [event.name for event in run.events()] == ["alarm"]
    np.testing.assert_array_equal(run.sound(), NOISE[:2000])


def test_no_room_for_the_flac_leaves_the_wav(
    tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
):
    """When the disk fills while a segment becomes FLAC, the WAV is whole, and nothing half is left."""
    journal = begin(tmp_path, clock)
    with monkeypatch.context() as broken:
        broken.setattr("monitor.journal.sound.Path.replace", full)
        journal.sound(NOISE[:2000])
    assert names_of_sound(journal) == ["000001.wav"]
    journal.sound(NOISE[2000:4000])
    assert names_of_sound(journal) == ["000001.wav", "000002.flac"]
    np.testing.assert_array_equal(open_run(tmp_path, journal.id).sound(), NOISE[:4000])


FILL = """
    import resource, sys
    from datetime import datetime, UTC
    from pathlib import Path
    import numpy as np
    from analysis.errors import JournalError
    from monitor.journal import Journal

    times = iter(range(10**9))
    journal = Journal.create(Path(sys.argv[1]), "full", {}, rate=1000, columns=("n",), keep_sound=True,
                             now=lambda: datetime.fromtimestamp(next(times), UTC))
    resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))
    said = []
    for number in range(1000):
        for hand in (
            lambda: journal.event("state", number, {}) if int(sys.argv[2]) else None,
            lambda: journal.rows([number], [[number]]),
            lambda: journal.sound(np.zeros(1 if int(sys.argv[2]) else 1000, np.float32)),
        ):
            try:
                hand()
            except JournalError as error:
                said.append(str(error))
    journal.close({})
    print(len(said), journal.failed)
"""


@pytest.mark.parametrize("database", [0, 1])
def test_a_real_limit_of_the_system_harms_nothing_that_was_kept(tmp_path: Path, database: int):
    """Where the system lets the sound (or the database) grow no more: said once, and what was kept opens."""
    script = "\n".join(line[4:] for line in FILL.splitlines())
    command = [sys.executable, "-c", script, str(tmp_path), str(database)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert (done.stdout, done.stderr, done.returncode) == ("1 True\n", "", 0)
    (run,) = runs(tmp_path)
    kept = run.rows().at
    assert len(kept) > 10
    np.testing.assert_array_equal(kept, np.arange(len(kept)))
    assert not run.closed
    assert np.isfinite(run.sound()).all()


@pytest.mark.slow
@pytest.mark.parametrize("killed", [False, True])
def test_runs_on_a_read_only_disk_can_be_read(tmp_path: Path, clock: FakeClock, killed: bool):
    """Whether it was closed or left its log beside it: all of a run is there, and nothing can be added."""
    journal = begin(tmp_path / "home", clock)
    journal.sound(NOISE[:500])
    journal.event("alarm", 0.5, {})
    if killed:
        shutil.copytree(tmp_path / "home", tmp_path / "left")
    journal.close({"alarms": 1})
    home, seen = tmp_path / ("left" if killed else "home"), tmp_path / "seen"
    seen.mkdir()
    for words in (["--bind", str(home), str(seen)], ["-o", "remount,bind,ro", str(seen)]):
        if subprocess.run(["mount", *words], capture_output=True, check=False).returncode:
            pytest.skip("a read-only disk cannot be made here: it takes the right to mount one")
    try:
        (run,) = runs(seen)
        assert run.closed is not killed
        assert [event.name for event in run.events()] == ["alarm"]
        np.testing.assert_array_equal(run.sound(), NOISE[:500])
        with (
            closing(connect(run.folder / "run.sqlite")) as db,
            pytest.raises(sqlite3.Error, match="readonly"),
        ):
            db.execute("DELETE FROM events")
    finally:
        subprocess.run(["umount", str(seen)], check=True)


# --- held by another program ----------------------------------------------------------------------------


@contextmanager
def holding(journal: Journal) -> Iterator[None]:
    """Hold a run's database, as a program does that somebody looks into it with."""
    with closing(connect(journal.folder / "run.sqlite")) as db:
        db.execute("BEGIN IMMEDIATE")
        yield
        db.execute("ROLLBACK")


def test_what_another_program_holds_is_written_later(tmp_path: Path, clock: FakeClock):
    """Nothing that is handed over meanwhile takes long or is lost, not the end of a segment either."""
    journal = begin(tmp_path, clock)
    with holding(journal):
        begun = time.monotonic()
        for second in range(20):
            journal.sound(NOISE[second * 200 : second * 200 + 200])
            journal.rows([second / 5], [[second, 0]])
            journal.event("state", second / 5, {"n": second})
        assert time.monotonic() - begun < 4.0
        assert not journal.failed
        assert open_run(tmp_path, journal.id).events() == ()
    clock.advance(1.1)
    journal.rows([4.0], [[20, 0]])
    run = open_run(tmp_path, journal.id)
    assert [event.body["n"] for event in run.events()] == list(range(20))
    assert run.rows().values[:, 0].tolist() == list(range(21))
    np.testing.assert_array_equal(run.sound(), NOISE[:4000])
    journal.event("alarm", 4.0, {})
    assert [event.name for event in run.events()][-1] == "alarm"
    journal.close({"alarms": 1})
    assert open_run(tmp_path, journal.id).closed


def test_what_is_held_to_the_end_is_said(tmp_path: Path, clock: FakeClock, monkeypatch: pytest.MonkeyPatch):
    """A run whose end cannot be written for another program says that, and nothing of a full disk."""
    monkeypatch.setattr("monitor.journal.writing._WAIT_AT_THE_END", 50)
    for summary in ({"alarms": 1}, None):
        journal = begin(tmp_path, clock)
        with holding(journal):
            journal.event("alarm", 1.0, {})
            with pytest.raises(JournalError, match=r"another program holds its run\.sqlite"):
                journal.close(summary)
        assert journal.failed
        assert not is_held(journal.folder)
        assert not open_run(tmp_path, journal.id).closed


# --- versions -------------------------------------------------------------------------------------------


def test_a_run_of_a_newer_program_is_refused(tmp_path: Path, clock: FakeClock):
    """Tables that this program does not know are not touched: update, it says. The list leaves it out."""
    with begin(tmp_path, clock) as journal:
        pass
    db = connect(journal.folder / "run.sqlite")
    db.execute("UPDATE meta SET value = '99' WHERE key = 'schema'")
    db.close()
    with pytest.raises(JournalError, match=r"tables of version 99.*update chipsong"):
        open_run(tmp_path, journal.id)
    assert runs(tmp_path) == ()


@pytest.mark.parametrize("content", [None, b"", b"this is no database" * 1000])
def test_what_is_no_run_is_refused(tmp_path: Path, content: bytes | None):
    """A folder without a database, or with something else for one, is a JournalError, left as it is."""
    folder = tmp_path / "runs" / "odd"
    folder.mkdir(parents=True)
    if content is not None:
        (folder / "run.sqlite").write_bytes(content)
    with pytest.raises(JournalError, match="odd"):
        open_run(tmp_path, "odd")
    assert runs(tmp_path) == ()
    assert content is None or (folder / "run.sqlite").read_bytes() == content


def damage(folder: Path, statement: str, *values: object) -> None:
    """Change what is written in a run."""
    with closing(connect(folder / "run.sqlite")) as db:
        assert db.execute(statement, values).rowcount


@pytest.mark.parametrize("value", ['{"half', "", '"soon"', "null"])
def test_a_damaged_run_takes_no_other_with_it(tmp_path: Path, clock: FakeClock, value: str):
    """One value that is not what was written spoils its own run at the most, and which it was is said."""
    whole, broken = begin(tmp_path, clock), begin(tmp_path, clock, "broken")
    whole.close({"at": 1.0})
    broken.close({"at": 1.0})
    change = "UPDATE meta SET value = ? WHERE key = ?"
    for key, right in get_all(broken.folder).items():
        damage(broken.folder, change, value, key)
        opened, left_out = {run.id for run in runs(tmp_path)}, sorted_out(tmp_path)[1]
        assert whole.id in opened
        assert (broken.id in opened) == (not left_out)
        assert left_out or value in ('"soon"', "null")
        if left_out:
            with pytest.raises(JournalError, match=broken.id):
                open_run(tmp_path, broken.id)
        damage(broken.folder, change, right, key)


def as_anyone(*words: object) -> subprocess.CompletedProcess[str]:
    """Run the command as a user without special rights; skip where none can be had."""
    less = ["setpriv", "--bounding-set=-all", "--inh-caps=-all"] if os.geteuid() == 0 else []
    if less and (not shutil.which(less[0]) or subprocess.run([*less, "true"], check=False).returncode):
        pytest.skip("root's rights cannot be laid down here")
    return subprocess.run([*less, *COMMAND, *map(str, words)], capture_output=True, text=True, check=False)


@pytest.fixture
def locked(home: Path) -> Iterator[Callable[[Path], None]]:
    """Give what makes a folder one that its user may not look into, for the time of the test."""
    shut: list[Path] = []

    def lock(folder: Path) -> None:
        shut.append(folder)
        folder.chmod(0)

    home.mkdir()
    yield lock
    for folder in shut:
        folder.chmod(0o700)


def test_a_run_that_may_not_be_read_takes_no_other_with_it(
    home: Path, clock: FakeClock, locked: Callable[[Path], None]
):
    """It is passed over, and whose rights are to be looked at is said; the others are there."""
    mine, others = begin(home, clock), begin(home, clock, "others")
    mine.close({"at": 1.0, "alarms": 0})
    others.close({"at": 1.0, "alarms": 0})
    locked(others.folder)
    listed = as_anyone("runs")
    assert listed.returncode == 0
    assert listed.stdout.startswith(mine.id)
    passed_over = f"passed over: run {others.id} cannot be read (Permission denied): let this user read"
    assert passed_over in listed.stdout + listed.stderr


@pytest.mark.parametrize("command", [["runs"], ["accept"], ["bits"], ["actions"], ["rehear", "--all"]])
def test_a_home_that_is_a_file_is_said(home: Path, chipsong: Callable[..., Ended], command: list[str]):
    """It is not taken for a home in which nothing is kept yet."""
    home.write_text("no folder")
    ended = chipsong(*command)
    assert (ended.status, ended.out, ended.err.count("\n")) == (1, "", 1)
    assert re.search(r"cannot (look into|read) .*\(Not a directory\): check .*(HOME|folder)", ended.err)


def test_references_that_may_not_be_read_are_said(home: Path, locked: Callable[[Path], None]):
    """They are not taken for none."""
    (home / "references").mkdir()
    locked(home / "references")
    listed = as_anyone("accept")
    said = f"chipsong: cannot look into {home / 'references'} (Permission denied): check CHIPSONG_HOME\n"
    assert (listed.returncode, listed.stdout, listed.stderr) == (1, "", said)


def get_all(folder: Path) -> dict[str, str]:
    """Return what is written about a run, as it is written."""
    with closing(connect(folder / "run.sqlite")) as db:
        return dict(db.execute("SELECT key, value FROM meta").fetchall())


def test_damaged_events_and_rows_are_said(tmp_path: Path, clock: FakeClock):
    """What cannot be understood names its run; all else of it can still be had."""
    with begin(tmp_path, clock) as journal:
        journal.event("state", 0.5, {})
        journal.rows([1.0], [[1, 2]])
    run = open_run(tmp_path, journal.id)
    damage(run.folder, "UPDATE events SET json = '{'")
    with pytest.raises(JournalError, match=rf"{run.id} is damaged .*: move its folder"):
        run.events()
    assert run.rows().at.tolist() == [1.0]
    damage(run.folder, 'UPDATE rows SET "values" = ?', b"123")
    with pytest.raises(JournalError, match=rf"{run.id} is damaged"):
        run.rows()


def test_older_tables_are_brought_up_to_date(tmp_path: Path):
    """Each missing version's statements run once, in order, and the version is recorded."""
    db = connect(tmp_path / "run.sqlite", create=True)
    migrate(db)
    newer = (*MIGRATIONS, ("CREATE TABLE labels (event INTEGER)", "INSERT INTO labels VALUES (7)"))
    migrate(db, newer)
    migrate(db, newer)
    assert db.execute("SELECT event FROM labels").fetchall() == [(7,)]
    assert get_meta(db)["schema"] == 2
    db.close()


def test_a_migration_that_fails_changes_nothing(tmp_path: Path):
    """A version is reached whole or not at all: tables and their version stay as they were."""
    db = connect(tmp_path / "run.sqlite", create=True)
    migrate(db)
    with pytest.raises(sqlite3.OperationalError):
        migrate(db, (*MIGRATIONS, ("CREATE TABLE labels (event INTEGER)", "CREATE NONSENSE")))
    assert get_meta(db)["schema"] == 1
    assert db.execute("SELECT name FROM sqlite_master WHERE name = 'labels'").fetchall() == []
    db.close()
