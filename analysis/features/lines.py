"""The lines that turn with the spindle, and the noise about them."""

import numpy as np
from numpy.typing import NDArray

from analysis.features.ear import Ear
from analysis.features.smoothing import Array32
from analysis.orders import line_powers, noise_powers
from analysis.spectrum import decibels

# A line counts as no weaker than this share of the noise about it.
_LEAST_SHARE = np.float32(0.25)


def powers(ear: Ear, power: Array32, floor: Array32, speed: NDArray[np.float64]) -> Array32:
    """Return the power of the lines and of the noise about each, shape (k, 2 * (m + q))."""
    delta_f = ear.spectrum.delta_f
    orders = np.concatenate([ear.lines, ear.halves])
    return np.hstack(
        [line_powers(power, delta_f, speed, orders), noise_powers(power, floor, delta_f, speed, orders)]
    )


def levels(ear: Ear, heard: Array32) -> dict[str, Array32]:
    """Return what the smoothed powers of lines and noise tell."""
    lines, both = len(ear.lines), heard.shape[1] // 2
    whole, half = heard[:, :lines], heard[:, lines:both]
    noise, half_noise = heard[:, both : both + lines], heard[:, both + lines :]
    is_tooth = ear.lines % ear.flutes == 0
    teeth = np.maximum(sum_of(whole[:, is_tooth] - noise[:, is_tooth]), np.float32(0))
    return {
        "tells": np.hstack([whole[:, ear.telling], half]),
        "hides": np.hstack([noise[:, ear.telling], half_noise]),
        "tooth": decibels(teeth),
        "noise": decibels(sum_of(noise[:, is_tooth])),
    }


def standing(tells: Array32, hides: Array32, lines: int) -> Array32:
    """
    Return how far the spindle line, the lines between and the half orders stand out of the noise.

    Parameters
    ----------
    tells, hides
        Power of each line and of the noise about it: ``lines`` of them, the spindle line first, then half
        orders, shape (..., j).
    lines
        How many are whole orders; 0 for a bit of one flute, whose every line is a tooth's.

    Returns
    -------
    array of float32, shape (..., 3)
        dB; 0 where there is no such line. Of the lines between and of the half orders the second strongest
        counts, for a tone from elsewhere may hit one line, but not two.
    """
    ratio = np.maximum(tells / np.maximum(hides, np.float32(1e-20)), _LEAST_SHARE)
    groups = (
        (ratio[..., :1], ratio[..., 1:lines], ratio[..., lines:])
        if lines
        else (ratio[..., :0],) * 2 + (ratio,)
    )
    found = np.empty((*ratio.shape[:-1], len(groups)), dtype=np.float32)
    for place, group in enumerate(groups):
        found[..., place] = _second(group)
    return decibels(found)


def _second(ratios: Array32) -> Array32:
    """Return the second strongest of the last axis, the only one if it is alone, 1 if there is none."""
    if not ratios.shape[-1]:
        return np.ones(ratios.shape[:-1], dtype=np.float32)
    found: Array32 = np.sort(ratios, axis=-1)[..., max(0, ratios.shape[-1] - 2)]
    return found


def sum_of(lines: Array32) -> Array32:
    """Return the sum along each row, added from left to right whatever the number of rows."""
    if not lines.shape[1]:
        return np.zeros(len(lines), dtype=np.float32)
    total: Array32 = np.add.accumulate(lines, axis=1)[:, -1]
    return total
