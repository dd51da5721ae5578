"""What is said of a bit once the cut is carried on is counted as it was said."""

import math

import numpy as np
from bench_tightened import table
from bitbench.tightened import LATER, STATES, WITHIN, Carried, beginning

from analysis.locate import Plan
from analysis.program import read
from recordings_synthetic.job import BITS, seedling_trays

TIGHT, _, LOOSE = STATES


def test_verdicts_and_alarms_are_counted_by_what_was_so():
    """Counted by hand: a check that is silent is no verdict, and later alarms are counted apart."""
    said = [
        Carried(TIGHT, "tight", 3.0, alarmed=False, later=0, heard=1800.0),
        Carried(TIGHT, "doubtful", 5.0, alarmed=False, later=1, heard=1800.0),
        Carried(LOOSE, "loose", 3.5, alarmed=True, later=0, heard=36.0),
        Carried(LOOSE, "", math.nan, alarmed=True, later=2, heard=0.0),
    ]
    rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in table(said) if line.startswith("|")]
    (tight,) = (row for row in rows if row[0] == TIGHT)
    (loose,) = (row for row in rows if row[0] == LOOSE)
    assert tight[1:5] == ["1", "1", "0", "0"]
    assert loose[1:5] == ["0", "0", "1", "1"]
    assert [row[5].split(" (")[0] for row in (tight, loose)] == ["0 of 2", "2 of 2"]
    assert [row[6:] for row in (tight, loose)] == [["4.0 s", "1 in 1.00 h"], ["3.5 s", "2 in 0.01 h"]]
    assert len(rows) == 4, "a state of which there was nothing has no row"


def test_no_more_is_cut_than_is_heard():
    """A program is broken off where the bit goes up, as soon as it has cut for long enough, and ends."""
    program, bits = read(seedling_trays(), "job"), {0: BITS[1], **BITS}
    short = beginning(program, bits)
    assert short.lines[-2:] == ("M5", "M30")
    plan = Plan.of(short, bits)
    cutting = float((plan.times.end - plan.times.begin)[plan.cuts].sum())
    assert WITHIN < LATER <= cutting < LATER + 30.0
    assert np.array_equal(short.moves.end, program.moves.end[: len(short.moves)])
