"""Where the spindle was stopped though the program does not stop it, what was thought before is told."""

import numpy as np
import pytest
from place.sounding import plan_of, slots

from analysis.place.halts import Halts, Thought
from analysis.place.levels import AIR, ROWS
from analysis.place.track import Track

SECONDS, QUIET, LOUD = 0.4, -60.0, -30.0
TRACK = Track.of(
    plan_of(["G21 G90", "T1 M6", "S18000 M3", "G4 P3", "G0 Z6", *slots(24, 10.0), "M5", "M30"]), SECONDS / 2
)
MIDDLE, ENDS = len(TRACK) // 2, len(TRACK) - 20


def at(cell: int) -> Thought:
    """It is surely in one cell, and the air is known to be loud."""
    own = np.zeros((ROWS, 1), dtype=np.float32)
    own[AIR] = -40.0
    return Thought(cell, np.ones(1), own)


def halted(
    stands: float = 20.0, level: float | None = QUIET, *, cell: int = MIDDLE, misheard: bool = False
) -> tuple[Halts, Thought | None]:
    """What is told when it turns again after it stood for some seconds; it was thought to be in a cell."""
    halts = Halts(TRACK, SECONDS)
    for _ in range(60):
        halts.hear(LOUD, turns=True, thought=True)
        halts.think(at(cell))
    for _ in range(round(stands / SECONDS)):
        halts.hear(level, turns=False, thought=misheard)
        halts.think(at(0))
    found = [halts.hear(LOUD, turns=True, thought=False) for _ in range(5)]
    return halts, next((each for each in found if each), None)


def test_it_goes_on_where_it_was():
    """Or up to some seconds later, for a spindle takes time to be heard standing; and nowhere before."""
    halts, before = halted()
    assert before is not None
    there = np.flatnonzero(halts.goes_on(before, len(TRACK)))
    assert there[0] == MIDDLE
    assert (there[-1] - MIDDLE) * TRACK.step == pytest.approx(5.0, abs=0.5)


def test_where_somebody_tells_the_line_it_is_forgotten():
    """He knows better."""
    halts = Halts(TRACK, SECONDS)
    for _ in range(60):
        halts.think(at(MIDDLE))
    halts.forget()
    for _ in range(60):
        halts.hear(QUIET, turns=False, thought=False)
    assert not any(halts.hear(LOUD, turns=True, thought=False) for _ in range(9))


@pytest.mark.parametrize(
    "how",
    [
        {"stands": 2.0},
        {"level": LOUD},
        {"level": None},
        {"cell": ENDS},
        {"misheard": True},
    ],
    ids=[
        "for a moment",
        "as loud as before",
        "nothing heard",
        "where the program stops it",
        "in a loud shop",
    ],
)
def test_what_is_no_halt(how: dict):
    """It is misheard, or the program itself stops it."""
    assert halted(**how)[1] is None
