"""How the place moves from cell to cell: probabilities, means, and the way back."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.pace import Learned
from analysis.place.paces import PACES, REACH, USUALLY, Paces
from analysis.place.track import END, LEVELS, TIMED, WAIT, WAITS

STEPS = Paces.of(0.2)


@given(st.floats(0.6, 1.6))
@settings(max_examples=20, deadline=None)
def test_a_step_ends_somewhere(rapids: float):
    """The probabilities of the steps add up to 1, but at the end, where the listening may be over too."""
    weights = Paces.of(0.2, Learned(rapids=rapids)).weights
    np.testing.assert_allclose(weights[:END].sum(axis=1), 1.0, atol=1e-12)
    assert (weights >= 0.0).all()


def test_steps_are_as_long_as_the_pace_says():
    """Where the feed limits, the mean step is the pace times the usual one; elsewhere it is fixed."""
    means = (STEPS.weights * np.arange(REACH + 1)[:, np.newaxis]).sum(axis=1)
    np.testing.assert_allclose(means[LEVELS - 1, 1:], USUALLY * PACES, atol=1e-9)
    np.testing.assert_allclose(means[0, 1:], USUALLY, atol=1e-9)
    np.testing.assert_allclose(means[TIMED, 1:], USUALLY, atol=1e-9)
    np.testing.assert_allclose(means[: TIMED + 1, 0], 0.0)


def test_a_slower_machine_takes_shorter_steps():
    """What was learned of the machine shows where the machine sets the pace, and nowhere else."""
    slow = Paces.of(0.2, Learned(rapids=0.7))
    means = (slow.weights * np.arange(REACH + 1)[:, np.newaxis]).sum(axis=1)
    np.testing.assert_allclose(means[0, 1:], 0.7 * USUALLY, atol=1e-9)
    np.testing.assert_allclose(slow.weights[LEVELS - 1], STEPS.weights[LEVELS - 1])


def test_a_wait_leads_to_the_cell_after_it():
    """From each cell of a wait one goes to the first cell behind it, or stays, as at the end."""
    for cell in range(WAITS):
        weights = STEPS.weights[WAIT + cell, :, 3]
        assert set(np.flatnonzero(weights)) == {0, WAITS - cell}
    np.testing.assert_array_equal(STEPS.weights[END, 0], STEPS.weights[WAIT, 0])
    assert not STEPS.weights[END, 1:].any()


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_what_happens_to_the_pace_keeps_the_whole(seed: int):
    """Turning a knob, holding and going on move probability about, within a cell, and none is lost."""
    rng = np.random.default_rng(seed)
    heap, wood = rng.random((len(PACES) + 1, 7)), rng.random(7) < 0.5
    after = STEPS.stir(heap, heap.sum(axis=0), wood)
    np.testing.assert_allclose(after.sum(axis=0), heap.sum(axis=0))
    assert (after >= 0.0).all()


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_the_way_back_is_the_transpose(seed: int):
    """For all a, b: a after ``stir``, times b, is a times b before ``unstir``."""
    rng = np.random.default_rng(seed)
    a, b = rng.random((2, len(PACES) + 1, 5))
    wood = rng.random(5) < 0.5
    there = float((STEPS.stir(a, a.sum(axis=0), wood) * b).sum())
    STEPS.unstir(b, wood)
    back = float((a * b).sum())
    assert there == pytest.approx(back, rel=1e-12)


def test_no_hold_is_looked_for_in_the_air():
    """A hold begins only in the wood."""
    heap = np.zeros((len(PACES) + 1, 2))
    heap[5] = 1.0
    after = STEPS.stir(heap, heap.sum(axis=0), np.array([True, False]))
    assert after[0, 0] > 0.0
    assert after[0, 1] == 0.0
