"""What a run keeps of its job: the program as it was, the bits, and where the cut was over time."""

import json
import resource
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from contract import SHIPPED, Ended, shipped
from journal_bench import begin

from analysis.cutting import Bit
from monitor.journal import open_run, runs
from monitor.kept.heard import BIT, bit_at, bits_over_time
from monitor.kept.job import bits_of, bits_to_plain, keep_program, program_of
from monitor.kept.keeping import Keep, open_journal
from monitor.kept.places import places_of
from monitor.setup import Wanted, read_program
from monitor.testing import FakeClock


def test_a_kept_run_knows_its_program_bits_and_places(
    chipsong: Callable[..., Ended], home: Path, tmp_path: Path
):
    """Later, when the program's file is gone, the run still tells what was cut, with what, and when where."""
    words = shipped("slip_outline")
    at = words.index("--program") + 1
    path = tmp_path / "job.ngc"
    path.write_bytes(Path(words[at]).read_bytes())
    chipsong(*words[:at], path, *words[at + 1 :], "--keep", "--top", "0.5mm", "--units", "inch")
    path.unlink()
    (run,) = runs(home)
    program = program_of(run)
    assert program is not None
    assert program.name == "job.ngc"
    assert (program.top, program.top_said) == (0.5, 0.5)
    assert program.units == "inch"
    of_old = program_of(replace(run, meta={}))
    assert (of_old.top_said, of_old.units) == (None, None)
    assert bits_of(run)[0].flutes == 2
    bits = {0: Bit("steady", 6.0, 2), 3: Bit("changes", 6.0, 1, 16_000.0, (8000.0, 16_000.0))}
    told = json.loads(json.dumps(bits_to_plain(bits)))
    assert bits_of(replace(run, meta={"bits": told})) == bits
    # As it was kept before a bit could have several speeds.
    del told["0"]["speeds"]
    assert bits_of(replace(run, meta={"bits": told})) == bits
    places = places_of(run)
    assert [place.at for place in places] == sorted({place.at for place in places})
    lines = [place.line for place in places]
    assert bits_over_time(run)[0][0] == 0.0
    assert lines[0] < 16 < lines[-1] <= program.moves.file_line.max()


def test_a_program_is_kept_whole_or_not_at_all(
    home: Path, clock: FakeClock, capsys: pytest.CaptureFixture[str]
):
    """One that was cut off as the disk was full would be carried on to the middle of a number."""
    program = Path(SHIPPED / "slip_outline.ngc").read_bytes()
    with begin(home, clock) as journal, largest_file(len(program) // 2):
        keep_program(journal.folder, "job.ngc", program)
    assert program_of(open_run(home, journal.id)) is None
    assert "the program cannot be kept with the run" in capsys.readouterr().err
    assert not list(journal.folder.glob("program*"))


@contextmanager
def largest_file(size: int) -> Iterator[None]:
    """Let no file become larger than so many bytes."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_the_program_that_is_kept_is_the_one_that_was_read(home: Path, tmp_path: Path):
    """Whoever saves its file while the run begins changes nothing of what the run tells."""
    path, raw = tmp_path / "job.ngc", Path(SHIPPED / "slip_outline.ngc").read_bytes()
    path.write_bytes(raw)
    program = read_program(path, pytest.fail)
    path.write_bytes(b"G0 X1\nM30\n")
    journal = open_journal("job", Wanted(program=path), program, 1000, Keep())
    assert journal is not None
    journal.close({"at": 1.0, "alarms": 0})
    kept = program_of(open_run(home, journal.id))
    assert kept is not None
    assert kept.raw == raw


@pytest.mark.parametrize(
    ("noted", "cut"),
    [
        ([(0.0, 1), (20.0, 2)], {0.0: 1, 19.9: 1, 20.0: 2}),
        ([(1.0, 1), (20.0, 2)], {0.0: 1, 19.9: 1, 20.0: 2}),
        ([(20.0, 2)], {0.0: 0, 19.9: 0, 20.0: 2}),
        ([], {0.0: 0, 20.0: 0}),
    ],
    ids=["now", "of old", "first none was told", "never one was told"],
)
def test_which_bit_cut_is_known_from_the_first_moment_on(
    home: Path, clock: FakeClock, noted: list[tuple[float, int]], cut: dict[float, int]
):
    """Runs of old noted the first bit only once the first block of sound was heard."""
    with begin(home, clock) as journal:
        for at, bit in noted:
            journal.event(BIT, at, {"event": BIT, "at": at, "bit": bit})
    run = open_run(home, journal.id)
    bits = bits_over_time(run)
    assert {at: bit_at(at, bits) for at in cut} == cut
