"""The spectrum in orders: a line's power is in its own cell, at whatever speed."""

import numpy as np
import pytest

from analysis.order_spectrum import CELL, cells, order_spectrum, window_for

RATE = 32_000


@pytest.mark.parametrize("frequency", [151.3, 300.0, 402.7])
@pytest.mark.parametrize("order", [0.5, 1.0, 2.0, 7.5])
def test_a_line_is_found_at_its_order_with_its_level(frequency: float, order: float):
    """A sine of half of full scale at an order reads -6 dBFS in that cell, and far less in others."""
    size = window_for(RATE, frequency)
    sine = 0.5 * np.sin(2 * np.pi * order * frequency * np.arange(size) / RATE, dtype=np.float64)
    orders = cells(0.25, 8.0)
    levels = order_spectrum(sine[np.newaxis].astype(np.float32), RATE, np.array([frequency]), orders)
    at = int(np.argmin(np.abs(orders - order)))
    assert orders[at] == order
    assert levels[at] == pytest.approx(-6.02, abs=0.6)
    assert np.delete(levels, [at - 1, at, at + 1]).max() < -36


def test_a_speed_that_wanders_blurs_nothing():
    """Windows at other speeds add up order by order."""
    speeds = np.array([290.0, 300.0, 310.0])
    time = np.arange(window_for(RATE, 300.0)) / RATE
    windows = np.stack([np.sin(2 * np.pi * 3 * speed * time) for speed in speeds]).astype(np.float32)
    orders = cells(0.25, 8.0)
    levels = order_spectrum(windows, RATE, speeds, orders)
    assert orders[levels.argmax()] == 3.0
    assert levels.max() == pytest.approx(0.0, abs=0.6)


def test_above_the_end_of_the_spectrum_nothing_is_known():
    """Orders that the recording cannot hold are NaN, and cells lie on half orders."""
    orders = cells(0.25, 8.0)
    assert {0.5, 1.0, 1.5} <= set(orders.tolist())
    assert np.diff(orders) == pytest.approx(CELL)
    levels = order_spectrum(np.ones((1, 2000), dtype=np.float32), 2000, np.array([300.0]), orders)
    assert np.isnan(levels[orders > 3.5]).all()
    assert np.isfinite(levels[orders < 3.2]).all()


def test_windows_need_their_speeds():
    """Without a window, or with another number of speeds, it is refused."""
    with pytest.raises(ValueError, match="need as many frequencies"):
        order_spectrum(np.zeros((0, 100), dtype=np.float32), RATE, np.zeros(0), cells(0.25, 8.0))
