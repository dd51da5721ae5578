"""The journal: what was handed over is there afterwards, under a name that can be read, and in time."""

from pathlib import Path

import numpy as np
import pytest
from journal_bench import COLUMNS, NOISE, RATE, begin

from analysis.errors import JournalError
from monitor.journal import Event, home, open_run, runs
from monitor.testing import FakeClock

# --- what is kept ---------------------------------------------------------------------------------------


def test_a_run_is_there_afterwards(tmp_path: Path, clock: FakeClock):
    """Title, start, rate, columns, what its maker wrote, events, rows, sound and summary come back."""
    with begin(tmp_path, clock) as journal:
        journal.event("state", 0.5, {"state": "learn", "because": "spindle heard ≥ 1 s"})
        journal.rows([0.1, 0.2], [[1, 2], [3, 4]])
        journal.rows([0.3], np.array([[5, np.nan]]))
        journal.sound(NOISE)
        journal.event("alarm", 2.0, {"line": {"file": 47}})
        journal.close({"alarms": 1})

    run = open_run(tmp_path, journal.id)
    assert (run.id, run.title, run.started) == ("2026-11-25-0931-outline", "outline", clock.now())
    assert (run.rate, run.columns, run.meta) == (RATE, COLUMNS, {"program": "outline.ngc"})
    assert (run.closed, run.summary) == (True, {"alarms": 1})
    assert run.events() == (
        Event(0.5, "state", {"state": "learn", "because": "spindle heard ≥ 1 s"}),
        Event(2.0, "alarm", {"line": {"file": 47}}),
    )
    at, values, columns = run.rows()
    np.testing.assert_array_equal(at, [0.1, 0.2, 0.3])
    np.testing.assert_array_equal(values, np.array([[1, 2], [3, 4], [5, np.nan]], dtype=np.float32))
    assert columns == COLUMNS
    np.testing.assert_array_equal(run.sound(), NOISE)


def test_text_that_is_none_is_kept_as_far_as_it_goes(tmp_path: Path, clock: FakeClock):
    """Names of files may hold bytes that are no UTF-8; they are replaced, and the run is kept."""
    odd = "teil_\udcfc"
    with begin(tmp_path, clock, odd) as journal:
        journal.event("notice", 0.5, {"said": odd, "half": "\ud83d"})
    run = open_run(tmp_path, journal.id)
    assert run.title == "teil_?"
    assert [event.body for event in run.events()] == [{"said": "teil_?", "half": "?"}]


def test_an_empty_run_is_a_run(tmp_path: Path, clock: FakeClock):
    """A run in which nothing was heard opens, with nothing in it."""
    begin(tmp_path, clock).close({})
    run = open_run(tmp_path, "2026")
    assert (run.events(), run.samples(), len(run.sound())) == ((), 0, 0)
    assert run.rows().values.shape == (0, 2)


def test_what_waits_is_not_changed_from_outside(tmp_path: Path, clock: FakeClock):
    """A caller may use its arrays again right away."""
    at, values = np.array([1.0]), np.array([[1.0, 2.0]], dtype=np.float32)
    with begin(tmp_path, clock) as journal:
        journal.rows(at, values)
        at[:], values[:] = 9, 9
    run = open_run(tmp_path, journal.id)
    assert (run.rows().at.tolist(), run.rows().values.tolist()) == ([1.0], [[1.0, 2.0]])


@pytest.mark.parametrize(("at", "values"), [([1.0], [[1.0]]), ([1.0, 2.0], [[1.0, 2.0]]), (1.0, [1.0, 2.0])])
def test_rows_of_the_wrong_shape_are_refused(tmp_path: Path, clock: FakeClock, at: object, values: object):
    """Rows that do not fit the columns are the caller's mistake, and harm nothing."""
    with begin(tmp_path, clock) as journal:
        with pytest.raises(ValueError, match=r"must be \(k,\) and \(k, 2\)"):
            journal.rows(at, values)  # type: ignore[arg-type]
        assert not journal.failed


# --- names ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Outline", "outline"),
        ("Trays & stands, side 2.ngc", "trays-stands-side-2-ngc"),
        ("../../etc", "etc"),
        ("", "run"),
        ("Stände", "st-nde"),
        ("x" * 99, "x" * 40),
    ],
)
def test_a_runs_name_can_be_read(tmp_path: Path, clock: FakeClock, title: str, name: str):
    """Its name is the minute it began and what its title has of letters and digits."""
    with begin(tmp_path, clock, title) as journal:
        assert journal.id == f"2026-11-25-0931-{name}"
        assert journal.folder.parent == tmp_path / "runs"


def test_runs_of_the_same_minute_are_numbered(tmp_path: Path, clock: FakeClock):
    """No run takes another's name."""
    names = []
    for _ in range(3):
        with begin(tmp_path, clock) as journal:
            names.append(journal.id)
    assert names == ["2026-11-25-0931-outline", "2026-11-25-0931-outline-2", "2026-11-25-0931-outline-3"]


def test_runs_come_newest_first(tmp_path: Path, clock: FakeClock):
    """Runs are listed by when they began, even within a minute and whatever their titles."""
    assert runs(tmp_path) == ()
    for title in ("b", "c", "a"):
        begin(tmp_path, clock, title).close()
        clock.advance(20)
    assert [run.title for run in runs(tmp_path)] == ["a", "c", "b"]


def test_a_run_is_opened_by_the_beginning_of_its_name(tmp_path: Path, clock: FakeClock):
    """A beginning is enough where only one run has it; a whole name goes before longer ones."""
    for title in ("outline", "outline", "stand"):
        begin(tmp_path, clock, title).close()
    assert open_run(tmp_path, "2026-11-25-0931-s").title == "stand"
    assert open_run(tmp_path, "2026-11-25-0931-outline").id == "2026-11-25-0931-outline"
    with pytest.raises(JournalError, match="'2026' may be any of 3 runs"):
        open_run(tmp_path, "2026")


def test_an_unknown_run_names_the_nearest(tmp_path: Path, clock: FakeClock):
    """A name with a slip is answered with what was probably meant."""
    with pytest.raises(JournalError, match="no run was kept in"):
        open_run(tmp_path, "any")
    begin(tmp_path, clock).close()
    begin(tmp_path, clock, "stand").close()
    with pytest.raises(JournalError, match=r"did you mean 2026-11-25-0931-outline"):
        open_run(tmp_path, "2026-11-25-0931-outlien")
    with pytest.raises(JournalError, match=r"did you mean 2026-11-25-0931-outline, 2026-11-25-0931-stand"):
        open_run(tmp_path, "")


def test_home_is_where_the_user_says(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    """CHIPSONG_HOME goes before the system's place, and asking makes nothing."""
    monkeypatch.setenv("CHIPSONG_HOME", str(tmp_path / "here"))
    assert home() == tmp_path / "here"
    monkeypatch.delenv("CHIPSONG_HOME")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert home().name == "chipsong"
    assert list(tmp_path.iterdir()) == []


# --- in time --------------------------------------------------------------------------------------------


def test_events_are_kept_at_once_and_rows_within_a_second(tmp_path: Path, clock: FakeClock):
    """Another process sees an event when it was handed over, and rows a second later."""
    with begin(tmp_path, clock) as journal:
        run = open_run(tmp_path, journal.id)
        journal.event("state", 0.0, {})
        assert len(run.events()) == 1
        journal.rows([0.1], [[1, 2]])
        clock.advance(0.9)
        journal.rows([0.2], [[1, 2]])
        assert len(run.rows().at) == 0
        clock.advance(0.2)
        journal.rows([0.3], [[1, 2]])
        assert len(run.rows().at) == 3
        assert not run.closed


def test_a_clock_that_is_set_back_does_not_stop_the_saving(tmp_path: Path, clock: FakeClock):
    """Rows are saved even when the clock on the wall goes an hour back, or stands still."""
    with begin(tmp_path, clock) as journal:
        run = open_run(tmp_path, journal.id)
        clock.advance(-3600)
        journal.rows([0.1], [[1, 2]])
        assert len(run.rows().at) == 1
        for number in range(1000):
            journal.rows([number], [[1, 2]])
        assert len(run.rows().at) == 1001


@pytest.mark.parametrize("summary", [None, {"at": 1.0, "alarms": 0}])
def test_a_run_goes_on_until_it_is_closed(tmp_path: Path, clock: FakeClock, summary: dict[str, float] | None):
    """As long as it is being kept that can be told, by any number that look; and no longer."""
    with begin(tmp_path, clock) as journal:
        assert [open_run(tmp_path, journal.id).is_going_on for _ in range(2)] == [True, True]
        journal.close(summary)
        assert not open_run(tmp_path, journal.id).is_going_on


def test_a_run_that_was_broken_off_is_not_closed(tmp_path: Path, clock: FakeClock):
    """Without a summary a run opens with all that it has, and does not count as brought to its end."""
    with begin(tmp_path, clock) as journal:
        journal.rows([0.1], [[1, 2]])
        journal.sound(NOISE[:900])
    run = open_run(tmp_path, journal.id)
    assert (run.closed, run.summary, len(run.rows().at), run.samples()) == (False, None, 1, 900)
