"""What is typed after an option is taken as a person writes it, or it is said what to type."""

from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest
from contract import SHIPPED, Ended
from journal_bench import begin

from monitor.cli import cli
from monitor.journal import open_run
from monitor.kept.labels import misses
from monitor.testing import FakeClock
from monitor.typed import Number, Whole

Command = Callable[..., Ended]
PROGRAM = SHIPPED / "slip_outline.ngc"


def options(command: click.Command) -> Iterator[click.Parameter]:
    """Give the options of a command and of all below it."""
    yield from command.params
    if isinstance(command, click.Group):
        for each in command.commands.values():
            yield from options(each)


def test_every_number_is_asked_for_in_the_same_words():
    """No option has a number of click's own, which is refused in a programmer's words."""
    kinds = [option.type for option in options(cli)]
    numbers = (click.IntRange, click.FloatRange, type(click.INT), type(click.FLOAT))
    assert all(isinstance(kind, Number | Whole) for kind in kinds if isinstance(kind, numbers))
    assert sum(isinstance(kind, Number | Whole) for kind in kinds) > 20


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("watch", "--rpm", "18k"), "'18k' can't be used: type a number from 100 to 100000, in digits alone"),
        (("watch", "--rpm", "nan"), "'nan' can't be used: type a number from 100"),
        (("watch", "--rpm", "20"), "'20' can't be used: type a number from 100 to 100000"),
        (("watch", "--hours", "a day"), "'a day' can't be used: type a number from 0.1 to 100000, in digits"),
        (("tune", "six", "--hours", "inf"), "'inf' can't be used: type a number from 0.1 to 100000"),
        (("tune", "six", "--false-alarms", "1e9"), "'1e9' can't be used: type a number from 0.001 to 1000"),
        (("bits", "add", "six", "--tool", "T3"), "'T3' can't be used: type a whole number from 1 to 99999"),
        (
            ("bits", "change", "six", "--speed", "18k"),
            "'18k' can't be used: type a number from 100 to 100000",
        ),
        (("bits", "change", "six", "--speed", "18"), "type a number from 100 to 100000, in digits alone"),
        (("bits", "add", "six", "--speed", "1"), "without a letter or a unit; it is rpm, not thousands"),
        (("watch", "--rpm", "18"), "without a letter or a unit; it is rpm, not thousands"),
        (("resume", PROGRAM, "--line", "N300"), "it is the line of the file, not its N word"),
        (("label", "run", "first", "loose"), "'first' can't be used: type a whole number from 1 on"),
        (("label", "run", "--missed", "3 min"), "'3 min' can't be used: type a time as 3:27, or seconds"),
    ],
)
def test_what_is_no_number_is_told_what_to_type(chipsong: Command, words: tuple[object, ...], wanted: str):
    """One that is none or out of bounds is wrong usage, and refused with what can be typed instead."""
    ended = chipsong(*words)
    assert ended.status == 2
    assert wanted in ended.err
    assert not any(word in ended.err for word in ("float", "integer", "range"))


@pytest.mark.parametrize(
    ("typed", "at"), [("3:27", 207.0), ("207.25", 207.25), ("0:03:27.5", 207.5), ("1:00:05", 3605.0)]
)
def test_what_was_missed_is_said_as_the_lists_show_it(
    chipsong: Command, clock: FakeClock, home: Path, typed: str, at: float
):
    """A time as it is listed is taken, and so are seconds."""
    with begin(home, clock) as journal:
        journal.close({"at": 4000.0, "alarms": 0})
    assert chipsong("label", journal.id, "--missed", typed).status == 0
    assert misses(open_run(home, journal.id)) == {at: "loose"}
