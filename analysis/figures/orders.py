"""The sound in orders, normal against now: where in the turn of the spindle the change is."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from analysis.figures.looks import (
    CUT,
    CUT_PALE,
    INK,
    RULE,
    SMALL,
    SOFT,
    TEXT,
    WRONG,
    heading,
    key,
    quiet,
    stroke,
)

_WIDTH, _HEIGHT = 11.7, 5.0  # in
_LEFT, _RIGHT, _FOOT, _TOP = 0.95, 0.35, 1.0, 1.15  # in
_NORMAL = (0, (4, 1.5))
_MOST, _WORTH = 4, 3.0  # rises that are marked, and dB from which on


def orders_picture(
    orders: NDArray[np.float64],
    normal: NDArray[np.float64],
    now: NDArray[np.float64],
    *,
    flutes: int,
    speed: float,
) -> Figure:
    """
    Draw two spectra in orders over one another.

    Parameters
    ----------
    orders
        The cells' middles, shape (m,).
    normal, now
        Level in each cell before the change and since, dBFS, shape (m,); NaN where nothing is known.
    flutes
        Cutting edges of the bit: every so manieth whole order is tooth-pass.
    speed
        Of the spindle, rpm; 0 if it is not known.

    Returns
    -------
    Figure
        Not saved anywhere.

    Raises
    ------
    ValueError
        If the shapes differ.
    """
    if not orders.shape == normal.shape == now.shape:
        raise ValueError(f"orders {orders.shape}, normal {normal.shape} and now {now.shape} must be alike")
    figure = Figure(figsize=(_WIDTH, _HEIGHT), facecolor="white")
    inner = (_WIDTH - _LEFT - _RIGHT) / _WIDTH, (_HEIGHT - _FOOT - _TOP) / _HEIGHT
    axes = figure.add_axes((_LEFT / _WIDTH, _FOOT / _HEIGHT, *inner))
    quiet(axes)
    turning = f" at {speed:.0f} rpm" if speed else ""
    rises = _risen(orders, normal, now)
    told = rises_told(orders, normal, now)
    heading(figure, 0.3, f"Normal against now, in orders of the spindle{turning}", (told,))
    _mark(axes, orders, flutes)
    axes.fill_between(
        orders, normal, now, where=now > normal, facecolor="#f3cfc5", edgecolor=WRONG, hatch="xx", linewidth=0
    )
    axes.plot(orders, normal, color=CUT, linewidth=1.3, linestyle=_NORMAL)
    axes.plot(orders, now, color=WRONG, linewidth=1.4)
    for order, rise in rises:
        top = float(now[np.argmin(np.abs(orders - order))])
        axes.plot(order, top, marker="^", color=WRONG, markersize=6, mec="white")
        axes.text(order, top + 0.8, f"+{rise:.0f}", size=SMALL, color=WRONG, ha="center", weight="bold")
    axes.set_xlim(float(orders[0]), float(orders[-1]))
    axes.grid(axis="y", color=RULE, linewidth=0.5)
    axes.set_xlabel("order (times the spindle's turns)", size=TEXT, color=INK)
    axes.set_ylabel("level (dBFS)", size=TEXT, color=INK)
    handles = [stroke("normal, before the change", CUT, 1.3, _NORMAL), stroke("since it began", WRONG, 1.4)]
    key(figure, [*handles, stroke("tooth-pass", CUT_PALE, 5)], columns=3, low=0.12)
    return figure


def _mark(axes: Axes, orders: NDArray[np.float64], flutes: int) -> None:
    """Mark the spindle's own line, tooth-pass and its harmonics, and number the whole orders."""
    whole = np.arange(1, int(orders[-1]) + 1)
    axes.set_xticks(whole)
    axes.set_xticks(whole - 0.5, minor=True)
    axes.grid(axis="x", which="minor", color=RULE, linewidth=0.4, linestyle=":")
    for order in whole.tolist():
        teeth = order % flutes == 0
        axes.axvline(
            order, color=CUT_PALE if teeth else RULE, linewidth=5 if teeth else 0.8, alpha=0.6, zorder=0
        )
    named = {1: "spindle", flutes: "tooth-pass" if flutes > 1 else "spindle,\ntooth-pass"}
    for order, name in named.items():
        _write(axes, name, (order, 1.0), 4, INK if order == 1 else SOFT)


def _write(axes: Axes, text: str, point: tuple[float, float], above: int, colour: str) -> None:
    """Write a word ``above`` pt above a point: its order, and its share of the height."""
    axes.annotate(
        text,
        xy=point,
        xycoords=("data", "axes fraction"),
        xytext=(0, above),
        textcoords="offset points",
        size=SMALL,
        color=colour,
        ha="center",
    )


def _risen(
    orders: NDArray[np.float64], normal: NDArray[np.float64], now: NDArray[np.float64]
) -> tuple[tuple[float, float], ...]:
    """Return the whole and half orders that rose most, and by how many dB, the most first."""
    lines = np.flatnonzero(np.isclose(np.mod(2 * orders, 1), 0) & np.isfinite(now - normal))
    best = sorted(lines.tolist(), key=lambda line: float(normal[line] - now[line]))[:_MOST]
    found = ((float(orders[line]), float(now[line] - normal[line])) for line in best)
    return tuple((order, rise) for order, rise in found if rise >= _WORTH)


def rises_told(orders: NDArray[np.float64], normal: NDArray[np.float64], now: NDArray[np.float64]) -> str:
    """Return in words which whole and half orders rose most, arrays as for `orders_picture`."""
    rises = _risen(orders, normal, now)
    if not rises:
        return f"no whole or half order rose by {_WORTH:.0f} dB"
    told = ", ".join(f"{order:g} by {rise:.0f} dB" for order, rise in rises)
    return f"of the whole and half orders these rose most: {told}"
