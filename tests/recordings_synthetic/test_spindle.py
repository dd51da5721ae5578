"""How fast the spindle really turns."""

import numpy as np
import pytest

from recordings_synthetic.chance import stream, wander
from recordings_synthetic.spindle import UNREGULATED, Spindle, turning, turns

STEP = 0.001
STEADY = Spindle(off=0.0, wandering=0.0, droop=0.0)


def speed(command, load=0.0, spindle=STEADY, seed=0):
    """Return turns per second for a command in rpm."""
    command = np.asarray(command, dtype=np.float64)
    return turning(
        command, np.broadcast_to(float(load), command.shape).copy(), STEP, spindle, stream(seed, "t")
    )


def test_it_spins_up_and_down_exponentially():
    """After one time constant 63 % of the way is done, up and down."""
    command = np.concatenate([np.zeros(500), np.full(4000, 18000.0), np.zeros(4000)])
    found = speed(command)
    assert not found[:500].any()
    assert found[500 + 499] == pytest.approx(300.0 * (1 - np.exp(-1)), rel=0.01)
    assert found[4499] == pytest.approx(300.0, rel=1e-3)
    assert found[4500 + 1099] == pytest.approx(found[4499] * np.exp(-1), rel=0.01)


def test_a_regulated_spindle_hardly_droops_and_another_does():
    """Under its rated load a regulated spindle loses .2 %, an unregulated one 5 % (our own assumption)."""
    for spindle, lost in ((Spindle(off=0.0, wandering=0.0), 0.002), (UNREGULATED, 0.05)):
        still = Spindle(off=0.0, wandering=0.0, droop=spindle.droop)
        found = speed(np.full(6000, 18000.0), load=still.rated, spindle=still)[-1]
        assert 1.0 - found / 300.0 == pytest.approx(lost, rel=0.02)


def test_it_wanders_by_a_thousandth():
    """Once it runs, its speed wanders slowly with the standard deviation that it was given."""
    found = speed(np.full(400_000, 18000.0), spindle=Spindle(off=0.0, droop=0.0))[5000:] / 300.0
    assert found.std() == pytest.approx(0.001, rel=0.25)
    assert np.abs(np.diff(found)).max() < 5e-4


def test_turns_add_up():
    """The turns made are the sum of speed over time."""
    made = turns(np.full(1001, 300.0), STEP)
    assert made[0] == 0.0
    assert made[-1] == pytest.approx(300.0)


def test_a_wander_forgets():
    """A wander has standard deviation 1 and, after its memory, a correlation of 1/e with itself."""
    curve = wander(np.random.default_rng(4), 400_000, 0.01, memory=0.5)
    assert curve.std() == pytest.approx(1.0, rel=0.05)
    assert np.mean(curve[:-50] * curve[50:]) == pytest.approx(np.exp(-1), abs=0.06)


def test_streams_differ_by_name_and_seed_only():
    """The same seed and name give the same numbers; another name or seed gives others."""
    first = stream(3, "a").random(4)
    np.testing.assert_array_equal(first, stream(3, "a").random(4))
    assert not np.array_equal(first, stream(3, "b").random(4))
    assert not np.array_equal(first, stream(4, "a").random(4))
