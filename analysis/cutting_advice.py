"""
How thick the chips of a router bit usually are: advice from makers' charts, never a reason for an alarm.

The charts of different makers differ by a factor of two to three at the same diameter, and say nothing
about the bit, the machine or the board at hand. What is outside a range is worth a thought, no more.
"""

from collections.abc import Mapping
from itertools import pairwise
from types import MappingProxyType

from analysis.cutting import MM_PER_INCH

CHARTED: Mapping[str, Mapping[float, tuple[float, float]]] = MappingProxyType(
    {
        "hardwood": MappingProxyType(
            {
                1 / 8: (0.002, 0.005),
                1 / 4: (0.008, 0.011),
                3 / 8: (0.014, 0.018),
                1 / 2: (0.018, 0.021),
            }
        ),
        "softwood": MappingProxyType({1 / 8: (0.004, 0.006), 1 / 4: (0.010, 0.013)}),
        "plywood": MappingProxyType(
            {
                1 / 8: (0.003, 0.006),
                1 / 4: (0.006, 0.013),
                3 / 8: (0.015, 0.019),
                1 / 2: (0.018, 0.023),
            }
        ),
        "mdf": MappingProxyType(
            {
                1 / 8: (0.004, 0.007),
                1 / 4: (0.010, 0.017),
                3 / 8: (0.014, 0.021),
                1 / 2: (0.020, 0.027),
            }
        ),
    }
)
"""Inch per tooth by material and diameter in inch, for cuts as deep as the bit is wide (makers' charts, read
in a third party's transcription)."""

REACH = 1.25
"""The smallest and largest charted diameters speak for diameters up to this factor beyond them (our own
choice: 3 mm and 12 mm bits are near enough to the charted 1/8 in and 1/2 in)."""


def chip_load_advice(
    diameter: float, material: str, *, depth: float | None = None
) -> tuple[float, float] | None:
    """
    Return the usual range of feed per tooth, mm, by makers' charts.

    Parameters
    ----------
    diameter
        Of the bit, mm.
    material
        One of `CHARTED`: ``hardwood``, ``softwood``, ``plywood``, ``mdf``; case does not matter.
    depth
        Of the cut, mm; one diameter if not given. The charts take 25 % off at two diameters and 50 % at
        three; between these, and between diameters, the range is interpolated linearly.

    Returns
    -------
    (low, high) or None
        ``None`` where the charts say nothing: an unknown material, a diameter beyond the charted ones, a
        cut deeper than three diameters.

    See Also
    --------
    analysis.cutting.chip_load : What a feed and a speed make.

    Examples
    --------
    A quarter-inch bit in plywood, .006 to .013 in:

    >>> low, high = chip_load_advice(6.35, "plywood")
    >>> round(low, 4), round(high, 4)
    (0.1524, 0.3302)
    """
    chart = CHARTED.get(material.strip().lower())
    if chart is None or not diameter > 0:
        return None
    share = _share_at(1.0 if depth is None else depth / diameter)
    inches = diameter / MM_PER_INCH
    if share is None or not min(chart) / REACH <= inches <= max(chart) * REACH:
        return None
    low, high = (_between(inches, {size: ends[end] for size, ends in chart.items()}) for end in (0, 1))
    return low * share * MM_PER_INCH, high * share * MM_PER_INCH


def _share_at(diameters_deep: float) -> float | None:
    """Return what is left of the charted chip load at a depth of so many diameters."""
    # Three diameters, worked out elsewhere, may come out a last digit more.
    if not diameters_deep <= 3.0 * (1.0 + 1e-9):
        return None
    return _between(diameters_deep, {1.0: 1.0, 2.0: 0.75, 3.0: 0.5})


def _between(at: float, known: Mapping[float, float]) -> float:
    """Return a value between known ones, linearly; beyond them the nearest."""
    places = sorted(known)
    if at <= places[0]:
        return known[places[0]]
    for left, right in pairwise(places):
        if at <= right:
            return known[left] + (known[right] - known[left]) * (at - left) / (right - left)
    return known[places[-1]]
