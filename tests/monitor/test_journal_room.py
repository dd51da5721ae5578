"""What the sound of runs takes on disk: within its budget, or only near events; events always stay."""

import os
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from contract import shipped
from journal_bench import NOISE, RATE, begin, names_of_sound
from live_watch import COMMAND

from monitor.journal import Around, open_run
from monitor.testing import FakeClock


def size_of(journal_home: Path) -> int:
    """How many bytes the sound of all runs takes."""
    return sum(path.stat().st_size for path in journal_home.glob("runs/*/sound/*"))


def test_the_oldest_sound_goes_first_and_events_never(tmp_path: Path, clock: FakeClock):
    """Within the budget the newest is kept; a run whose sound went has all else, and NaN for it."""
    kept = []
    for title in ("first", "second"):
        with begin(tmp_path, clock, title) as journal:
            journal.event("alarm", 1.0, {"event": "alarm"})
            journal.rows([0.1], [[1.0, 2.0]])
            journal.sound(NOISE)
        kept.append(open_run(tmp_path, journal.id))
        clock.advance(60)
    budget = size_of(tmp_path) // 2
    with begin(tmp_path, clock, "third", most_bytes=budget) as journal:
        journal.sound(NOISE[: 4 * RATE])
        assert size_of(tmp_path) <= budget
    assert size_of(tmp_path) <= budget
    first, second = kept
    assert np.isnan(first.sound()).all()
    np.testing.assert_array_equal(second.sound(6 * RATE), NOISE[6 * RATE :])
    assert np.isnan(second.sound(0, 2 * RATE)).all()
    np.testing.assert_array_equal(open_run(tmp_path, journal.id).sound(), NOISE[: 4 * RATE])
    for run in kept:
        assert [event.name for event in run.events()] == ["alarm"]
        assert len(run.rows().at) == 1


def test_a_clock_that_was_set_back_makes_no_run_older(tmp_path: Path, clock: FakeClock):
    """The oldest sound is that of the run that began first, whatever the clock said as the others began."""
    kept = []
    for title, now in (("tuesday", clock.now), ("wednesday", lambda: datetime(2020, 1, 1, tzinfo=UTC))):
        with begin(tmp_path, clock, title, now=now) as journal:
            journal.sound(NOISE)
        kept.append(open_run(tmp_path, journal.id))
    with begin(tmp_path, clock, "thursday", most_bytes=size_of(tmp_path) // 2):
        pass
    tuesday, wednesday = kept
    assert wednesday.id < tuesday.id
    assert np.isnan(tuesday.sound()).all()
    np.testing.assert_array_equal(wednesday.sound(), NOISE)


def test_sound_of_runs_of_old_goes_first(tmp_path: Path, clock: FakeClock):
    """Runs of which nobody noted when they began go by their names, and before all others."""
    with begin(tmp_path, clock, "old") as journal:
        journal.sound(NOISE)
    old = open_run(tmp_path, journal.id)
    (tmp_path / "order.txt").unlink()
    with begin(tmp_path, clock, "new", now=lambda: datetime(2020, 1, 1, tzinfo=UTC)) as journal:
        journal.sound(NOISE)
    new = open_run(tmp_path, journal.id)
    with begin(tmp_path, clock, "newest", most_bytes=size_of(tmp_path) // 2):
        pass
    assert np.isnan(old.sound()).all()
    np.testing.assert_array_equal(new.sound(), NOISE)


def test_runs_that_are_heard_beside_one_another_share_the_budget(tmp_path: Path, clock: FakeClock):
    """Each looks at what the others have put there meanwhile, and none is left without any sound."""
    budget = 60_000
    running = [begin(tmp_path, clock, title, most_bytes=budget) for title in ("west", "east", "north")]
    for _ in range(6):
        for journal in running:
            journal.sound(NOISE[: 2 * RATE])
            assert size_of(tmp_path) <= budget
    for journal in running:
        journal.close()
        assert names_of_sound(journal)


def test_what_another_run_is_writing_is_not_taken_away(tmp_path: Path, clock: FakeClock):
    """A small budget beside it takes what is finished, and its sound goes on."""
    with begin(tmp_path, clock, "west") as west:
        west.sound(NOISE[: 5 * RATE])
        finished, written = names_of_sound(west)[:2], names_of_sound(west)[2:]
        with begin(tmp_path, clock, "east", most_bytes=1):
            pass
        assert names_of_sound(west) == written == ["000003.wav"]
        west.sound(NOISE[5 * RATE :])
        assert not west.failed
    np.testing.assert_array_equal(open_run(tmp_path, west.id).sound(4 * RATE), NOISE[4 * RATE :])
    assert len(finished) == 2


def test_a_run_longer_than_the_budget_keeps_its_end(tmp_path: Path, clock: FakeClock):
    """A run takes from its own beginning when nothing else is left to take."""
    with begin(tmp_path, clock, most_bytes=10_000) as journal:
        for _ in range(5):
            journal.sound(NOISE)
        assert not journal.failed
    assert size_of(tmp_path) <= 10_000
    heard = open_run(tmp_path, journal.id).sound()
    assert np.isnan(heard[: 10 * RATE]).all()
    np.testing.assert_array_equal(heard[-RATE:], NOISE[-RATE:])


def test_only_sound_around_events_is_kept(tmp_path: Path, clock: FakeClock):
    """Files that are near no event go as soon as none can come near; at the end only what is near is left."""
    near = Around(before=3.0, after=2.0)
    with begin(tmp_path, clock, around=near) as journal:
        for second in range(60):
            start = second % 7 * RATE
            journal.sound(NOISE[start : start + RATE])
            if second == 30:
                journal.event("state", 31.0, {})
                journal.event("alarm", 31.0, {})
            assert len(names_of_sound(journal)) <= 7
    run = open_run(tmp_path, journal.id)
    heard = ~np.isnan(run.sound())
    # Files of 2 s: from the one that holds 28 s to the one that holds 33 s.
    assert np.flatnonzero(heard)[[0, -1]].tolist() == [28 * RATE, 34 * RATE - 1]
    assert heard[28 * RATE :].all()
    assert [event.name for event in run.events()] == ["state", "alarm"]


def test_sound_that_is_not_kept_takes_no_room(tmp_path: Path, clock: FakeClock):
    """A long run in which nothing happens takes nothing away from older ones; what is kept of it may."""
    with begin(tmp_path, clock, "old") as journal:
        journal.sound(NOISE)
    old = open_run(tmp_path, journal.id)
    clock.advance(60)
    budget = round(1.5 * size_of(tmp_path))
    with begin(tmp_path, clock, around=Around(before=3.0, after=2.0), most_bytes=budget) as journal:
        for _ in range(6):
            journal.sound(NOISE)
        np.testing.assert_array_equal(old.sound(), NOISE)
        for second in range(42, 56):
            journal.event("alarm", float(second), {})
            journal.sound(NOISE[:RATE])
    assert size_of(tmp_path) <= budget
    assert np.isnan(old.sound(0, 2 * RATE)).all()
    np.testing.assert_array_equal(open_run(tmp_path, journal.id).sound(55 * RATE), NOISE[:RATE])


@pytest.mark.slow
def test_a_disk_that_is_really_full_harms_nothing(tmp_path: Path):
    """On a disk of its own with no room for sound: said once, hearing goes on, all but the sound is kept."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", str(disk)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small disk cannot be made here: it takes the right to mount one")
    try:
        heard = [*COMMAND, *shipped("slip_outline")]
        env = os.environ | {"CHIPSONG_HOME": str(disk)}
        run = subprocess.run([*heard, "--keep"], capture_output=True, text=True, check=False, env=env)
        other = subprocess.run(heard, capture_output=True, text=True, check=False)
        assert (run.returncode, run.stdout) == (3, other.stdout)
        assert run.stderr.count("\n") == 1
        assert "make room" in run.stderr
        for folder in (disk / "runs").iterdir():
            kept = open_run(disk, folder.name)
            assert kept.closed
            assert "alarm" in [event.name for event in kept.events()]
            assert np.isfinite(kept.sound()).all()
    finally:
        subprocess.run(["umount", str(disk)], check=True)
