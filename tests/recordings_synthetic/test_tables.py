"""Tables of force, read by phase."""

import math

import numpy as np
import pytest

from recordings_synthetic import tables
from recordings_synthetic.force import Runout, Wood, line, side_force, smooth, teeth
from recordings_synthetic.tables import Condition, Maker, Table, Tool

MAKER = Maker({3: Tool(2, 6.0, Runout(0.008, 0.5))}, 30.0, Wood())
SLOT = Condition(3, 25, 0, tables.ANGLE_STEPS, 2)


def test_reading_by_phase_is_the_sum_of_the_orders():
    """Between the points of a table its value is that of the band-limited series, to a thousandth."""
    turn = np.arange(tables.POINTS) / tables.POINTS
    turn = np.append(turn, 0.0)
    plane = np.exp(2j * math.pi * 30 * turn).astype(np.complex64)
    torque = np.cos(2 * math.pi * 30 * turn + 0.3).astype(np.float32)
    table = Table(np.array([0.0 * plane, plane]), np.array([0.0 * torque, torque]), 1)
    at = np.random.default_rng(1).uniform(-20.0, 50.0, 500)
    found = table.at(np.ones(500, np.intp), at)
    np.testing.assert_allclose(found[1], np.cos(2 * math.pi * 30 * at + 0.3), atol=2e-3)
    np.testing.assert_allclose(found[0], np.exp(2j * math.pi * 30 * at), atol=2e-3)


def test_a_table_holds_the_forces_of_its_conditions():
    """Row by row it is the force of that feed, window and helix, whatever rows are made beside it."""
    wood, tool = Wood(), Tool(3, 8.0, Runout(0.006, 1.1))
    whats = [
        Condition(1, feed, 3, leave, lag) for feed in (18, 25) for leave in (9, 24) for lag in (0, 4)
    ] * 3
    table = Maker({1: tool}, 40.0, wood).held(whats)
    at = teeth(np.arange(tables.POINTS) / tables.POINTS, 3)
    for row, what in enumerate(whats):
        feed = np.full(3, math.exp(what.feed / tables.FEED_STEPS) / 1000.0)
        between = (what.entry * math.pi / tables.ANGLE_STEPS, what.leave * math.pi / tables.ANGLE_STEPS)
        one = smooth(
            side_force(at, feed, tool.runout, wood, between), 1, lag=what.lag / tables.LAG_STEPS, highest=40.0
        )
        np.testing.assert_allclose(table.torque[row, :-1], one.torque, rtol=1e-6, atol=1e-6)
        np.testing.assert_allclose(table.plane[row, :-1], one.plane, rtol=1e-6, atol=1e-6)
        assert (table.torque[row, -1], table.plane[row, -1]) == (table.torque[row, 0], table.plane[row, 0])


def test_different_conditions_are_found_once():
    """Rows are sorted into the different conditions among them, each row to its own."""
    rng = np.random.default_rng(2)
    conditions = np.column_stack(
        [rng.integers(low, high, 300) for low, high in ((1, 4), (0, 3), (-1, 3), (-1, 3), (0, 2))]
    )
    found, which = tables.rows(conditions)
    assert len(set(found)) == len(found)
    for row, index in zip(conditions, which, strict=True):
        assert found[index] == Condition(*row.tolist())


def test_a_loose_bit_that_is_not_off_is_held():
    """At no extra eccentricity the loose tables are those of the held bit, and nothing rocks."""
    constant, rocking = MAKER.loose([SLOT], np.zeros(1), 0.3)
    np.testing.assert_array_equal(constant.torque, MAKER.held([SLOT]).torque)
    assert np.abs(rocking.torque).max() < 1e-12


def test_rocking_cancels_over_two_turns():
    """What rocking adds in one turn it takes away in the next."""
    _, rocking = MAKER.loose([SLOT], np.array([0.02]), 0.3)
    torque = rocking.torque[0, :-1]
    half = len(torque) // 2
    np.testing.assert_allclose(torque[:half], -torque[half:], atol=1e-12)
    assert line(torque, 0.5, turns=2) > 0.01


def test_a_deeper_slip_raises_the_spindle_line_and_spares_tooth_pass():
    """The further a bit is off, the higher the spindle's line; the tooth-pass line changes far less."""
    constant, _ = MAKER.loose([SLOT], np.array([0.0, 0.01, 0.02]), 0.5)
    spindle, tooth = ([line(torque, order) for torque in constant.torque[:, :-1]] for order in (1, 2))
    assert spindle[0] < spindle[1] < spindle[2]
    assert abs(tooth[2] / tooth[0] - 1.0) < 0.25 * (spindle[2] / spindle[0] - 1.0)


def test_a_plunge_is_a_condition_of_its_own():
    """Going straight down, two even edges balance in the plane and press on their paths all the time."""
    even = Maker({1: Tool(2, 5.0, Runout())}, 30.0, Wood(grain=0.0))
    force = even.held([Condition(1, 20, -1, -1, 0)])
    feed = math.exp(20 / tables.FEED_STEPS) / 1000.0
    assert np.abs(force.plane).max() < 1e-6
    assert force.torque == pytest.approx(2 * 2.5 * (28.0 * feed + 0.4), rel=1e-6)
