"""The lines of a restart program are told as those of the original."""

from collections.abc import Sequence

import pytest
from restarting import restart_program

from analysis.errors import ProgramError
from analysis.program import read, resume_at
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


def named(lines: Sequence[str], begin: int, *, every: bool, ahead: int) -> list[int]:
    """The lines that a controller names as it executes a program from a line on."""
    does = [not line.startswith(("(", "%")) and bool(line) for line in lines]
    numbers = [number for number in range(begin, len(lines) + 1) if every or does[number - 1]]
    return numbers[ahead : 200 + ahead]


def first_told(restarted: Restarted, lines: Sequence[int], ahead: int) -> bool | None:
    """What is told first of which of the two is run."""
    told = (restarted.tells(line, ahead) for line in lines)
    return next((which for which in told if which is not None), None)


@pytest.mark.parametrize("ahead", [0, 1, 20])
@pytest.mark.parametrize("every", [True, False], ids=["every line", "those that it executes"])
@pytest.mark.parametrize("line", [14, 40, 60, 120, 293])
def test_which_of_the_two_is_run_is_told_rightly_or_not_at_all(line: int, ahead: int, *, every: bool):
    """Whatever lines a controller names of either program, none tells that it is the other one."""
    restarted = Restarted.of(TRAYS, line)
    assert restarted is not None
    text = restart_program(TRAYS, line).splitlines()
    own = first_told(restarted, named(text, 1, every=every, ahead=ahead), ahead)
    other = first_told(restarted, named(TRAYS.lines, restarted.line, every=every, ahead=ahead), ahead)
    assert own is not False
    assert other is not True
    if restarted.line > restarted.head + 1 + ahead:
        assert (own, other) == (True, False)


@pytest.mark.parametrize("ahead", [0, 1, 10])
def test_where_its_head_does_nothing_no_controller_stays_that_runs_it(ahead: int):
    """Of its own lines one that executes them names none there; of the original's some are named there."""
    restarted = Restarted.of(TRAYS, 25)
    assert restarted is not None
    assert 1 + 10 < restarted.line < restarted.does[0] < restarted.head
    text = restart_program(TRAYS, 25).splitlines()
    own = named(text, 1, every=False, ahead=ahead)
    assert not any(restarted.idles(line, ahead) for line in own)
    original = named(TRAYS.lines, restarted.line, every=True, ahead=ahead)
    assert sum(restarted.idles(line, ahead) for line in original) > 1


def test_what_a_line_may_mean_while_nobody_knows():
    """Both, the earlier one first; one alone once it is known."""
    restarted = Restarted(14, 44, does=(29, 30, 44), last=90)
    assert restarted.meant(46, restart=None) == (15, 46)
    assert restarted.meant(46, restart=True) == (15,)
    assert restarted.meant(46, restart=False) == (46,)
    assert restarted.meant(30, restart=None) == (14, 30)
