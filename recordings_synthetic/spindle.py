"""
How fast the spindle really turns.

A number on a dial or in a program is not a speed: a real spindle is off by a constant share, wanders slowly
and gives way under load. Speed-regulated routers hardly slow down under light and medium load, unregulated
ones do (common practice).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic.chance import lag, wander

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spindle:
    """
    A spindle motor.

    Attributes
    ----------
    off
        Standard deviation of the constant error of its speed, as a share.
    wandering, memory
        Standard deviation of its slow wander, as a share, and for how long it remembers, s.
    droop
        By what share it slows under the load of ``rated``: about .002 when regulated, .05 when not.
    rated
        The load that it is rated for, N tangential force at the edges.
    answer
        How fast it gives way and recovers, s.
    rise, fall
        Time constants of spinning up and down, s.
    """

    off: float = 0.004
    wandering: float = 0.001
    memory: float = 1.5
    droop: float = 0.002
    rated: float = 10.0
    answer: float = 0.15
    rise: float = 0.5
    fall: float = 1.1


UNREGULATED = Spindle(off=0.015, wandering=0.003, droop=0.05)
"""A router whose motor is not regulated: it is off by more, wanders more and droops."""


def turning(command: Floats, load: Floats, step: float, spindle: Spindle, rng: np.random.Generator) -> Floats:
    """
    Return the spindle's speed over time.

    Parameters
    ----------
    command
        (n,) rpm asked for; 0 is off.
    load
        (n,) N, mean tangential force.
    step
        Seconds from one point to the next.
    spindle, rng
        What turns, and where its chance comes from.

    Returns
    -------
    (n,) turns per second.
    """
    error = spindle.off * float(rng.standard_normal())
    slow = spindle.wandering * wander(rng, len(command), step, memory=spindle.memory)
    keep = math.exp(-step / spindle.answer)
    felt = lag((1.0 - keep) * load, keep) / spindle.rated
    ideal = _follow(command / 60.0, step, spindle)
    return np.asarray(ideal * (1.0 + error + slow) * np.maximum(1.0 - spindle.droop * felt, 0.2))


def _follow(command: Floats, step: float, spindle: Spindle) -> Floats:
    """Return the speed of an unloaded spindle: exponentially towards each new command."""
    speed, held = np.zeros_like(command), 0.0
    edges = np.flatnonzero(np.diff(command)) + 1
    for first, last in zip([0, *edges], [*edges, len(command)], strict=True):
        goal = float(command[first])
        tau = spindle.rise if goal > held else spindle.fall
        past = np.arange(1, last - first + 1) * step
        speed[first:last] = goal + (held - goal) * np.exp(-past / tau)
        held = float(speed[last - 1])
    return speed


def turns(speed: Floats, step: float) -> Floats:
    """Return how many turns the spindle has made, shape (n,), from speeds in turns per second."""
    return np.concatenate([[0.0], np.cumsum(speed[:-1])]) * step
