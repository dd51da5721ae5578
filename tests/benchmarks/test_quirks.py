"""Knots and squeaks are what they are called."""

import numpy as np
import pytest
from hearing.quirks import LONG, Knots, Squeaks

from recordings_synthetic.faults import Setting, Spell

STEP, COUNT = 0.001, 20_000


@pytest.fixture
def setting():
    """Twenty seconds of cutting, the first two of them before the quirk, with a corner every second."""
    now = np.arange(COUNT) * STEP
    feed = np.where(now % 1.0 < 0.15, 5.0, 40.0)
    position = np.stack([np.cumsum(feed) * STEP, 0.0 * now, 0.0 * now], axis=1)
    many = np.full(COUNT, 2.0)
    return Setting(
        spell=Spell(2000, COUNT),
        step=STEP,
        seed=3,
        position=position,
        cutting=now < 19.0,
        depth=many,
        speed=150.0 * many,
        flutes=many,
        diameter=3.0 * many,
        steps=(20.0, 20.0, 40.0),
    )


def test_knots(setting):
    """The cut is harder by up to the factor, for part of the time, and as always before the quirk begins."""
    grip = Knots(at=0.0, harder=2.0).unfold(setting).grip
    assert (grip[:2000] == 1.0).all()
    assert 1.2 < grip.max() <= 2.0
    assert grip.min() == 1.0
    assert 0.03 < np.mean(grip > 1.1) < 0.5
    assert np.abs(np.diff(grip)).max() < 0.05


def test_squeaks(setting):
    """They come in corners only, for a moment, not in each; nothing squeaks where nothing is cut."""
    size = Squeaks(at=0.0).unfold(setting).swing.size
    begins = np.flatnonzero(np.diff((size > 0.0).astype(int)) == 1) * STEP
    assert 3 <= len(begins) < 17
    assert ((begins % 1.0 < 0.01) | (begins % 1.0 > 0.99)).all()
    assert np.count_nonzero(size) * STEP <= LONG * len(begins)
    assert (size[:2000] == 0.0).all()
    assert (size[19_000:] == 0.0).all()
