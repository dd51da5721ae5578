"""Small recursive filters that keep their state from block to block: nothing sounds before its cause."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Filter:
    """
    A filter that keeps its state from block to block.

    Parameters
    ----------
    sections
        (n, 6) second-order sections, as the functions below return them.
    """

    def __init__(self, sections: Floats) -> None:
        self._sections = sections
        self._state = np.zeros((len(sections), 2))

    def __call__(self, block: NDArray[Any]) -> Floats:
        """Return the filtered block."""
        from scipy.signal import sosfilt  # noqa: PLC0415 - takes a second to import; only rendering needs it

        if not len(block):
            return np.zeros(0)
        out, self._state = sosfilt(self._sections, block, zi=self._state)
        return np.asarray(out, dtype=np.float64)


def _angle(frequency: float, rate: int) -> tuple[float, float]:
    """Return cosine and sine of the angle of ``frequency``, kept below half the sample rate."""
    w = 2.0 * math.pi * min(frequency, 0.45 * rate) / rate
    return math.cos(w), math.sin(w)


def _section(b: tuple[float, float, float], a: tuple[float, float, float]) -> Floats:
    return np.array([[*b, *a]]) / a[0]


def resonance(frequency: float, quality: float, rate: int, *, gain: float = 1.0) -> Floats:
    """Return a section that passes ``frequency`` with ``gain`` and falls off by 6 dB an octave beside it."""
    cos, sin = _angle(frequency, rate)
    alpha = sin / (2.0 * quality)
    return _section((gain * alpha, 0.0, -gain * alpha), (1.0 + alpha, -2.0 * cos, 1.0 - alpha))


def above(frequency: float, rate: int) -> Floats:
    """Return a section that passes what is above ``frequency`` and falls off by 12 dB an octave below."""
    cos, sin = _angle(frequency, rate)
    alpha = sin / math.sqrt(2.0)
    half = (1.0 + cos) / 2.0
    return _section((half, -2.0 * half, half), (1.0 + alpha, -2.0 * cos, 1.0 - alpha))


def below(frequency: float, rate: int) -> Floats:
    """Return a section that passes what is below ``frequency`` and falls off by 12 dB an octave above."""
    cos, sin = _angle(frequency, rate)
    alpha = sin / math.sqrt(2.0)
    half = (1.0 - cos) / 2.0
    return _section((half, 2.0 * half, half), (1.0 + alpha, -2.0 * cos, 1.0 - alpha))


def bump(frequency: float, quality: float, decibels: float, rate: int) -> Floats:
    """Return a section that raises the sound around ``frequency``."""
    cos, sin = _angle(frequency, rate)
    alpha, root = sin / (2.0 * quality), 10.0 ** (decibels / 40.0)
    up, down = alpha * root, alpha / root
    return _section((1.0 + up, -2.0 * cos, 1.0 - up), (1.0 + down, -2.0 * cos, 1.0 - down))


def steep(section: Floats, times: int) -> Floats:
    """Return a section so many times over: an edge of 12 dB an octave becomes one of ``times`` x 12 dB."""
    return np.concatenate([section] * times)


def gain_at(sections: Floats, frequency: NDArray[Any], rate: int) -> Floats:
    """Return the gain of sections at frequencies in Hz, as amplitudes."""
    back = np.exp(-2j * math.pi * np.asarray(frequency, dtype=np.float64) / rate)
    delays = np.stack([np.ones_like(back), back, back * back])
    return np.asarray(np.prod(np.abs((sections[:, :3] @ delays) / (sections[:, 3:] @ delays)), axis=0))


def noise_power(sections: Floats) -> float:
    """Return the power that white noise of power 1 has behind sections: their click's energy."""
    click = np.zeros(16384)
    click[0] = 1.0
    return float(np.sum(Filter(sections)(click) ** 2))
