"""A restart and a recut are told as what they are: their parts have other numbers than the original's."""

import pytest

from analysis.program import Program, carry_on, find_parts, read, recut_program
from analysis.program.rewritten import counted_anew
from recordings_synthetic.job import seedling_trays

ORIGINAL = read(seedling_trays(), "trays.ngc")


def restarted() -> Program:
    """Return a restart program from where the first part is done."""
    return read(carry_on(ORIGINAL, 293).text, "rest.ngc")


@pytest.mark.parametrize(
    ("program", "title"),
    [
        (restarted(), "RESTART of trays.ngc from file line 293"),
        (read(recut_program(ORIGINAL, ["part 2"]), "again.ngc"), "RECUT of trays.ngc: part 2"),
    ],
)
def test_what_was_written_here_is_told(program: Program, title: str):
    """The remark names the original and stands at the line that does; parts are indeed fewer."""
    told = counted_anew(program)
    assert told is not None
    assert told.text.startswith(title)
    assert "its parts are counted anew" in told.text
    assert title in program.lines[told.line - 1]
    assert len(find_parts(program)) < len(find_parts(ORIGINAL))


def test_any_other_program_is_not():
    """The original is none of these, nor one that speaks of a restart somewhere else."""
    assert counted_anew(ORIGINAL) is None
    assert (
        counted_anew(read("(no RESTART of anything)\nG21 G90\nG0 Z5\nG1 Z-1 F100\nX9\nG0 Z5\nM30\n")) is None
    )
