"""
The pull of a bit whose mass turns beside the spindle's axis: once a turn, in the cut and in the air.

A bit as it sits in a good collet stands a little beside the axis as a whole. One that is loose is tilted
about the collet, so that its middle is half as far off as its end. The pull is mass x distance x (2 pi turns
a second)²; only the part below the collet counts.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.faults.trouble import Looseness
from recordings_synthetic.scene import Scene
from recordings_synthetic.tables import Tool

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex64]

DENSITY = 14.5e-6  # kg/mm³, tungsten carbide (from memory: 14 to 15 g/cm³ with the usual binder)
OVERHANG = 25.0  # mm below the collet, rough


@dataclass(frozen=True, eq=False)
class Balance:
    """
    The pull at n moments.

    Attributes
    ----------
    held
        (n,) N of the bit as it is held, a complex number; its angle is the bit's own direction.
    loose
        (n,) the same of what a loose collet adds.
    rocking
        (n,) by what share ``loose`` differs from one turn to the next.
    """

    held: Complexes
    loose: Complexes
    rocking: Floats

    def at(self, pick: NDArray[np.intp]) -> "Balance":
        """Return it at other ticks."""
        return Balance(self.held[pick], self.loose[pick], self.rocking[pick])


def balance(scene: Scene, loose: Looseness, speed: Floats) -> Balance:
    """Return the pull of a scene's bits at a ``speed`` of (n,) turns a second."""
    most = max(scene.tools, default=0)
    known = [scene.tools.get(number) for number in range(most + 1)]
    mass = np.array([_mass(tool) for tool in known])[scene.bit]
    beside = np.array([_beside(tool) for tool in known])[scene.bit]
    newtons = mass * (2.0 * math.pi * speed) ** 2 / 1000.0  # for each mm
    tilted = loose.eccentricity / 2.0 * np.exp(1j * loose.towards)
    return Balance(
        (newtons * beside).astype(np.complex64), (newtons * tilted).astype(np.complex64), loose.rocking
    )


def pull(turn: Floats, held: Complexes, loose: Complexes, rocking: Floats) -> Complexes:
    """
    Return the force in the machine's X and Y, as a complex number, N.

    Parameters
    ----------
    turn
        Turns that the spindle has made.
    held, loose, rocking
        See ``Balance``, at the same moments.
    """
    turned = 2.0 * math.pi * np.mod(turn, 2.0)
    beside = held + loose * (1.0 + rocking * np.cos(turned / 2.0))
    # The spindle turns clockwise as seen from above, as ``force`` has it.
    return np.asarray(1j * np.exp(-1j * turned) * beside, dtype=np.complex64)


def _mass(tool: Tool | None) -> float:
    """Return the mass below the collet, kg."""
    return 0.0 if tool is None else DENSITY * math.pi * tool.diameter**2 / 4.0 * OVERHANG


def _beside(tool: Tool | None) -> complex:
    """Return where the bit's middle is beside the axis, mm."""
    if tool is None:
        return 0j
    runout = tool.runout
    return complex(runout.eccentricity * np.exp(1j * runout.direction))
