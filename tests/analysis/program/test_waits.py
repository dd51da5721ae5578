"""The wait for the spindle in what is written, for controls that read P as seconds and as milliseconds."""

import re

import numpy as np
import pytest
from restarting import restart_program

from analysis.program import Kind, read, recut_program, schedule
from analysis.program.waits import lasting

JOB = (
    "G21 G90 G54 G17\nT1 M6\nS18000 M3\n{wait}\nG0 Z10\nG0 X10 Y10\n{first}\nG0 Z10\nG0 X10 Y60\n"
    "G1 Z-3 F300\nX50\nG0 Z10\nM30\n"
)
MILLED = "G1 Z-3 F300\nX50"
DRILLED = "G82 X20 Y20 Z-3 R2 P1500 F300\nG80"


def written(wait: str, first: str = MILLED, spin_up: float = 5.0) -> list[str]:
    """Return a restart in the second cut, and a recut of it, of a program that waits so."""
    program = read(JOB.format(wait=wait, first=first))
    line = program.lines.index("G1 Z-3 F300", program.lines.index("G0 X10 Y60")) + 1
    return [
        restart_program(program, line, spin_up=spin_up),
        recut_program(program, ["part 2"], spin_up=spin_up),
    ]


def spin_up_of(text: str) -> float:
    """Return P of the wait that follows the start of the spindle."""
    found = re.search(r"^M3\nG4 P([0-9.]+)$", text, re.MULTILINE)
    assert found
    return float(found[1])


def said(text: str) -> str:
    """Return the comments in one line."""
    return " ".join(re.sub(r"[()]", " ", text).split())


@pytest.mark.parametrize("wait", ["", "G4 P0.5", "G4 P8", "G4 P99"])
def test_a_program_that_waits_seconds_gets_seconds(wait: str):
    """The wait is as long as was asked for; that a control may read it otherwise is said."""
    for text in written(wait):
        assert spin_up_of(text) == 5
        assert "a control that reads milliseconds waits too short" in said(text)


@pytest.mark.parametrize(
    ("wait", "spin_up", "word"),
    [("G4 P3000", 5, 5000), ("G4 P12000", 5, 12000), ("G4 P3000", 20, 20000), ("G4 P100", 2.5, 2500)],
)
def test_a_program_that_may_mean_milliseconds_gets_as_many(wait: str, spin_up: float, word: float):
    """In either reading the spindle gets what was asked for, and what the program gives it; it is said."""
    for text in written(wait, spin_up=spin_up):
        assert spin_up_of(text) == word
        assert f"written as P{word:g}, {word / 1000:g} s on a control that reads milliseconds" in said(text)
        assert f"Does yours read seconds, write P{spin_up:g} there instead." in said(text)


def test_the_wait_for_a_spindle_whose_speed_nobody_says_counts_as_well():
    """M3 starts it without S, too."""
    program = read(JOB.format(wait="G4 P12000", first=MILLED).replace("S18000 ", ""))
    assert spin_up_of(restart_program(program, program.lines.index("G0 X10 Y60") + 1)) == 12000


def test_a_wait_in_a_drilling_cycle_tells_it_too():
    """P of G82 is read as P of G4 is, and a long one is remarked on as well."""
    for text in written("G4 P2", DRILLED):
        assert spin_up_of(text) == 5000
    notes = [str(note) for note in read(JOB.format(wait="", first=DRILLED)).warnings]
    assert any("line 7, column 20: a wait of P1500 is taken as milliseconds, 1.5 s" in note for note in notes)


def test_a_bit_turns_at_the_bottom_of_a_hole_for_no_more_than_seconds():
    """It would burn it: P50 of a cycle means milliseconds, and so do all waits of the program then."""
    for text in written("G4 P2", DRILLED.replace("P1500", "P50")):
        assert spin_up_of(text) == 5000
    program = read(JOB.format(wait="G4 P2", first=DRILLED.replace("P1500", "P50")))
    assert lasting(program.moves)[program.moves.kind == Kind.DWELL].tolist() == [0.002, 0.05]
    (note,) = [note for note in program.warnings if "taken as milliseconds" in note.text]
    assert (note.line, note.word) == (7, "P50")
    for text in written("G4 P2", DRILLED.replace("P1500", "P0.5")):
        assert spin_up_of(text) == 5


def test_how_waits_are_taken_is_said_once():
    """Forty holes with the same wait are one remark."""
    holes = "\n".join(f"G82 X{x} Y20 Z-3 R2 P1500 F300" for x in range(40))
    notes = [note.text for note in read(JOB.format(wait="", first=f"{holes}\nG80")).warnings]
    assert sum("milliseconds" in note for note in notes) == 1


def test_times_go_by_the_same_reading_as_what_is_written():
    """G4 P3000 takes 3 s in the program's clock, as P3 does where nothing looks like milliseconds."""
    for waits in ("G4 P3000", "G4 P3"):
        moves = read(JOB.format(wait=waits, first=MILLED)).moves
        times, wait = schedule(moves), int(np.flatnonzero(moves.kind == Kind.DWELL)[0])
        assert times.end[wait] - times.begin[wait] == pytest.approx(3.0)


def test_a_slow_probe_tells_nothing_of_waits():
    """Its time is worked out from its feed, in seconds: P2 stays 2 s beside one of two minutes."""
    probe = "G38.2 Z-100 F55\nG92 Z0\nG0 Z20\nG4 P{}"
    for wait, takes in ((2, 2.0), (2000, 2.0)):
        program = read(JOB.format(wait=probe.format(wait), first=MILLED))
        probed, waited = lasting(program.moves)[program.moves.kind == Kind.DWELL].tolist()
        assert probed > 100
        assert waited == pytest.approx(takes)


def test_only_a_wait_after_a_start_is_one_for_the_spindle():
    """A long wait elsewhere tells that milliseconds may be meant, not how long the spindle needs."""
    for text in written("G4 P2", f"{MILLED}\nG0 Z10\nG4 P60000"):
        assert spin_up_of(text) == 5000
