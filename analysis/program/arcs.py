"""
Arcs: their centre and sweep from the two ways of writing them (NISTIR 6556, section 3.5.3).

All in the two coordinates of the arc's plane, in mm and rad.
"""

import math
from typing import TypeAlias

Flat: TypeAlias = tuple[float, float]


class BadArcError(ValueError):
    """The numbers make no arc; the text says why."""


def tolerance(scale: float) -> float:
    """Return the radius mismatch, mm, that the standard allows: 0.0002 in or 0.002 mm."""
    return 0.0002 * scale if scale > 1 else 0.002


def bearable(radius: float) -> float:
    """Return the radius mismatch, mm, up to which an arc is still followed, with a note."""
    return 0.05 + 0.001 * radius


def sweep_about(start: Flat, end: Flat, centre: Flat, *, clockwise: bool) -> float:
    """
    Return the angle, rad, through which the bit goes around a centre.

    Positive is anticlockwise. Where the ends are the same point it is a full turn.
    """
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    last = math.atan2(end[1] - centre[1], end[0] - centre[0])
    if math.dist(start, end) < 1e-6:
        return -math.tau if clockwise else math.tau
    turn = (last - first) % math.tau
    return turn - math.tau if clockwise else turn


def mismatch(start: Flat, end: Flat, centre: Flat) -> float:
    """Return by how much, mm, the end lies farther from the centre than the start, or nearer."""
    return abs(math.dist(start, centre) - math.dist(end, centre))


def centre_from_radius(start: Flat, end: Flat, radius: float, *, clockwise: bool, slack: float) -> Flat:
    """
    Return the centre of an arc given by its radius.

    Parameters
    ----------
    start, end
        mm; they must differ.
    radius
        mm; negative asks for the arc of more than half a turn.
    clockwise
        G2.
    slack
        By how much, mm, the ends may lie farther apart than the diameter.

    Raises
    ------
    BadArcError
        If the ends are the same point, or too far apart.
    """
    chord = math.dist(start, end)
    if chord < 1e-6:
        raise BadArcError("an arc by radius that ends where it starts has no one centre; write I and J")
    if chord > 2 * (abs(radius) + slack):
        raise BadArcError(f"the ends are {chord:.4g} mm apart, too far for a radius of {abs(radius):.4g} mm")
    rise = math.sqrt(max(radius * radius - chord * chord / 4, 0.0))
    side = -1.0 if clockwise == (radius > 0) else 1.0  # left of the way from start to end, or right
    along = ((end[0] - start[0]) / chord, (end[1] - start[1]) / chord)
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    return middle[0] - side * rise * along[1], middle[1] + side * rise * along[0]
