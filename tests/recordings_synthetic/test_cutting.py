"""What is cut is heard: slots, side cuts, tabs, pecks, plunges, corners, feeds."""

import numpy as np
import pytest
from simulated import BIT, EXACT, RATE, level, peak_near, turns_per_second

from analysis.program import Kind, read
from recordings_synthetic import Gantry, Recording, Straight, record, steady

BRISK = Gantry(lead=(0.3, 0.4), stop=(0.2, 0.3), spindle=EXACT.spindle)


def cut(lines: str, seed: int = 2) -> tuple[Recording, list[str]]:
    """Cut some lines with the plain bit at S18000; return the recording and the program's lines."""
    program = read(f"G21 G90 G17\nT1 M6\nS18000 M3\nG4 P2.5\nG0 Z5\n{lines}\nG0 Z5\nM5\nM2\n")
    return record(program, {1: BIT}, seed=seed, rate=RATE, machine=BRISK), list(program.lines)


def during(made: tuple[Recording, list[str]], line: str, margin: float = 0.08) -> np.ndarray:
    """Return the sound while a line is under way, without its ends."""
    recording, lines = made
    move = np.flatnonzero(recording.truth.file_line == lines.index(line) + 1)[0]
    begin, end = recording.truth.begin[move] + margin, recording.truth.end[move] - margin
    return recording.samples[round(begin * RATE) : round(end * RATE)]


def test_a_tab_is_quieter_than_what_is_beside_it():
    """Where the bit rises over a tab less is cut, and the level falls by more than 3 dB."""
    made = cut("G0 X0 Y0\nG1 Z-4 F600\nX30 F2400\nZ-1\nX50\nZ-4\nX90")
    tab = level(during(made, "X50"))
    assert tab < level(during(made, "X30 F2400")) - 3.0
    assert tab < level(during(made, "X90")) - 3.0


def test_a_deeper_pass_is_louder():
    """Of two slots the one that is twice as deep is louder by more than 2 dB."""
    made = cut("G0 X0 Y0\nG1 Z-2 F600\nX60 F2400\nG0 Z5\nG0 X0 Y20\nG1 Z-4 F600\nX61 F2400")
    assert level(during(made, "X61 F2400")) > level(during(made, "X60 F2400")) + 2.0


def test_a_peck_is_a_burst():
    """In a pecked hole it is loud while the bit goes down in the wood and quiet while it comes out."""
    recording, _ = cut("G99 G83 X0 Y0 Z-9 R1 Q3 F600\nG80")
    truth = recording.truth
    pecks = np.flatnonzero(truth.cutting & (truth.end - truth.begin > 0.2))
    assert len(pecks) == 3
    for peck in pecks:
        down = slice(round((truth.end[peck] - 0.15) * RATE), round(truth.end[peck] * RATE))
        out = slice(down.stop + round(0.03 * RATE), down.stop + round(0.1 * RATE))
        assert level(recording.samples[down]) > level(recording.samples[out]) + 4.0


def test_a_plunge_sounds_otherwise_than_a_slot():
    """Going straight down, the tooth-pass line stands out less against the whole sound than in a slot."""
    made = cut("G0 X0 Y0\nG0 Z1\nG1 Z-8 F500\nX80 F2400")
    tooth = 2.0 * turns_per_second(made[0])
    plunge, slot = (during(made, line) for line in ("G1 Z-8 F500", "X80 F2400"))
    share = [
        peak_near(sound[-RATE // 2 :], tooth, 6.0)[1] - level(sound[-RATE // 2 :]) for sound in (plunge, slot)
    ]
    assert share[0] < share[1] - 3.0


def test_corners_are_slower_and_quieter():
    """The machine slows down in a sharp corner, the chips become thinner, and for a moment it is quieter."""
    made = cut("G0 X0 Y0\nG1 Z-3 F600\nX60 F3600\nY60\nX0")
    recording, lines = made
    corner = recording.truth.end[np.flatnonzero(recording.truth.file_line == lines.index("X60 F3600") + 1)[0]]
    here = recording.samples[round((corner - 0.02) * RATE) : round((corner + 0.02) * RATE)]
    assert level(here) < level(during(made, "Y60", margin=0.3)) - 3.0


def test_more_feed_is_louder():
    """Twice the feed is twice the chip, and louder by more than 2 dB."""
    made = cut("G0 X0 Y0\nG1 Z-3 F600\nX60 F1500\nX140 F3000")
    assert level(during(made, "X140 F3000", 0.2)) > level(during(made, "X60 F1500", 0.2)) + 2.0


@pytest.mark.parametrize("width", [1.5, 3.0])
def test_climb_and_conventional_sound_different(width):
    """The same width on the other side pushes the other way: tooth-pass differs by more than 1 dB."""
    lines = []
    for climb in (True, False):
        side = Straight(seconds=6.0, cut_from=3.0, width=width, climb=climb)
        made = steady(BIT, seed=3, rate=RATE, cut=side, machine=EXACT)
        sound = made.samples[round(3.5 * RATE) :]
        lines.append(peak_near(sound, 2.0 * turns_per_second(made), 4.0)[1] - level(sound))
    assert abs(lines[0] - lines[1]) > 1.0


def test_the_stepping_motors_whine_follows_the_feed():
    """The whine stands at the rate of steps: 20 a mm, at whatever feed."""
    made = cut("G0 X0 Y0\nG1 X90 F1800\nX0 F2700")
    for line, feed in (("G1 X90 F1800", 1800.0), ("X0 F2700", 2700.0)):
        frequency, _, above = peak_near(during(made, line, 0.2), feed / 60.0 * 20.0, 6.0)
        assert frequency == pytest.approx(feed / 60.0 * 20.0, abs=4.0)
        assert above > 6.0


def test_a_peck_is_a_move_of_its_own():
    """The program's pecks are the moves that the truth calls cutting."""
    program = read("G21 G90\nT1 M6\nS18000 M3\nG4 P1\nG0 Z5\nG99 G83 X0 Y0 Z-9 R1 Q3 F600\nG80\nM5\nM2\n")
    truth = record(program, {1: BIT}, seed=1, rate=8000, machine=BRISK).truth
    assert set(program.moves.kind[truth.cutting].tolist()) == {int(Kind.PECK)}
