"""What a run keeps of its job: the program as it was, the bits, and where the cut was over time."""

from collections.abc import Callable
from pathlib import Path

from contract import Ended, shipped

from monitor.journal import runs
from monitor.kept.job import bits_of, program_of
from monitor.kept.places import places_of


def test_a_kept_run_knows_its_program_bits_and_places(
    chipsong: Callable[..., Ended], home: Path, tmp_path: Path
):
    """Later, when the program's file is gone, the run still tells what was cut, with what, and when where."""
    words = shipped("slip_outline")
    at = words.index("--program") + 1
    path = tmp_path / "job.ngc"
    path.write_bytes(Path(words[at]).read_bytes())
    chipsong(*words[:at], path, *words[at + 1 :], "--keep")
    path.unlink()
    (run,) = runs(home)
    program = program_of(run)
    assert program is not None
    assert program.name == "job.ngc"
    assert bits_of(run)[0].flutes == 2
    places = places_of(run)
    assert [place.at for place in places] == sorted({place.at for place in places})
    lines = [place.line for place in places]
    assert lines[0] < 16 < lines[-1] <= program.moves.file_line.max()
