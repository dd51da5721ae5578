"""
When each move begins and ends: trapezoids of speed, with look-ahead over the corners.

A corner is passed at the speed at which a circle that touches both ways and cuts the corner by
`junction_deviation` can be gone around at the acceleration of the machine.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.program.moves import AXES_OF_PLANE, Kind, Moves
from analysis.program.waits import lasting

_STOPS = (Kind.DWELL, Kind.PAUSE, Kind.BIT_CHANGE)


@dataclass(frozen=True)
class Machine:
    """
    What the machine can do. The defaults are assumed, sane for a small gantry router; nobody measured them.

    Attributes
    ----------
    acceleration
        Of X, Y and Z, mm/s².
    top_speed
        Of X, Y and Z, mm/s.
    junction_deviation
        mm.
    """

    acceleration: tuple[float, float, float] = (500.0, 500.0, 500.0)
    top_speed: tuple[float, float, float] = (80.0, 80.0, 40.0)
    junction_deviation: float = 0.01


@dataclass(frozen=True, eq=False)
class Schedule:
    """
    The program's clock.

    Attributes
    ----------
    begin, end
        (n,) s from the program's start. Pauses and bit changes take no time here.
    """

    begin: NDArray[np.float64]
    end: NDArray[np.float64]


def schedule(moves: Moves, machine: Machine = Machine()) -> Schedule:
    """
    Return when each move begins and ends.

    Parameters
    ----------
    moves
        n moves.
    machine
        Limits per axis.

    Returns
    -------
    Schedule
        Arrays of shape (n,), s.

    Notes
    -----
    Ways are planned to stop at the start, at the end and around dwells and stops. Along a way an axis
    limits speed and acceleration by its share of the direction; an arc takes the smaller limit of its two
    axes, and its speed is also at most sqrt(acceleration x radius).
    """
    directions = _directions(moves)
    cruise, acceleration = _limits(moves, machine, directions[0])
    corner = _corner_speeds(moves, machine, directions, cruise, acceleration)
    entry, leave = _look_ahead(corner, acceleration, moves.length)
    seconds = _durations(moves, cruise, acceleration, entry, leave)
    end = np.cumsum(seconds)
    return Schedule(begin=end - seconds, end=end)


def corner_speeds(
    cosine: NDArray[np.float64], acceleration: NDArray[np.float64], deviation: float
) -> NDArray[np.float64]:
    """
    Return the speeds, mm/s, at which corners may be passed, shape (n,).

    Parameters
    ----------
    cosine
        (n,) of the angle by which the direction changes: 1 straight on, -1 straight back.
    acceleration
        (n,) mm/s².
    deviation
        By how much the corners may be cut, mm.
    """
    half = np.sqrt((1 + np.clip(cosine, -1, 1)) / 2)  # sin((pi - turn) / 2)
    speeds: NDArray[np.float64] = np.sqrt(acceleration * deviation * half / np.maximum(1 - half, 1e-12))
    return speeds


def _directions(moves: Moves) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the unit directions (n, 3) in which each move sets out and arrives; zero where it does not."""
    step = moves.end - moves.start
    length = np.maximum(np.sqrt((step**2).sum(axis=1)), 1e-12)
    out = step / length[:, None]
    arrive = out.copy()
    for code, axes in AXES_OF_PLANE.items():
        at = np.flatnonzero((moves.sweep != 0) & (moves.plane == code))
        if len(at):
            out[at] = _tangents(moves, at, axes, moves.start[at])
            arrive[at] = _tangents(moves, at, axes, moves.end[at])
    return out, arrive


def _tangents(
    moves: Moves, at: NDArray[np.intp], axes: tuple[int, int, int], point: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the unit direction of arcs at a point of theirs."""
    first, second, normal = axes
    arm = point - moves.centre[at]
    turn = np.sign(moves.sweep[at])
    along = np.zeros((len(at), 3))
    along[:, first] = -arm[:, second] * turn
    along[:, second] = arm[:, first] * turn
    flat = np.maximum(np.hypot(along[:, first], along[:, second]), 1e-12)
    rise = moves.end[at, normal] - moves.start[at, normal]
    share = rise / np.maximum(moves.length[at], 1e-12)
    along *= (np.sqrt(np.maximum(1 - share**2, 0)) / flat)[:, None]
    along[:, normal] = share
    return along


def _limits(
    moves: Moves, machine: Machine, out: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the speed, mm/s, at which each move would like to go, and its acceleration, mm/s²."""
    share = np.maximum(np.abs(out), 1e-12)
    for code, (first, second, _) in AXES_OF_PLANE.items():
        at = (moves.sweep != 0) & (moves.plane == code)
        share[at, first] = share[at, second] = 1.0
    acceleration = (np.array(machine.acceleration) / share).min(axis=1)
    cruise = (np.array(machine.top_speed) / share).min(axis=1)
    cruise = np.fmin(cruise, moves.feed / 60)
    arc = moves.sweep != 0
    radius = np.sqrt(((moves.start[arc] - moves.centre[arc]) ** 2).sum(axis=1))
    cruise[arc] = np.minimum(cruise[arc], np.sqrt(acceleration[arc] * radius))
    return cruise, acceleration


def _corner_speeds(
    moves: Moves,
    machine: Machine,
    directions: tuple[NDArray[np.float64], NDArray[np.float64]],
    cruise: NDArray[np.float64],
    acceleration: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the highest speed (n + 1,), mm/s, before, between and after the moves."""
    out, arrive = directions
    moving = (moves.length > 0) & ~np.isin(moves.kind, _STOPS)
    cosine = (arrive[:-1] * out[1:]).sum(axis=1)
    slower = np.minimum(acceleration[:-1], acceleration[1:])
    limit = corner_speeds(cosine, slower, machine.junction_deviation)
    corner = np.zeros(len(moves) + 1)
    corner[1:-1] = np.minimum(limit, np.minimum(cruise[:-1], cruise[1:]))
    corner[1:-1][~(moving[:-1] & moving[1:])] = 0.0
    return corner


def _look_ahead(
    corner: NDArray[np.float64], acceleration: NDArray[np.float64], length: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lower the corner speeds until each move can reach them from its neighbours; squares, mm²/s²."""
    gain = (2 * acceleration * length).tolist()
    squares = (corner**2).tolist()
    for i in range(len(gain) - 1, -1, -1):
        reach = squares[i + 1] + gain[i]
        squares[i] = min(squares[i], reach)
    for i, more in enumerate(gain):
        reach = squares[i] + more
        squares[i + 1] = min(squares[i + 1], reach)
    lowered = np.array(squares)
    return lowered[:-1], lowered[1:]


def _durations(
    moves: Moves,
    cruise: NDArray[np.float64],
    acceleration: NDArray[np.float64],
    entry: NDArray[np.float64],
    leave: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return seconds per move; `entry` and `leave` are squared speeds."""
    peak = np.minimum(cruise**2, (entry + leave) / 2 + acceleration * moves.length)
    moving = (moves.length > 0) & ~np.isin(moves.kind, _STOPS)
    top = np.sqrt(np.where(moving, peak, 1.0))
    ramps = (2 * top - np.sqrt(entry) - np.sqrt(leave)) / acceleration
    ramp_way = (2 * peak - entry - leave) / (2 * acceleration)
    seconds = ramps + np.maximum(moves.length - ramp_way, 0) / top
    return np.where(moving, seconds, lasting(moves))
