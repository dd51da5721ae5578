"""The lines of a restart program are told as those of the original."""

import pytest

from analysis.errors import ProgramError
from analysis.program import read, restart_program, resume_at
from analysis.restarted import Restarted
from recordings_synthetic.job import seedling_trays

TRAYS = read(seedling_trays(), "trays")


@pytest.mark.parametrize("line", [1, 40, 120, 293, len(TRAYS.lines) - 3])
def test_each_line_of_its_body_is_the_same_text_in_the_original(line: int):
    """From the line with which it goes on to the last one; its head counts as that line."""
    text = restart_program(TRAYS, line).splitlines()
    restarted = Restarted.of(TRAYS, line)
    assert restarted is not None
    assert restarted.line == resume_at(TRAYS, line).file_line
    body = range(restarted.head + 1, len(text) + 1)
    assert len(body) == len(TRAYS.lines) - restarted.line + 1
    assert [text[number - 1] for number in body[1:]] == [
        TRAYS.lines[restarted.original(number) - 1] for number in body[1:]
    ]
    assert {restarted.original(number) for number in range(1, restarted.head + 2)} == {restarted.line}


def test_where_there_is_no_restart_there_are_no_lines_of_it():
    """A program that says no unit cannot be carried on with."""
    unsaid = read("G0 Z5\nG1 Z-1 F300\nX50\nG0 Z5\nG1 Z-1\nX90\nM30\n", "unsaid")
    with pytest.raises(ProgramError):
        restart_program(unsaid, 6)
    assert Restarted.of(unsaid, 6) is None
