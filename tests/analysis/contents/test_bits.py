"""What each bit of a program does, against closed forms and published examples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.contents import BitUse, Contents, Tool, contents_of
from analysis.contents.bits import median_by
from analysis.cutting import Bit
from analysis.program import read

SIX = Tool(Bit("six", 6.0, 2, 18_000.0))
HEAD = "G21 G90\nT1 M6 (6 mm up-cut)\nS18000 M3\nG0 Z5\nG0 X0 Y0\n"
SLOT = HEAD + "G1 Z-3 F600\nG4 P1\nG1 X100 F3000\nG4 P1\nG0 Z5\nM5\nM30\n"
SQUARE = HEAD + "G1 Z-3 F600\nG1 X100 F2400\nY100\nX0\nY0\nG0 Z5\nM5\nM30\n"
PECKS = HEAD + "G83 X10 Y10 Z-9 R1 Q3 F900\nX30\nG80\nM30\n"


def contents(text: str, tool: Tool = SIX, material: str | None = None) -> Contents:
    """What is in a program that one bit cuts."""
    return contents_of(read(text, "job.ngc"), {0: tool}, material=material)


def only_bit(text: str, tool: Tool = SIX, material: str | None = None) -> BitUse:
    """What the one bit of a program does."""
    (bit,) = contents(text, tool, material).bits
    return bit


def test_the_time_of_a_cut_from_rest_to_rest_is_the_trapezoid_s():
    """100 mm at 50 mm/s with 500 mm/s² take 2.1 s (trapezoid), and the plunge its part below the top."""
    bit = only_bit(SLOT)
    # 8 mm down at 10 mm/s, from rest to rest at 500 mm/s²: 0.82 s, of which the last 3 mm are below the top.
    assert bit.cutting == pytest.approx(2.1 + 0.82 * 3 / 8)
    assert bit.kinds[0].kind == "slot"
    assert bit.kinds[0].seconds == pytest.approx(2.1)


def test_cutting_and_air_are_all_the_time_there_is():
    """The times of the only bit add up to the program's."""
    whole = contents(SQUARE)
    (bit,) = whole.bits
    assert bit.cutting + bit.air == pytest.approx(whole.seconds)
    assert bit.cutting == pytest.approx(whole.cutting)


def test_chip_load_is_feed_over_speed_and_flutes():
    """2400 mm/min at 18 000 rpm with two flutes make .06667 mm a tooth (common practice)."""
    chip = only_bit(SQUARE).chip
    assert chip is not None
    assert chip.across
    assert chip.load == pytest.approx(0.06667, abs=1e-5)


def test_depth_width_and_rate_are_those_of_the_slot():
    """A 6 mm slot 3 mm deep at 2400 mm/min takes away 43.2 cm³/min (width x depth x feed)."""
    usual = only_bit(SQUARE).usual
    assert usual is not None
    assert (usual.depth, usual.width) == (pytest.approx(3.0, abs=0.01), pytest.approx(1.0, abs=0.01))
    assert usual.rate == pytest.approx(43.2, rel=0.01)
    assert only_bit(SQUARE).deepest == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("diameter", "material", "low", "high"),
    [
        (25.4 / 4, "plywood", 0.006, 0.013),
        (25.4 / 4, "mdf", 0.010, 0.017),
        (25.4 / 4, "softwood", 0.010, 0.013),
        (25.4 / 4, "hardwood", 0.008, 0.011),
        (25.4 / 8, "plywood", 0.003, 0.006),
        (25.4 / 2, "mdf", 0.020, 0.027),
    ],
)
def test_the_charts_are_those_that_makers_publish(diameter: float, material: str, low: float, high: float):
    """Inch per tooth by diameter and material, for cuts up to one diameter deep (makers' charts)."""
    chip = only_bit(SQUARE, Tool(Bit("bit", diameter, 2, 18_000.0)), material).chip
    assert chip is not None
    assert chip.charted == (pytest.approx(25.4 * low), pytest.approx(25.4 * high))


def test_the_charts_ask_for_thinner_chips_in_deep_cuts():
    """At two diameters deep the range is a quarter less (makers' charts)."""
    chip = only_bit(SQUARE.replace("Z-3", "Z-12.7"), Tool(Bit("bit", 6.35, 2)), "plywood").chip
    assert chip is not None
    assert chip.charted == (
        pytest.approx(0.75 * 25.4 * 0.006, rel=1e-3),
        pytest.approx(0.75 * 25.4 * 0.013, rel=1e-3),
    )


@pytest.mark.parametrize("material", [None, "oak"])
def test_without_a_charted_material_there_is_no_range(material: str | None):
    """Where nobody said what is cut, or the charts say nothing of it, no range is made up."""
    chip = only_bit(SQUARE, material=material).chip
    assert chip is not None
    assert chip.charted is None


def test_a_bit_that_only_drills_is_told_as_such():
    """Pecks give a chip load straight down, to which the charts do not apply, and no feed across."""
    bit = only_bit(PECKS, material="plywood")
    assert (bit.across, bit.down) == (None, (900.0, 900.0))
    assert bit.chip is not None
    assert (bit.chip.across, bit.chip.charted) == (False, None)
    assert bit.chip.load == pytest.approx(900 / (18_000 * 2))
    assert [spell.kind for spell in bit.kinds] == ["down"]
    assert bit.deepest == pytest.approx(9.0)


def test_feeds_across_and_down_are_told_apart():
    """The least and the greatest feed of each are given."""
    bit = only_bit(SQUARE.replace("Y100", "Y100 F1200"))
    assert (bit.across, bit.down) == ((1200.0, 2400.0), (600.0, 600.0))


def test_the_program_says_the_speeds_unless_somebody_else_did():
    """Speeds come in the order of the program; the shelf's, or the user's, is what is to be expected."""
    text = SQUARE.replace("X0\nY0", "X0\nS12000\nY0")
    assert only_bit(text).speeds == (18_000.0, 12_000.0)
    assert only_bit(text).expected == (18_000.0, 12_000.0)
    stated = only_bit(text, Tool(Bit("six", 6.0, 2, 16_000.0), speed="said"))
    assert (stated.speeds, stated.expected) == ((18_000.0, 12_000.0), (16_000.0,))
    assert stated.chip is not None
    assert stated.chip.load == pytest.approx(2400 / (16_000 * 2))


def test_without_any_speed_there_is_no_chip_load():
    """A program without S, cut with a bit of unknown speed, has no chip load, and says no speed."""
    bit = only_bit(SQUARE.replace("S18000 M3", ""), Tool(Bit("six", 6.0, 2), speed="unknown"))
    assert (bit.chip, bit.speeds, bit.expected) == (None, (), ())


def test_a_bit_that_is_put_in_and_cuts_nothing_is_told():
    """A bit change without any cutting after it is no secret."""
    second = contents(SQUARE.replace("M5\nM30", "M5\nT7 M6 (engraver)\nM3\nG0 X50\nM30")).bits[1]
    assert (second.number, second.comment, second.cutting, second.chip) == (7, "engraver", 0.0, None)
    assert second.air > 0.0


def test_a_program_without_t_numbers_has_one_bit():
    """The bit is number 0, and what its comment would be is empty."""
    assert [bit.number for bit in contents(SQUARE.replace("T1 M6 (6 mm up-cut)", "")).bits] == [0]
    assert [(bit.number, bit.comment) for bit in contents(SQUARE).bits] == [(1, "6 mm up-cut")]


# --- the median -----------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.integers(-9, 9), st.integers(1, 5)), min_size=1, max_size=30))
def test_the_weighted_median_is_that_of_values_repeated(pairs: list[tuple[int, int]]):
    """A value of weight k counts like k values: at most half of all lie below, and at most half above."""
    values, weights = (np.array(column, dtype=np.float64) for column in zip(*pairs, strict=True))
    middle = median_by(values, weights)
    every = np.repeat(values, weights.astype(int))
    assert middle in values
    assert (every < middle).sum() <= len(every) / 2
    assert (every > middle).sum() <= len(every) / 2


def test_the_median_of_weightless_values_counts_them_alike():
    """Where no value has any weight, the middle one is taken."""
    assert median_by(np.array([3.0, 1.0, 2.0]), np.zeros(3)) == 2.0
