"""
The arithmetic of cutting against examples that others worked.

Where a maker's chart or a handbook is the source, only the figures are taken.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.cutting import (
    MM_PER_INCH,
    Bit,
    chip_load,
    chip_thinning,
    engagement_angle,
    removal_rate,
    speed_for,
    spindle_frequency,
    surface_speed,
    tooth_pass_frequency,
)


def test_spindle_and_tooth_pass_frequency():
    """18 000 rpm with 2 flutes: the spindle at 300 Hz, the teeth at 600 Hz (common practice)."""
    assert spindle_frequency(18_000) == 300.0
    assert tooth_pass_frequency(18_000, flutes=2) == 600.0


@pytest.mark.parametrize(
    ("dial", "heard"),
    [(10_020, 167), (11_580, 193), (14_580, 243), (16_500, 275), (19_320, 322), (21_780, 363)],
)
def test_a_router_heard_with_a_spectrum_display(dial: float, heard: float):
    """The six settings of an unloaded router's dial, measured by ear (a hobbyist's published report)."""
    assert spindle_frequency(dial) == pytest.approx(heard)


@pytest.mark.parametrize(
    ("feed", "speed", "chip", "tolerance"),
    [(100, 10_000, 0.005, 1e-12), (250, 13_000, 0.0096, 5e-5), (600, 10_000, 0.030, 1e-12)],
)
def test_chip_load_in_inches(feed: float, speed: float, chip: float, tolerance: float):
    """Published examples for two flutes, inches per minute and inches per tooth."""
    assert chip_load(feed, speed, flutes=2) == pytest.approx(chip, abs=tolerance)


def test_a_slot_in_plywood():
    """2400 mm/min at 18 000 rpm, two flutes, a slot 6 mm wide and 3 mm deep (recomputed by hand)."""
    assert chip_load(2400, 18_000, flutes=2) == pytest.approx(0.06667, abs=5e-6)
    assert removal_rate(width=6, depth=3, feed=2400) == pytest.approx(43.2)
    assert surface_speed(diameter=6, speed=18_000) == pytest.approx(339.29, abs=5e-3)


def test_speed_and_feed_of_a_12_mm_bit():
    """25 m/min on 12 mm is 663 rpm; .065 mm a tooth is then 86 (2 teeth) or 129 mm/min (3) (published)."""
    speed = speed_for(surface=25, diameter=12)
    assert speed == pytest.approx(663, abs=0.5)
    assert chip_load(86, speed, flutes=2) == pytest.approx(0.065, abs=5e-4)
    assert chip_load(129, speed, flutes=3) == pytest.approx(0.065, abs=5e-4)


@pytest.mark.parametrize(("part", "factor"), [(0.35, 1.048), (0.10, 1.667), (0.05, 2.294)])
def test_chip_thinning(part: float, factor: float):
    """1 / sqrt(1 - (1 - 2 ae/D)²), with the factors that makers' charts print."""
    assert chip_thinning(width=part * 6, diameter=6) == pytest.approx(factor, abs=5e-4)


def test_no_thinning_from_half_the_diameter_on():
    """At half the diameter and beyond each tooth reaches its full chip."""
    assert chip_thinning(3, 6) == 1.0
    assert chip_thinning(6, 6) == 1.0
    assert chip_thinning(2.999, 6) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(("of_radius", "degrees"), [(0.2, 36.87), (0.5, 60.0), (1.0, 90.0), (2.0, 180.0)])
def test_engagement_angle(of_radius: float, degrees: float):
    """acos(1 - ae/r), recomputed by hand."""
    assert math.degrees(engagement_angle(of_radius * 3, diameter=6)) == pytest.approx(degrees, abs=5e-3)


def test_engagement_is_never_more_than_half_a_turn():
    """A cut wider than the bit is a slot to it."""
    assert engagement_angle(10, diameter=6) == pytest.approx(math.pi)


@given(diameter=st.floats(0.5, 50), surface=st.floats(1, 2000))
def test_speed_for_undoes_surface_speed(diameter: float, surface: float):
    """The speed that is found for a surface speed gives that surface speed."""
    assert surface_speed(diameter, speed_for(surface, diameter)) == pytest.approx(surface)


@given(feed=st.floats(1, 20_000), speed=st.floats(1000, 40_000), flutes=st.integers(1, 6))
def test_the_feed_is_one_chip_per_tooth_pass(feed: float, speed: float, flutes: int):
    """Chip load times tooth-pass frequency is the feed per second."""
    assert chip_load(feed, speed, flutes) * tooth_pass_frequency(speed, flutes) == pytest.approx(feed / 60)


@given(feed=st.floats(1, 1000), speed=st.floats(1000, 40_000))
def test_chip_load_keeps_the_unit(feed: float, speed: float):
    """Inches in, inches out; millimetres in, millimetres out."""
    in_mm = chip_load(feed * MM_PER_INCH, speed, flutes=2)
    assert in_mm == pytest.approx(MM_PER_INCH * chip_load(feed, speed, flutes=2))


def test_a_bit_may_have_no_stated_speed():
    """A dial's number is not a speed: a bit may leave it to the sound."""
    assert Bit("trays, quarter inch", diameter=6.35, flutes=2).speed is None
