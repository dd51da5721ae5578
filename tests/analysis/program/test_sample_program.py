"""
A program with the facts of the sample program of NISTIR 6556, Appendix C.1.

The text of that program was not at hand. This one was laid out anew to have what is known of it: 61 numbered
lines with N0180 missing, five arcs that sweep +270, -360, -360, -77.364 and -180 degrees, the box, where it
ends, and its totals as worked out from the report. That it comes to these totals is by the choice of the
layout and proves nothing about the report's text; what is tested is that the reader measures rightly, against
the closed form of every length and a fine polygon.
"""

import math

import numpy as np
import pytest

from analysis.program import Kind, Machine, Program, read, schedule
from analysis.program.paths import flattened

HEAD = ["G21", "G90", "G17", "G40", "G49", "G80", "G94", "G54", "G98", "M48", "G61", "S1000", "M3", "F20"]
DOWN = ["G1 Z-0.5"]
UP = ["G0 Z2.5"]
BY_CENTRE = ("I0 J-5", "I5 J-6.244998", "I5 J0")
BY_RADIUS = ("R-5", "R8", "R5")


def source(arcs: tuple[str, str, str]) -> str:
    """Write the program; the arcs that are not whole circles end in the words given."""
    body = [
        ["G0 X5 Y10 Z50", *UP, *DOWN, f"G3 X10 Y5 {arcs[0]}"],
        [*UP, "X12 Y5", *DOWN, "G2 X12 Y5 I5 J0"],
        [*UP, "X14.5 Y5", *DOWN, "G2 X14.5 Y5 I2.5 J0"],
        [*UP, "X17 Y5", *DOWN, "X29"],
        [*UP, "X31 Y0", *DOWN, f"G2 X41 Y0 {arcs[1]}"],
        [*UP, "X42 Y0", *DOWN, "Y8", "X47", "Y0"],
        [*UP, "X48 Y0", *DOWN, f"G2 X58 Y0 {arcs[2]}"],
        [*UP, "X59 Y0", *DOWN, "X64"],
        [*UP, "X64 Y5", *DOWN, "Y8.3335", "X68", "Y5"],
        [*UP, "X73.433 Y5", *DOWN, "X81"],
        ["G0 Z50", "M5", "M2"],
    ]
    lines = [*HEAD, *(line for stroke in body for line in stroke)]
    names = [number for number in range(10, 10 * (len(lines) + 2), 10) if number != 180]
    return "\n".join(f"N{name:04d} {line}" for name, line in zip(names, lines, strict=True)) + "\n"


@pytest.fixture(params=[BY_CENTRE, BY_RADIUS], ids=["by centre", "by radius"])
def program(request) -> Program:
    """The program read, once with its arcs by I and J and once by R."""
    return read(source(request.param))


FED = ("PLUNGE", "CUT", "RAMP", "PECK")


def lengths(program: Program, *kinds: str) -> float:
    """Return the way of all moves of these kinds, mm."""
    return float(program.moves.length[np.isin(program.moves.kind, [Kind[kind] for kind in kinds])].sum())


def test_it_has_61_numbered_lines_without_n0180(program: Program):
    """Published: N0010 to N0620 in tens, N0180 missing."""
    words = [int(line.split()[0][1:]) for line in program.lines]
    assert len(words) == 61
    assert set(range(10, 621, 10)) - set(words) == {180}
    assert set(program.moves.word.tolist()) <= set(words)
    assert program.warnings == ()


def test_the_arcs_sweep_as_published(program: Program):
    """+270, -360, -360, -77.364 and -180 degrees; 77.364 is twice asin(5/8): a chord of 10 mm, radius 8."""
    sweeps = np.degrees(program.moves.sweep[program.moves.sweep != 0])
    assert sweeps == pytest.approx([270, -360, -360, -2 * math.degrees(math.asin(5 / 8)), -180], abs=1e-4)
    assert sweeps[3] == pytest.approx(-77.364, abs=5e-4)


def test_the_feed_path_is_as_long_as_published(program: Program):
    """183.430 mm, of which 30.0 plunging; in closed form from the layout too."""
    arcs = 5 * 1.5 * math.pi + 2 * math.pi * (5 + 2.5) + 8 * 2 * math.asin(5 / 8) + 5 * math.pi
    straight = 12 + (8 + 5 + 8) + 5 + (3.3335 + 4 + 3.3335) + (81 - 73.433)
    assert lengths(program, *FED) == pytest.approx(arcs + straight + 10 * 3, abs=1e-4)
    assert round(lengths(program, *FED), 3) == 183.430
    assert lengths(program, "PLUNGE") == pytest.approx(30.0)


def test_a_fine_polygon_is_as_long(program: Program):
    """Chords that lie within 0.002 mm of the arcs add up to the same way, a trace shorter."""
    fed = np.flatnonzero(np.isin(program.moves.kind, [Kind[kind] for kind in FED]))
    ways = [flattened(program.moves, int(i)) for i in fed]
    total = sum(float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum()) for way in ways)
    assert total < lengths(program, *FED)
    assert total == pytest.approx(lengths(program, *FED), rel=5e-4)


def test_the_traverses_are_as_long_as_published(program: Program):
    """202.053 mm, from zero to the first place, up and down, and across between the strokes."""
    first = math.sqrt(5**2 + 10**2 + 50**2)
    across = 2 + 2.5 + 2.5 + math.hypot(2, 5) + 1 + 1 + 1 + 5 + (73.433 - 68)
    assert lengths(program, "RAPID", "RETRACT") == pytest.approx(first + 47.5 + 9 * 3 + 50.5 + across)
    assert round(lengths(program, "RAPID", "RETRACT"), 3) == 202.053


def test_it_fills_the_published_box_and_ends_where_published(program: Program):
    """X 0 to 81, Y 0 to 10, Z -0.5 to 50; the last place is (81, 5, 50)."""
    ways = np.concatenate([flattened(program.moves, i) for i in range(len(program.moves))])
    assert ways.min(axis=0) == pytest.approx([0, 0, -0.5], abs=0.002)
    assert ways.max(axis=0) == pytest.approx([81, 10, 50], abs=0.002)
    assert program.moves.end[-1].tolist() == [81, 5, 50]


def test_feeding_takes_as_long_as_published(program: Program):
    """550.29 s at F20 on a machine that needs no time to change its speed, traverses left out."""
    boundless = Machine(acceleration=(1e15,) * 3, top_speed=(1e9,) * 3)
    plan = schedule(program.moves, boundless)
    fed = np.isfinite(program.moves.feed)
    assert (plan.end - plan.begin)[fed].sum() == pytest.approx(550.29, abs=0.005)
    assert plan.end[-1] == pytest.approx(550.29, abs=0.005)


def test_both_ways_of_writing_the_arcs_give_the_same_path():
    """By centre and by radius the five arcs have the same centres, to the decimals of I and J."""
    first, second = read(source(BY_CENTRE)).moves, read(source(BY_RADIUS)).moves
    assert np.allclose(first.centre, second.centre, atol=1e-5, equal_nan=True)
    assert np.allclose(first.sweep, second.sweep, atol=1e-6)
