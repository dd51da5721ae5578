"""
A slow second opinion on what moves cut: a disc stamped at very small steps on a plain square map.

It shares nothing with the program's own way of cutting: no capsules, no crescents, no turned map.
"""

import math

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float, float]


def helix(
    start: Point, turn: float, radius: float, down: float, *, apart: float = 0.05
) -> NDArray[np.float64]:
    """Return points on a helix that begins at `start`, with its axis `radius` to the left in X."""
    count = math.ceil(radius * abs(turn) / apart) + 1
    share = np.linspace(0.0, 1.0, count)
    x = start[0] - radius + radius * np.cos(turn * share)
    return np.stack([x, start[1] + radius * np.sin(turn * share), start[2] - down * share], axis=1)


def line(start: Point, end: Point, *, apart: float = 0.05) -> NDArray[np.float64]:
    """Return points on a line."""
    count = math.ceil(math.dist(start, end) / apart) + 1
    return np.linspace(start, end, count)


def volumes(ways: list[NDArray[np.float64]], radius: float, cell: float = 0.1) -> list[float]:
    """Return what each way takes off a sheet with its top at Z 0, mm³."""
    points = np.concatenate(ways)
    low = points[:, :2].min(axis=0) - radius - cell
    high = points[:, :2].max(axis=0) + radius + cell
    x = np.arange(low[0] + 0.37 * cell, high[0], cell)[None, :]
    y = np.arange(low[1] + 0.61 * cell, high[1], cell)[:, None]
    surface = np.zeros((y.shape[0], x.shape[1]))
    taken = []
    for way in ways:
        before = surface.sum()
        for px, py, pz in way:
            under = (x - px) ** 2 + (y - py) ** 2 < radius**2
            surface[under & (surface > pz)] = pz
        taken.append(float(before - surface.sum()) * cell * cell)
    return taken
