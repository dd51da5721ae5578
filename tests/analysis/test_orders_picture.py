"""The picture of normal against now: it marks what rose, and says so."""

import numpy as np
import pytest

from analysis.figures import orders_picture
from analysis.figures.orders import rises_told
from analysis.order_spectrum import cells

ORDERS = cells(0.25, 8.0)
NORMAL = np.full(len(ORDERS), -60.0)


def _raised(**rises: float) -> np.ndarray:
    now = NORMAL.copy()
    for order, rise in rises.items():
        now[np.argmin(np.abs(ORDERS - float(order.lstrip("o").replace("_", "."))))] += rise
    return now


def test_the_lines_that_rose_most_are_told_and_marked():
    """Whole and half orders count, the strongest first; what lies between them is noise."""
    now = _raised(o1_5=6.0, o1=9.0, o3_25=20.0, o4=2.0)
    told = rises_told(ORDERS, NORMAL, now)
    assert told.endswith("1 by 9 dB, 1.5 by 6 dB")
    figure = orders_picture(ORDERS, NORMAL, now, flutes=2, speed=18000.0)
    texts = {text.get_text() for text in [*figure.texts, *figure.axes[0].texts]}
    assert {told, "spindle", "tooth-pass", "+9", "+6"} <= texts
    assert "+20" not in texts
    assert figure.axes[0].get_ylabel() == "level (dBFS)"


def test_nothing_that_rose_is_said_too():
    """Equal sounds, and levels that nobody knows, make no rise."""
    assert rises_told(ORDERS, NORMAL, NORMAL) == "no whole or half order rose by 3 dB"
    assert "no whole" in rises_told(ORDERS, NORMAL, np.full(len(ORDERS), np.nan))


def test_arrays_must_be_alike():
    """Other shapes are refused."""
    with pytest.raises(ValueError, match="must be alike"):
        orders_picture(ORDERS, NORMAL[:-1], NORMAL, flutes=2, speed=0.0)
