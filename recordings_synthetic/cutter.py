"""Reading the tables of force at the spindle's phase, sample by sample."""

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from recordings_synthetic import tables
from recordings_synthetic.faults.trouble import Looseness, Swing
from recordings_synthetic.layers import Layer
from recordings_synthetic.score import Score
from recordings_synthetic.tables import Force, Maker, Table

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Rows = NDArray[np.intp]


def ramp(values: NDArray[Any], ticks: Rows, lift: NDArray[Any]) -> NDArray[Any]:
    """Return values at ``ticks`` that go straight to those at the next tick, shape (ticks, hop)."""
    here = values[ticks][:, None]
    return np.asarray(here + lift * (values[ticks + 1][:, None] - here))


class Source(Protocol):
    """Where force comes from, as long as the bit meets the same thing."""

    @property
    def row(self) -> Rows:
        """(n,) what the bit meets at each tick."""

    def read(self, row: Rows, at: Rows, turn: Floats, lift: Singles) -> Force:
        """Return the force for rows of the table, during ticks ``at``, at phases ``turn`` (ticks, hop)."""


@dataclass(frozen=True, eq=False)
class Held:
    """
    Force of a bit that is held.

    Attributes
    ----------
    table
        One row a condition.
    row
        (n,) which holds at each tick.
    """

    table: Table
    row: Rows

    def read(self, row: Rows, at: Rows, turn: Floats, lift: Singles) -> Force:  # noqa: ARG002 - as Source
        """Return force in the plane and along the edges' paths."""
        return self.table.at(np.broadcast_to(row[:, None], turn.shape), turn)


@dataclass(frozen=True, eq=False)
class Loose:
    """
    Force of a bit that is loose; ``tables.LEVELS`` of eccentricity for each condition.

    Attributes
    ----------
    constant, rocking
        Tables; see ``Maker.loose``.
    row
        (n,) the first level's row in the tables.
    level
        (n,) eccentricity in levels, with its fraction.
    share
        (n,) how much of ``rocking`` is added.
    """

    constant: Table
    rocking: Table
    row: Rows
    level: Floats
    share: Singles

    def read(self, row: Rows, at: Rows, turn: Floats, lift: Singles) -> Force:
        """Return force in the plane and along the edges' paths."""
        level = ramp(self.level, at, lift.astype(np.float64))
        low = np.minimum(level.astype(np.intp), tables.LEVELS - 2)
        above = (level - low).astype(np.float32)
        rocks = ramp(self.share, at, lift)
        plane, torque = _between(self.constant, row[:, None] + low, above, turn)
        rocking = _between(self.rocking, row[:, None] + low, above, turn)
        plane += rocks * rocking[0]
        torque += rocks * rocking[1]
        return plane, torque


def _between(table: Table, row: Rows, share: Singles, turn: Floats) -> Force:
    """Return what lies between two levels."""
    plane, torque = table.at(row, turn)
    higher = table.at(row + 1, turn)
    plane += share * (higher[0] - plane)
    torque += share * (higher[1] - torque)
    return plane, torque


def _faded(source: Source, at: Rows, turn: Floats, lift: Singles) -> Force:
    """Fade from what the bit meets at one tick to what it meets at the next."""
    plane, torque = source.read(source.row[at], at, turn, lift)
    change = np.flatnonzero(source.row[at] != source.row[at + 1])
    if len(change):
        now = at[change]
        later = source.read(source.row[now + 1], now, turn[change], lift)
        plane[change] += lift * (later[0] - plane[change])
        torque[change] += lift * (later[1] - torque[change])
    return plane, torque


@dataclass(frozen=True, eq=False)
class Cutter:
    """
    The force of one layer of a score.

    Attributes
    ----------
    weight
        (n,) how much is cut, see ``Layer``.
    slack
        (n,) whether the bit is loose at a tick or becomes so before the next.
    held, loose
        Where force comes from.
    swing
        What the force is multiplied by, if by anything.
    """

    weight: Singles
    slack: NDArray[np.bool_]
    held: Held
    loose: Loose | None
    swing: Swing | None

    def __call__(self, phase: Floats, ticks: Rows, lift: Singles) -> Force:
        """
        Return force in the plane (along the feed) and along the edges' paths, N, shape (ticks, hop).

        ``phase`` (n,) is the bit's against the direction of feed, in turns.
        """
        plane = np.zeros((len(ticks), len(lift)), np.complex64)
        torque = np.zeros((len(ticks), len(lift)), np.float32)
        cutting = (self.weight[ticks] + self.weight[ticks + 1]) > 0.0
        for source, which in ((self.held, ~self.slack[ticks]), (self.loose, self.slack[ticks])):
            here = np.flatnonzero(cutting & which)
            if source is not None and len(here):
                at = ticks[here]
                turn = ramp(phase, at, lift.astype(np.float64))
                size = ramp(self.weight, at, lift) * self._swung(at, lift)
                force = _faded(source, at, turn, lift)
                plane[here], torque[here] = size * force[0], size * force[1]
        return plane, torque

    def _swung(self, at: Rows, lift: Singles) -> Singles | float:
        """Return what the chip becomes, as a share of the feed per tooth: never less than nothing is left."""
        if self.swing is None:
            return 1.0
        turned = ramp(self.swing.phase, at, lift.astype(np.float64))
        wave = np.cos(2.0 * np.pi * (turned - np.floor(turned))).astype(np.float32)
        size = ramp(self.swing.size, at, lift).astype(np.float32)
        return np.asarray(np.maximum(size * wave, np.float32(-1.0)))


def cutter(score: Score, layer: Layer, *, highest: float) -> Cutter:
    """Make the tables that a layer needs, up to a ``highest`` order."""
    maker, slip = Maker(layer.tools, highest, layer.wood), score.trouble.loose
    on = _widened(layer.weight > 0.0)
    found, row = tables.rows(layer.conditions[on])
    loose = slip.eccentricity > 0.0
    return Cutter(
        weight=layer.weight.astype(np.float32),
        slack=loose | np.append(loose[1:], False),
        held=Held(maker.held(found), _spread(row, on)),
        loose=_loose(maker, layer, slip),
        swing=layer.swing,
    )


def _loose(maker: Maker, layer: Layer, loose: Looseness) -> Loose | None:
    on = _widened(layer.weight > 0.0) & _widened(loose.eccentricity > 0.0)
    if not on.any():
        return None
    found, row = tables.rows(layer.conditions[on])
    top = float(loose.eccentricity.max())
    sizes = np.linspace(0.0, top, tables.LEVELS)
    constant, rocking = maker.loose(found, sizes, loose.towards)
    return Loose(
        constant=constant,
        rocking=rocking,
        row=_spread(row * tables.LEVELS, on),
        level=loose.eccentricity / top * (tables.LEVELS - 1),
        share=loose.rocking.astype(np.float32),
    )


def _widened(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the mask with one tick more on both sides."""
    wide = mask.copy()
    wide[1:] |= mask[:-1]
    wide[:-1] |= mask[1:]
    return wide


def _spread(row: Rows, on: NDArray[np.bool_]) -> Rows:
    """Put rows back among all ticks."""
    spread = np.zeros(len(on), np.intp)
    spread[on] = row
    return spread
