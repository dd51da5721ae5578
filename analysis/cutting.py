"""
What a turning bit does: frequencies, chip load, surface speed, removal rate.

All formulas are common practice of the trade; ``tests/analysis/test_cutting.py`` holds published
examples of each.
"""

import math
from dataclasses import dataclass

MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Bit:
    """
    A cutting bit.

    Attributes
    ----------
    name
        What its owner calls it.
    diameter
        Cutting diameter, mm.
    flutes
        Number of cutting edges.
    speed
        Nominal spindle speed, rpm; ``None`` when nobody said.
    speeds
        All the speeds, rpm, where a program plainly changes it; empty where it keeps to one.
    """

    name: str
    diameter: float
    flutes: int
    speed: float | None = None
    speeds: tuple[float, ...] = ()


def spindle_frequency(speed: float) -> float:
    """Return turns per second (Hz) of a spindle at ``speed`` rpm."""
    return speed / 60.0


def tooth_pass_frequency(speed: float, flutes: int) -> float:
    """Return how often per second (Hz) a cutting edge passes, at ``speed`` rpm."""
    return flutes * spindle_frequency(speed)


def chip_load(feed: float, speed: float, flutes: int) -> float:
    """Return feed per tooth, in the length unit of ``feed`` (which is per minute)."""
    return feed / (speed * flutes)


def surface_speed(diameter: float, speed: float) -> float:
    """Return the speed of the cutting edge, m/min, for a ``diameter`` in mm at ``speed`` rpm."""
    return math.pi * diameter * speed / 1000.0


def speed_for(surface: float, diameter: float) -> float:
    """Return the spindle speed, rpm, at which a ``diameter`` in mm cuts at ``surface`` m/min."""
    return 1000.0 * surface / (math.pi * diameter)


def removal_rate(width: float, depth: float, feed: float) -> float:
    """Return material removed, cm³/min, from width and depth in mm and feed in mm/min."""
    return width * depth * feed / 1000.0


def chip_thinning(width: float, diameter: float) -> float:
    """Return by how much to raise the feed per tooth when less than half the diameter cuts."""
    if width >= diameter / 2:
        return 1.0
    return 1.0 / math.sqrt(1.0 - (1.0 - 2.0 * width / diameter) ** 2)


def engagement_angle(width: float, diameter: float) -> float:
    """Return the angle, rad, over which an edge is in the material at a radial ``width``."""
    return math.acos(1.0 - 2.0 * min(width, diameter) / diameter)
