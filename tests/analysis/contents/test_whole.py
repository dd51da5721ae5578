"""The whole of a program: times, stops, parts, units, and what is left out of very long ones."""

import numpy as np
import pytest
from generated import programs
from hypothesis import given, settings

from analysis.contents import Contents, Learned, Tool, contents_of
from analysis.contents.units import in_inches
from analysis.cutting import Bit
from analysis.errors import ShelfError
from analysis.program import cutting, read

TOOLS = {0: Tool(Bit("six", 6.0, 2, 18_000.0))}
TWO_BITS = """\
G21 G90
N10 T1 M6 (drill)
S16000 M3
G0 Z5
G81 X10 Y10 Z-6 R1 F600
X30
G80
M0
M5
T2 M6 (compression)
S18000 M3
G0 Z5
G0 X0 Y0
N90 G1 Z-6 F600
X40 F2400
Y20
X0
Y0
G0 Z5
M1
M30
"""


def contents(text: str, **said: object) -> Contents:
    """What is in a program."""
    return contents_of(read(text, "job.ngc"), TOOLS, **said)


def test_stops_are_told_with_their_lines():
    """Bit changes and pauses come in order, with file line, N-word and the bit in the spindle after it."""
    stops = contents(TWO_BITS).stops
    assert [(stop.what, stop.line, stop.word, stop.bit) for stop in stops] == [
        ("bit change", 2, 10, 1),
        ("pause", 8, None, 1),
        ("bit change", 10, None, 2),
        ("pause", 20, None, 2),
    ]
    assert [stop.at for stop in stops] == sorted(stop.at for stop in stops)


def test_bits_come_in_the_order_of_use():
    """Each bit has its own cutting."""
    first, second = contents(TWO_BITS).bits
    assert (first.number, first.comment, first.speeds) == (1, "drill", (16_000.0,))
    assert (second.number, second.comment, second.speeds) == (2, "compression", (18_000.0,))
    assert [spell.kind for spell in first.kinds] == ["down"]
    assert second.kinds[0].kind == "slot"


def test_a_part_has_the_bits_that_cut_it():
    """Holes inside an outline belong to it, with their bit; box, area and depth are the outline's."""
    whole = contents(TWO_BITS)
    (use,) = whole.parts
    assert use.bits == (1, 2)
    assert (use.part.box, use.part.area) == ((0, 0, 40, 20), pytest.approx(800))
    assert use.deepest == pytest.approx(6.0)
    assert use.seconds == pytest.approx(whole.cutting)


def test_of_long_programs_depth_and_width_are_left_out(monkeypatch: pytest.MonkeyPatch):
    """Above the stated number of moves nothing that follows from depth and width is told, all else is."""
    short = contents(TWO_BITS)
    monkeypatch.setattr("analysis.contents.whole.MOST_MOVES", 5)
    long = contents(TWO_BITS, material="plywood")
    assert (short.measured, long.measured) == (True, False)
    assert long.seconds == short.seconds
    assert [use.seconds for use in long.parts] == pytest.approx([use.seconds for use in short.parts])
    for bit, other in zip(long.bits, short.bits, strict=True):
        assert (bit.usual, bit.kinds, bit.baseline) == (None, (), None)
        assert bit.cutting == pytest.approx(other.cutting)
        assert (bit.deepest, bit.speeds) == (other.deepest, other.speeds)
        assert bit.chip is not None
    assert long.bits[1].chip.charted is not None


def test_a_program_that_cuts_nothing():
    """Air moves have a time, and no bits and parts."""
    whole = contents("G21 G90\nG0 Z5\nG0 X50\nM30")
    assert (whole.bits, whole.parts, whole.cutting) == ((), (), 0)
    assert whole.seconds > 0.5


def test_a_bit_without_a_diameter_is_refused():
    """The error names the bit."""
    with pytest.raises(ShelfError, match="nought"):
        contents_of(read(TWO_BITS), {0: Tool(Bit("nought", 0.0, 2))})


# --- units ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "inches"),
    [
        ("G20 G90", True),
        ("G21 G90", False),
        ("g 2 0\nG90", True),
        ("N5 G90G20", True),
        ("G020", True),
        ("(G20 is inches)\nG21", False),
        ("; G20\nG21", False),
        ("(never closed G20\nG21", False),
        ("G90", False),
        ("G21\nG1 F1\nG20", False),
    ],
)
def test_the_first_word_on_units_decides(head: str, inches: bool):
    """G20 says inches, wherever it stands on its line and however it is written, but not in a comment."""
    assert in_inches(read(f"{head}\nF10\nG1 X1\nM30")) is inches


def test_without_a_word_on_units_it_is_what_it_was_read_as():
    """Where the program does not say, the caller's word counts."""
    assert in_inches(read("G1 X1 F9\nM30", units="inch"))
    assert not in_inches(read("G21\nG1 X1 F9\nM30", units="inch"))


# --- what holds for any program -------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(programs())
def test_nothing_is_counted_twice(text: str):
    """Each bit is listed once, times and parts share out what there is, and all values are finite."""
    program = read(text)
    whole = contents_of(program, TOOLS)
    numbers = [bit.number for bit in whole.bits]
    assert sorted(numbers) == sorted(set(numbers))
    cuts = cutting(program.moves, program.top)
    assert set(program.moves.bit[cuts].tolist()) <= set(numbers) | {0}
    slack = 1e-6 * (1 + whole.seconds)
    assert sum(bit.cutting + bit.air for bit in whole.bits) <= whole.seconds + slack
    assert sum(bit.cutting for bit in whole.bits) == pytest.approx(whole.cutting)
    assert sum(use.seconds for use in whole.parts) <= whole.seconds + slack
    for bit in whole.bits:
        assert sum(spell.seconds for spell in bit.kinds) == pytest.approx(bit.cutting)
        told = (bit.cutting, bit.air, bit.deepest, *(bit.across or ()), *(bit.down or ()))
        assert np.isfinite(told).all()
        if isinstance(bit.baseline, Learned):
            assert 0 <= bit.baseline.begins < bit.baseline.done
            assert bit.baseline.first <= bit.baseline.last
            assert bit.baseline.done - bit.baseline.begins >= 3.0 - 1e-5
            assert program.moves.bit[bit.baseline.first] == bit.number
