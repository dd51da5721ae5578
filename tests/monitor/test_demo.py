"""``chipsong demo``, whole: the cut, the alarm, the restart program, the pictures, the journal."""

import re
import resource
import shlex
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from contract import Ended
from live_watch import COMMAND

from analysis.program import read
from monitor.journal import open_run, runs
from monitor.kept.heard import hearing
from monitor.report import report_html
from monitor.story import tell
from recordings_synthetic.job import Tray, one_outline

Command = Callable[..., Ended]


def demo(out: Path) -> str:
    """Run the demo; return what it said."""
    done = subprocess.run([*COMMAND, "demo", "--out", out], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def spent() -> float:
    """Return the processor time of all processes that were started and have ended, s."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@pytest.mark.slow
def test_the_demo_ends_in_time_with_all_that_it_promises(tmp_path: Path):
    """
    In under 90 s of a processor it raises the alarm and leaves all that it lists.

    A restart program that reads, two pictures, a journal that opens, of which a small report can be made.
    """
    out = tmp_path / "my demo"
    begun = spent()
    said = demo(out)
    assert spent() - begun < 90.0

    assert "ALARM: THE BIT MAY BE LOOSE" in said
    written = [
        Path(line.strip()) for line in said.partition("Written:\n")[2].partition("\n\n")[0].splitlines()
    ]
    assert {path.name for path in written} >= {"timeline.png", "sheet.png", "seedling_trays.ngc"}
    assert all(path.exists() for path in written)
    for name in ("timeline.png", "sheet.png"):
        assert (out / name).read_bytes().startswith(b"\x89PNG")

    (restart,) = (path for path in written if path.name.startswith("restart-at-line-"))
    program = read(restart.read_text(), restart.name)
    resumed = re.search(r"Carry on from line (\d+)", said)
    assert resumed
    assert restart.name == f"restart-at-line-{resumed[1]}.ngc"
    assert 0 < len(program.moves) < len(read((out / "seedling_trays.ngc").read_text()).moves)

    to_type = shlex.split(said.splitlines()[-1].removeprefix("To see and hear it: "))
    assert to_type == [f"CHIPSONG_HOME={out}", "chipsong", "review"]

    run = open_run(out, written[-1].name)
    assert run.closed
    assert run.meta["hearing"] == hearing()
    assert [event.name for event in run.events()].count("alarm") == 1
    assert run.samples() / run.rate == pytest.approx(run.events()[-1].at, abs=0.01)

    assert len(report_html(tell(run))) < 5_000_000


def test_it_can_be_run_again_into_the_same_folder(
    chipsong: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """There it says the same, and lists the same but for the run: shown on a single outline."""
    monkeypatch.setattr("monitor.demo.seedling_trays", lambda: one_outline(Tray("tray", 12, 12, side=81.0)))
    words = ("demo", "--out", tmp_path / "out", "--line", 22)
    first = chipsong(*words)
    (run,) = runs(tmp_path / "out")
    again = chipsong(*words)
    assert (first.status, first.err, again.status, again.err) == (0, "", 0, "")
    assert "ALARM: THE BIT MAY BE LOOSE" in first.out
    (other,) = (one for one in runs(tmp_path / "out") if one.id != run.id)
    assert again.out == first.out.replace(str(run.folder), str(other.folder))


@pytest.mark.parametrize("name", ["seedling_trays.ngc", "sheet.png", "timeline.png"])
def test_a_persons_own_files_are_not_written_over(chipsong: Command, tmp_path: Path, name: str):
    """A folder with files of these names in which no demo ran is refused, and stays as it is."""
    (tmp_path / name).write_text("my own")
    ended = chipsong("demo", "--out", tmp_path)
    assert (ended.status, ended.out) == (1, "")
    assert ended.err == f"chipsong: {tmp_path / name} is there, and is not of a demo: choose another folder\n"
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [(name, "my own")]


def test_what_a_demo_left_that_was_stopped_is_its_own(chipsong: Command, tmp_path: Path):
    """The program that it writes first is no reason to refuse the folder the next time."""
    words = ("demo", "--out", tmp_path, "--line", 1)
    assert chipsong(*words).err == chipsong(*words).err
    assert (tmp_path / "seedling_trays.ngc").exists()


@pytest.mark.parametrize("line", [1, 99999])
def test_a_line_that_cuts_nothing_is_one_line(chipsong: Command, tmp_path: Path, line: int):
    """A line on which no bit can come loose: status 1, one line that says to choose another."""
    ended = chipsong("demo", "--out", tmp_path, "--line", line)
    assert ended == Ended(1, "", f"chipsong: no bit comes loose on line {line}: choose a line that cuts\n")


def test_a_folder_that_cannot_be_made_is_one_line(chipsong: Command, tmp_path: Path):
    """A file in the place of the folder: status 1, one line."""
    (tmp_path / "out").write_text("")
    ended = chipsong("demo", "--out", tmp_path / "out")
    assert (ended.status, ended.out) == (1, "")
    assert ended.err.startswith("chipsong: cannot make the folder")
    assert ended.err.count("\n") == 1
