"""`tune`: heard again at many limits, a table and a proposal, and nothing written but on yes."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from cluster_nodes import cluster
from contract import Ended

from analysis.events import Alarm
from analysis.tuning import FACTORS
from analysis.watcher import Settings
from monitor.journal import open_run, runs
from monitor.rehear.again import Judged, hear_again, tape_of

Command = Callable[..., Ended]


@pytest.fixture
def kept(comp_heard_once: Path, home: Path) -> tuple[str, str]:
    """Give the names of a good run and one with a slip, of a bit on a shelf with comments."""
    shutil.copytree(comp_heard_once, home)
    (home / "bits.toml").write_text(
        '# left drawer\n[[bit]]\nname = "comp" # sharp\ndiameter = 6\nflutes = 2\nkind = "compression"\n'
        'material = "plywood"\nspeed = 18000\n\n'
        '# old\n[[bit]]\nname = "other"\ndiameter = 3\nflutes = 1\nkind = "v"\n'
    )
    tight, slip = sorted((run.id for run in runs(home)), key=lambda name: "slip" in name)
    return tight, slip


@pytest.fixture
def few_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Try every third limit alone, the lowest and the highest among them: each is judged like any other."""
    monkeypatch.setattr("monitor.tuning.work.FACTORS", FACTORS[::3])
    assert (FACTORS[::3][0], FACTORS[::3][-1]) == (min(FACTORS), max(FACTORS))


def test_what_was_heard_is_judged_again_without_its_sound(kept: tuple[str, str], home: Path):
    """The alarms from what a watcher was told are those of the run heard again, at any limit."""
    for name in kept:
        run = open_run(home, name)
        tape = tape_of(run)
        for factor in (0.4, 1.0, 1.5):
            settings = Settings(factor=factor)
            heard = hear_again(run, Judged(settings=settings)).events
            wanted = [(event.at, event.onset, event.score) for event in heard if isinstance(event, Alarm)]
            assert [(alarm.at, alarm.onset, alarm.score) for alarm in tape.alarms(3, settings)] == wanted


def test_nothing_is_learned_from_runs_without_labels(chipsong: Command, kept: tuple[str, str]):
    """A run whose alarms nobody explained tells nothing, and one line says what to do."""
    assert kept
    ended = chipsong("tune", "comp", "--dry-run")
    assert (ended.status, ended.out) == (1, "")
    assert "no run with 'comp' in plywood is labelled: say of runs what they were" in ended.err
    assert ended.err.count("\n") == 1


@pytest.mark.usefixtures("few_limits")
def test_a_proposal_is_shown_and_written_only_on_yes(
    chipsong: Command, kept: tuple[str, str], home: Path, tmp_path: Path
):
    """Table, proposal and picture come first; on yes the limit is in the shelf, and all else as it was."""
    tight, slip = kept
    chipsong("label", tight, "--fine")
    chipsong("label", slip, 1, "loose")
    before = (home / "bits.toml").read_text()
    shown = chipsong("tune", "comp", "--dry-run", "--jobs", 2, "-o", tmp_path / "trade.png")
    assert (shown.status, shown.err) == (0, "")
    for said in (
        "comp: 2 labelled runs",
        "today",
        "proposed",
        "1 of 1",
        "mostly theory",
        "what the others propose",
    ):
        assert said in shown.out
    assert (tmp_path / "trade.png").stat().st_size > 10_000
    assert (home / "bits.toml").read_text() == before
    budget = ("--false-alarms", 60, "--hours", 1)
    told = json.loads(chipsong("tune", "comp", *budget, "--json").out)
    assert (home / "bits.toml").read_text() == before
    assert [run["fault"] for run in told["runs"]] == [False, True]
    assert told["runs"][1]["proposed"]["delay"] <= told["runs"][1]["today"]["delay"]
    assert chipsong("tune", "comp", *budget, "--yes").status == 0
    limit = told["proposal"]["factor"]
    assert limit != 1.0
    written = f"speed = 18000\nlimit = {limit}\nfalse_alarms = 60.0\nhours = 1.0\n"
    assert (home / "bits.toml").read_text() == before.replace("speed = 18000\n", written)
    assert "nothing would change" in chipsong("tune", "comp", "--dry-run").out


@pytest.mark.usefixtures("few_limits")
def test_a_run_is_learned_from_as_long_as_it_is_accepted(chipsong: Command, kept: tuple[str, str]):
    """That it was good is said by accepting it, and no more once that is taken back."""
    chipsong("accept", kept[0])
    assert "comp: 1 labelled run, " in chipsong("tune", "comp", "--dry-run").out
    chipsong("accept", "--undo", kept[0])
    assert "nothing was wrong" not in chipsong("label", kept[0]).out
    assert "no run with 'comp' in plywood is labelled" in chipsong("tune", "comp", "--dry-run").err


@pytest.mark.usefixtures("few_limits")
def test_runs_that_cannot_be_opened_are_named(chipsong: Command, kept: tuple[str, str], home: Path):
    """A damaged run may have been one to learn from: that it is passed over is said."""
    chipsong("label", kept[0], "--fine")
    (home / "runs" / kept[1] / "run.sqlite").write_bytes(b"no database" * 1000)
    ended = chipsong("tune", "comp", "--dry-run")
    assert ended.status == 0
    assert f"{kept[1]} is passed over: run {kept[1]} cannot be read" in ended.err


@pytest.mark.usefixtures("few_limits")
def test_where_no_limit_helps_nothing_is_proposed(
    chipsong: Command, kept: tuple[str, str], home: Path, tmp_path: Path
):
    """A false alarm at every limit is told as that, in plain numbers, and even on yes the shelf stays."""
    chipsong("label", kept[1], 1, "nothing")
    before = (home / "bits.toml").read_text()
    ended = chipsong("tune", "comp", "--yes", "-o", tmp_path / "trade.png")
    assert (ended.status, ended.err) == (0, "")
    assert (
        "No limit keeps this budget: at 1.7, the highest that was tried, 1 false alarm came in 0.0"
        in ended.out
    )
    assert "Nothing is proposed." in ended.out
    assert "Proposed" not in ended.out
    assert "e+" not in ended.out
    assert (home / "bits.toml").read_text() == before
    assert (tmp_path / "trade.png").stat().st_size > 10_000
    told = json.loads(chipsong("tune", "comp", "--json", "--yes").out)
    assert told["proposal"] is None
    assert [run["proposed"] for run in told["runs"]] == [None]
    assert (home / "bits.toml").read_text() == before


def test_one_run_is_not_several(chipsong: Command, kept: tuple[str, str]):
    """From a single labelled run it is told in the singular that this is little."""
    chipsong("label", kept[1], 1, "loose")
    said = chipsong("tune", "comp", "--dry-run").out
    assert "comp: 1 labelled run, " in said
    assert " of good cutting, 1 fault; " in said
    assert "That is mostly theory, for 1 run and " in said


@pytest.mark.usefixtures("few_limits")
def test_runs_are_heard_once_wherever_they_lie(
    chipsong: Command, kept: tuple[str, str], home: Path, tmp_path: Path
):
    """What a run tells is kept until it, its labels or the bit change; runs at an address tell the same."""
    tight, slip = kept
    chipsong("label", tight, "--fine")
    chipsong("label", slip, 1, "loose")
    words = ("tune", "comp", "--dry-run", "--json")
    first = chipsong(*words)
    again = chipsong(*words)
    assert (first.err, again.out) == ("", first.out)
    assert "2 of 2 were heard before" in again.err
    chipsong("label", tight, "--fine")
    assert "1 of 2 were heard before" in chipsong(*words).err
    (home / "runs").rename(tmp_path / "elsewhere")
    far = chipsong(*words, "--runs", f"file://{tmp_path / 'elsewhere'}")
    assert (far.status, far.err, far.out) == (0, "", first.out)


@pytest.mark.slow
@pytest.mark.usefixtures("few_limits")
def test_a_cluster_tunes_as_this_computer_does(chipsong: Command, kept: tuple[str, str], tmp_path: Path):
    """Runs that a cluster hears tell what they tell here, to the last digit of the proposal."""
    tight, slip = kept
    chipsong("label", tight, "--fine")
    chipsong("label", slip, 1, "loose")
    alone = chipsong("tune", "comp", "--dry-run", "--json")
    with cluster(tmp_path, 2, Path(__file__).parents[2]) as running:
        spread = chipsong("tune", "comp", "--dry-run", "--json", "--afresh", "--scheduler", running.address)
    assert (spread.status, spread.err) == (0, "")
    assert spread.out == alone.out
    assert json.loads(spread.out)["runs"]
