"""Chip-load advice against the makers' charts that it is taken from (inch per tooth, as transcribed)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.cutting import MM_PER_INCH
from analysis.cutting_advice import CHARTED, chip_load_advice


def inches(diameter: float, material: str, depths: float | None = None) -> tuple[float, float]:
    """Return the advice in inch for a diameter in inch, at a depth of so many diameters."""
    depth = None if depths is None else depths * diameter * MM_PER_INCH
    advice = chip_load_advice(diameter * MM_PER_INCH, material, depth=depth)
    assert advice is not None
    return advice[0] / MM_PER_INCH, advice[1] / MM_PER_INCH


@pytest.mark.parametrize(
    ("diameter", "material", "low", "high"),
    [
        (1 / 8, "hardwood", 0.002, 0.005),
        (1 / 8, "softwood", 0.004, 0.006),
        (1 / 8, "plywood", 0.003, 0.006),
        (1 / 8, "mdf", 0.004, 0.007),
        (1 / 4, "hardwood", 0.008, 0.011),
        (1 / 4, "softwood", 0.010, 0.013),
        (1 / 4, "Plywood", 0.006, 0.013),
        (1 / 4, "MDF", 0.010, 0.017),
        (3 / 8, "hardwood", 0.014, 0.018),
        (3 / 8, "plywood", 0.015, 0.019),
        (3 / 8, "mdf", 0.014, 0.021),
        (1 / 2, "hardwood", 0.018, 0.021),
        (1 / 2, "plywood", 0.018, 0.023),
        (1 / 2, "mdf", 0.020, 0.027),
    ],
)
def test_the_charts(diameter: float, material: str, low: float, high: float):
    """At the charted diameters the advice is what the makers' charts say."""
    assert inches(diameter, material) == pytest.approx((low, high))


@pytest.mark.parametrize(("depths", "share"), [(0.3, 1.0), (1, 1.0), (1.5, 0.875), (2, 0.75), (3, 0.5)])
def test_deep_cuts(depths: float, share: float):
    """A quarter less at two diameters deep, half at three (makers' charts), in proportion between."""
    assert inches(1 / 4, "hardwood", depths) == pytest.approx((0.008 * share, 0.011 * share))


def test_between_diameters():
    """Half way between 1/8 and 1/4 in the range is half way too."""
    assert inches(3 / 16, "plywood") == pytest.approx((0.0045, 0.0095))


def test_metric_sizes_next_to_the_charted_ones():
    """3 mm and 12 mm bits are advised like 1/8 in and nearly like 1/2 in ones."""
    assert chip_load_advice(3.0, "plywood") == chip_load_advice(3.175, "plywood")
    twelve, half = chip_load_advice(12.0, "mdf"), chip_load_advice(12.7, "mdf")
    assert twelve == pytest.approx(half, rel=0.15)


@pytest.mark.parametrize(
    ("diameter", "material", "depth"),
    [
        (6.0, "granite", None),
        (1.0, "plywood", None),
        (25.0, "plywood", None),
        (12.0, "softwood", None),
        (6.0, "plywood", 19.0),
        (0.0, "plywood", None),
        (-3.0, "plywood", None),
        (math.nan, "plywood", None),
        (6.0, "plywood", math.nan),
    ],
)
def test_where_the_charts_say_nothing(diameter: float, material: str, depth: float | None):
    """No advice is better than a guess: other materials, sizes out of reach, cuts too deep."""
    assert chip_load_advice(diameter, material, depth=depth) is None


@given(st.sampled_from(sorted(CHARTED)), st.floats(2.6, 7.9), st.floats(2.6, 7.9), st.floats(0, 3))
def test_larger_bits_take_thicker_chips(material: str, one: float, other: float, depths: float):
    """At the same depth in diameters the range is one, and neither end of it falls with the diameter."""
    small, large = sorted((one, other))
    low, high = chip_load_advice(small, material, depth=depths * small)
    assert 0 < low < high
    above = chip_load_advice(large, material, depth=depths * large)
    assert above[0] >= low * (1 - 1e-9)
    assert above[1] >= high * (1 - 1e-9)
