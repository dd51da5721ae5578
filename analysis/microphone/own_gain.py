"""A gain that moves by itself: told from what loud sounds do to the quiet after them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.spectrum import PowerSpectrum, band_power, decibels

Array32 = NDArray[np.float32]
Array64 = NDArray[np.float64]

# Seconds over which a level is taken.
_FRAME = 0.05

# Below this, Hz, rumble and hum change slowly and by themselves.
_ABOVE = 300.0

# A sound is loud from this far above the quiet, dB, and of use when it lasts no longer than so many s: what
# is longer is a machine. The quiet before it is heard over so many s, at least so many of them, and lies
# about a straight line, within so many dB from the 10th to the 90th of a hundred: else nothing is told.
_LOUD, _SHORT, _BEFORE, _LEAST, _STEADY = 12.0, 1.0, 2.0, 1.0, 3.0

# The quiet after it is heard over so many s; and all quiet as medians of so many.
_AFTER, _AT_A_TIME = 3.0, 0.3


@dataclass(frozen=True)
class OwnGain:
    """
    What loud sounds did to the quiet after them.

    Attributes
    ----------
    sounds
        How many short loud sounds came between quiet.
    fell, rose
        How much softer the quiet was after them, and how much louder it became again, dB.
    """

    sounds: int
    fell: float
    rose: float


def own_gain(sound: Array64, rate: int) -> OwnGain | None:
    """
    Return what short loud sounds did to the quiet after them; ``None`` when none came between steady quiet.

    Parameters
    ----------
    sound
        (n,), without a constant.
    rate
        Samples per second, Hz.

    Notes
    -----
    A room rings on after a loud sound, so that the quiet after it can only be louder than the quiet before.
    A gain of its own turns itself down for the loud sound and needs a while to come back: the quiet after it
    is *softer*, and rises. Levels above 300 Hz are taken every 0.05 s, and of the quiet medians of 0.3 s.
    Loud is what stands 12 dB above the quiet for 1 s at most. Where the 2 s before it lie about a straight
    line (a gain may still be rising), its end is compared with the least in the 3 s after it. Of several loud
    sounds the middle one counts: something may be switched off once. Where samples about it are all the same
    no quiet is heard that could become softer, and it tells nothing.
    """
    size = max(2, round(_FRAME * rate))
    frames = np.ascontiguousarray(sound[: len(sound) // size * size].reshape(-1, size), dtype=np.float32)
    spectrum = PowerSpectrum(rate, size)
    level = decibels(band_power(spectrum.power(frames), spectrum.delta_f, min(_ABOVE, rate / 8), rate / 2))
    loud = level > np.median(level) + _LOUD
    silent = np.ptp(frames, axis=1) == 0.0
    edges = np.diff(np.concatenate(([False], loud, [False])).astype(np.int8))
    begins, ends = np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist()
    found = [
        each
        for begin, end in zip(begins, ends, strict=True)
        if not silent[_about(begin, end)].any() and (each := _moved(level, loud, begin, end)) is not None
    ]
    if not found:
        return None
    fell, rose = sorted(found)[(len(found) - 1) // 2]
    return OwnGain(len(found), fell, rose)


def _moved(level: Array32, loud: NDArray[np.bool_], begin: int, end: int) -> tuple[float, float] | None:
    """Return how much softer the quiet is after one loud sound, and how much it rose then, dB."""
    about = _about(begin, end)
    before = _quiet(level, loud, about.start, begin)
    after = _quiet(level, loud, end, about.stop)
    if end - begin > _SHORT / _FRAME or len(before) < _LEAST / _FRAME or len(after) < _AT_A_TIME / _FRAME:
        return None
    was, then = _medians(before), _medians(after)
    place = np.arange(len(was)) - (len(was) - 1.0)
    slope, last = np.polyfit(place, was, 1)
    low, high = np.percentile(was - slope * place, (10, 90))
    if high - low > _STEADY:
        return None
    least = int(then.argmin())
    return float(last - then[least]), float(then[least:].max() - then[least])


def _about(begin: int, end: int) -> slice:
    """Return a loud sound and what is looked at before and after it."""
    return slice(max(0, begin - round(_BEFORE / _FRAME)), end + round(_AFTER / _FRAME))


def _medians(level: Array32) -> Array32:
    """Return the medians of every 0.3 s."""
    each = np.lib.stride_tricks.sliding_window_view(level, round(_AT_A_TIME / _FRAME))
    medians: Array32 = np.median(each, axis=1)
    return medians


def _quiet(level: Array32, loud: NDArray[np.bool_], first: int, beyond: int) -> Array32:
    return level[first:beyond][~loud[first:beyond]]
