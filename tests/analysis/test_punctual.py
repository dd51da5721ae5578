"""Whether each line is named when it begins."""

import numpy as np
import pytest

from analysis.ahead import Ahead
from analysis.cutting import Bit
from analysis.locate import Plan
from analysis.program import read
from analysis.punctual import Punctual

TEXT = "\n".join(
    ["G21 G90", "S18000 M3", "G0 X1 Y1 Z5", "G1 Z-1 F600"]
    + [f"G1 X{1 + line % 2 * 50} F1200" for line in range(80)]
    + ["G0 Z5", "M30"]
)
PLAN = Plan.of(read(TEXT, "back and forth"), {0: Bit("bit", 6.0, 2)})
# Each of these lines takes so long, s, and so much may go by.
LASTS, LATE = 2.5, 1.5
LINES = range(5, 85)


def said(reports: list[tuple[float, int]], ahead: int = 20) -> list[bool]:
    """Whether it lags, after each of some reports."""
    means, punctual, found = Ahead(PLAN, ahead), Punctual(LATE), []
    for at, line in reports:
        punctual.take(at, line, means)
        found.append(punctual.lags)
    return found


@pytest.mark.parametrize("ahead", [1, 20])
def test_lines_that_are_named_as_they_begin_are_punctual(ahead: int):
    """Said again and again, far ahead of the cut, with one in twenty lost, or begun anew further up."""
    lost = [(LASTS * n, line) for n, line in enumerate(LINES) if line % 20 != 15]
    assert not any(said([(at + more, line) for at, line in lost for more in (0.0, 0.05, 1.0)], ahead))
    assert not any(said([*lost[:40], *((200.0 + at, line) for at, line in lost)], ahead))


def test_what_a_control_reads_ahead_first_is_punctual():
    """It fills its memory at once, and then names a line each time that it has room."""
    filled = [(0.0, line) for line in LINES[:21]] + [
        (LASTS * n, line) for n, line in enumerate(LINES[21:], 1)
    ]
    assert not any(said(filled))
    assert said([(0.0, line) for line in LINES[:22]])[-1], "more than it may read ahead"


@pytest.mark.parametrize("each", [2, 5, 30])
def test_lines_that_wait_for_others_lag(each: int):
    """As soon as the second bunch is there, as long as they come so, and no longer."""
    bunches = [(LASTS * (n - n % each + each), line) for n, line in enumerate(LINES)]
    found = said(bunches)
    assert all(found[2 * each - 1 :])
    after = [(bunches[-1][0] + LASTS * n, line) for n, line in enumerate(LINES)]
    assert not said([*bunches, *after])[-1]


def test_lines_of_which_some_are_named_lag():
    """One that is named now and then tells nothing of those after it; short ones may go by."""
    assert said([(4 * LASTS * n, line) for n, line in enumerate(LINES[::4])])[-1]
    quick = Plan.of(read(TEXT.replace("F1200", "F9000"), "quick"), {0: Bit("bit", 6.0, 2)})
    lasts = float(np.diff(quick.times.begin).max())
    means, punctual = Ahead(quick, 20), Punctual(LATE)
    assert lasts < LATE
    for n, line in enumerate(LINES[::2]):
        punctual.take(2.0 * lasts * n, line, means)
    assert not punctual.lags


def test_without_a_program_nobody_knows():
    """How long a line takes is not known: then lines are taken for what is cut."""
    punctual = Punctual(LATE)
    for line in LINES:
        punctual.take(1.0, line, Ahead(None, 1))
    assert not punctual.lags
