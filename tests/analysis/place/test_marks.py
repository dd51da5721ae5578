"""What became of each move, and the verdict on each part that follows."""

import numpy as np
import pytest
from trays import TRAYS, plan_of

from analysis.place import marks

WELL = marks.SEEN | marks.HEARD
MARKS = {"listen": WELL, "alarm": WELL | marks.SUSPECT, "deaf": 0}
FIRST, SECOND, THIRD = (part.first_line for part in TRAYS.parts)


def marked(states: dict[int, str]) -> marks.Marks:
    """The marks of moves when the watcher's state depends on the file line that is cut."""
    made = marks.unmarked(TRAYS)
    for first, state in sorted(states.items()):
        made[TRAYS.program.moves.file_line >= first] = MARKS[state]
    return made


def verdicts(states: dict[int, str], learned: frozenset[int] = frozenset({1, 2})) -> list[str]:
    """Verdicts of the three squares."""
    return [part.verdict for part in marks.verdicts(TRAYS, marked(states), learned)]


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        ({0: "listen"}, ["good", "good", "good"]),
        ({0: "listen", SECOND + 1: "alarm", THIRD: "listen"}, ["good", "suspect", "good"]),
        ({0: "listen", SECOND + 1: "deaf", THIRD: "listen"}, ["good", "unheard", "good"]),
        ({0: "listen", THIRD + 2: "alarm"}, ["good", "good", "suspect"]),
        ({0: "listen", FIRST + 2: "alarm", SECOND + 3: "deaf"}, ["suspect", "suspect", "unheard"]),
        ({0: "deaf"}, ["unheard", "unheard", "unheard"]),
        ({}, ["unheard", "unheard", "unheard"]),
    ],
    ids=["all is well", "alarm", "deaf", "alarm in the third", "up to an alarm", "deaf all along", "nothing"],
)
def test_verdicts(states: dict[int, str], expected: list[str]):
    """A part is good when all of its cut was heard, suspect when an alarm touched it, else unheard."""
    assert verdicts(states) == expected


def test_a_bit_without_a_baseline_was_not_heard():
    """What was cut by a bit whose normal is unknown is unheard, not good."""
    assert verdicts({0: "listen"}, frozenset({1})) == ["good", "good", "unheard"]
    assert verdicts({0: "listen"}, frozenset()) == ["unheard"] * 3


def test_what_was_not_reached_is_unheard():
    """A run that ends in the first square says nothing good of the others."""
    said = marks.verdicts(TRAYS, marked({0: "listen", SECOND: "deaf"}), frozenset({1, 2}))
    assert [part.verdict for part in said] == ["good", "unheard", "unheard"]
    assert [(part.first, part.last) for part in said] == [(p.first_line, p.last_line) for p in TRAYS.parts]


def test_a_part_that_takes_next_to_nothing_away_was_not_heard():
    """A square scratched 0.04 mm deep makes no sound that anybody could have listened to."""
    scratched = plan_of(
        "G21 G90 G54\nT1 M6\nS18000 M3\nG0 Z5\nX0 Y0\nG1 Z-0.04 F300\nX20\nY20\nX0\nY0\nG0 Z5\nX60 Y0\n"
        "G1 Z-3\nX80\nY20\nX60\nY0\nG0 Z5\nM2"
    )
    well = np.full_like(marks.unmarked(scratched), WELL)
    said = marks.verdicts(scratched, well, frozenset({1}))
    assert [part.verdict for part in said] == ["unheard", "good"]


def test_lines_seen_are_the_lines_passed_over():
    """A line is counted once, however many of its moves were passed over."""
    assert marks.lines_seen(TRAYS, marks.unmarked(TRAYS)) == 0
    made = marked({FIRST: "listen", SECOND: "deaf"})
    lines = TRAYS.program.moves.file_line
    assert marks.lines_seen(TRAYS, made) == len({line for line in lines.tolist() if FIRST <= line < SECOND})
