"""What a microphone hears of a spindle."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.features import FeatureReader
from analysis.listener import ear_for
from analysis.presence import COMB_ON
from analysis.spectrum import decibels
from analysis.windows import Windows, window_size

# Of a long time, so many s are enough to find a spindle in.
_LOOKED_AT = 30


@dataclass(frozen=True)
class Spindle:
    """
    What is heard of a spindle.

    Attributes
    ----------
    speed
        rpm.
    line, teeth
        How far its line, and all of tooth-pass together, stand above the noise about them, dB.
    """

    speed: float
    line: float
    teeth: float


def spindle(samples: NDArray[np.float32], rate: int, bit: Bit, speed: float) -> Spindle | None:
    """
    Return what is heard of a spindle near ``speed`` rpm, the median over the second half of what was heard.

    Parameters
    ----------
    samples
        (n,), in [-1, 1].
    rate
        Samples per second, Hz.
    bit
        What is in it.
    speed
        Its speed, rpm, as it was said.
    """
    ear = ear_for(rate, bit, window_size(rate, 60.0 / speed))
    windows = Windows(ear.size, ear.hop).feed(samples[-_LOOKED_AT * rate :])
    if not len(windows):
        return None
    rows = FeatureReader(ear).read(windows)
    # What is smoothed needs a while to settle.
    late = slice(len(rows) // 2, None)
    if float(np.median(rows.stands[late])) < COMB_ON:
        return None
    noise, teeth = (10.0 ** (levels[late] / 10.0) for levels in (rows.noise, rows.tooth))
    return Spindle(
        speed=60.0 * float(np.median(rows.speed[late])),
        line=float(np.median(rows.spindle[late])),
        teeth=float(np.median(decibels(1.0 + teeth / noise))),
    )
