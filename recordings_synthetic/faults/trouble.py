"""What is wrong at each moment, in the terms of mechanics; which fault made it so does not matter here."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Looseness:
    """
    How loose the bit is at each of n moments.

    Attributes
    ----------
    eccentricity
        (n,) mm that the bit's axis is off by, beyond its ordinary runout.
    rocking
        (n,) by what share ``eccentricity`` differs from one turn to the next.
    pulled
        (n,) mm that the bit hangs lower.
    towards
        rad, where on the bit the eccentricity points.
    """

    eccentricity: Floats
    rocking: Floats
    pulled: Floats
    towards: float


def tight(count: int) -> Looseness:
    """Return a bit that is held."""
    nothing = np.zeros(count)
    return Looseness(nothing, nothing, nothing, 0.0)


@dataclass(frozen=True, eq=False)
class Swing:
    """
    Vibration of the bit along the feed, as it shows in the chip.

    Attributes
    ----------
    size
        (n,) by how much the chip becomes thicker and thinner, as a share of the feed per tooth.
    phase
        (n,) cycles.
    """

    size: Floats
    phase: Floats


@dataclass(frozen=True, eq=False)
class Noise:
    """
    What a fault itself adds to the sound, at n moments.

    Attributes
    ----------
    thumps
        (n,) N, force of blows, slow against the sound.
    bursts
        (n,) N, standard deviation of a hissing or cracking force.
    groan, groans
        (n,) N that would sound as loud as an axis' motor that groans, and the cycles that it has groaned.
    """

    thumps: Floats
    bursts: Floats
    groan: Floats
    groans: Floats


def silence(count: int) -> Noise:
    """Return no noise."""
    nothing = np.zeros(count)
    return Noise(nothing, nothing, nothing, nothing)


@dataclass(frozen=True, eq=False)
class Trouble:
    """
    What is wrong at each of n moments.

    Attributes
    ----------
    grown
        (n,) how far the fault has come, from 0 (nothing) to 1 (all that it will do); 0 outside its spell.
    loose
        How loose the bit is in its collet.
    lower
        (n,) mm that the bit's end is lower than the program says; negative when it is higher.
    offset
        (n, 3) mm by which the axes are not where the program says; ``None`` when they are.
    whine
        (n, 3) share of the axes' motors' whine that is left; ``None`` for all of it.
    speed
        (n,) the spindle's speed as a share of what it would be.
    grip
        (n,) by what the depth of the cut is multiplied, because the sheet gives way.
    chipped
        (n,) share of the first tooth's edge that is gone.
    wear
        (n,) how much more than a sharp edge the edges rub, as a multiple of what a sharp one does.
    rub
        (n,) share of the depth over which a bit that stands still in the wood rubs.
    swing
        Vibration that feeds itself; ``None`` when there is none.
    noise
        What else the fault adds.
    """

    grown: Floats
    loose: Looseness
    lower: Floats
    speed: Floats
    grip: Floats
    chipped: Floats
    wear: Floats
    rub: Floats
    noise: Noise
    offset: Floats | None = None
    whine: Floats | None = None
    swing: Swing | None = None

    @property
    def onset(self) -> int:
        """The last tick at which all is well before something is wrong; the first tick if nothing ever is."""
        return max(int(np.argmax(self.grown > 0.0)) - 1, 0)


def well(count: int) -> Trouble:
    """Return what is wrong while all is well: nothing."""
    nothing, all_of_it = np.zeros(count), np.ones(count)
    return Trouble(
        grown=nothing,
        loose=tight(count),
        lower=nothing,
        speed=all_of_it,
        grip=all_of_it,
        chipped=nothing,
        wear=nothing,
        rub=nothing,
        noise=silence(count),
    )
