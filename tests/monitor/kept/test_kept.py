"""What a run keeps of its job: the program as it was, the bits, and where the cut was over time."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from contract import Ended, shipped

from analysis.cutting import Bit
from monitor.journal import runs
from monitor.kept.job import bits_of, bits_to_plain, program_of
from monitor.kept.places import places_of


def test_a_kept_run_knows_its_program_bits_and_places(
    chipsong: Callable[..., Ended], home: Path, tmp_path: Path
):
    """Later, when the program's file is gone, the run still tells what was cut, with what, and when where."""
    words = shipped("slip_outline")
    at = words.index("--program") + 1
    path = tmp_path / "job.ngc"
    path.write_bytes(Path(words[at]).read_bytes())
    chipsong(*words[:at], path, *words[at + 1 :], "--keep", "--top", "0.5mm")
    path.unlink()
    (run,) = runs(home)
    program = program_of(run)
    assert program is not None
    assert program.name == "job.ngc"
    assert (program.top, program.top_said) == (0.5, 0.5)
    assert program_of(replace(run, meta={})).top_said is None  # of a run of old
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
    assert lines[0] < 16 < lines[-1] <= program.moves.file_line.max()
