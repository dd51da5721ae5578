"""A tone off the orders that comes back a tooth-pass away is told from tones that do not."""

import numpy as np
import pytest

from analysis.sidebands import Sidebands

DELTA_F, TURNS, FLUTES = 10.0, 300.0, 2
LOOK = Sidebands(DELTA_F, FLUTES, 800)


def spectrum(*tones: float, high: float = 20.0) -> np.ndarray:
    """Return a spectrum, dB above its floor, with tones at some frequencies, Hz."""
    above = np.zeros((1, LOOK.wanted), dtype=np.float32)
    above[0, np.rint(np.array(tones) / DELTA_F).astype(int)] = high
    return above


def height(*tones: float, high: float = 20.0) -> float:
    """Return how far a tone with those beside it is found to stand out."""
    return float(LOOK.find(spectrum(*tones, high=high), np.array([TURNS]))[0][0])


def test_chatter_stands_out():
    """A tone of 1120 Hz, and one each a tooth-pass, 600 Hz, above and below it."""
    found, tone = LOOK.find(spectrum(520.0, 1120.0, 1720.0), np.array([TURNS]))
    assert found[0] == 20.0
    assert tone[0] in {520.0, 1120.0, 1720.0}


@pytest.mark.parametrize(
    "tones",
    [
        (300.0, 600.0, 900.0, 1200.0),
        (150.0, 450.0, 750.0, 1050.0),
        (1120.0,),
        (1120.0, 1720.0),
        (980.0, 1260.0, 1540.0),
    ],
    ids=["whole orders", "half orders", "a tone alone", "two tones", "a comb of another spacing"],
)
def test_other_tones_do_not(tones: tuple[float, ...]):
    """The spindle's own lines, a loose bit's half orders, a whistle and another machine are none."""
    assert height(*tones) == 0.0


@pytest.mark.parametrize("lower", [0.0, 3.0, 6.0])
def test_what_is_hardly_beside_it_counts_little(lower: float):
    """However loud a tone is, it counts no more than twice the lower of two that come back."""
    above = spectrum(1120.0, 1720.0, high=25.0)
    above[0, 52] = lower
    assert LOOK.find(above, np.array([TURNS]))[0][0] <= 2.0 * lower


def test_each_row_alone():
    """What is found in a row does not hang on the rows that came with it."""
    rows = np.random.default_rng(1).normal(3.0, 4.0, (9, LOOK.wanted)).astype(np.float32)
    speed = np.linspace(290.0, 310.0, 9)
    together = LOOK.find(rows, speed)
    for row in range(9):
        alone = LOOK.find(rows[row : row + 1], speed[row : row + 1])
        assert (alone[0][0], alone[1][0]) == (together[0][row], together[1][row])
