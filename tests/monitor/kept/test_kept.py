"""What a run keeps of its job: the program as it was, the bits, and where the cut was over time."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from contract import Ended, shipped
from journal_bench import begin

from analysis.cutting import Bit
from monitor.journal import open_run, runs
from monitor.kept.heard import BIT, bit_at, bits_over_time
from monitor.kept.job import bits_of, bits_to_plain, program_of
from monitor.kept.places import places_of
from monitor.testing import FakeClock


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
    assert bits_over_time(run)[0][0] == 0.0
    assert lines[0] < 16 < lines[-1] <= program.moves.file_line.max()


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
    assert {at: bit_at(run, at) for at in cut} == cut
