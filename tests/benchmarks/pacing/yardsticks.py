"""What speed is measured against: things that anyone can rerun, on the same sound in the same windows."""

import time
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from analysis.asked_speed import slowest_of
from analysis.cutting import Bit
from analysis.listener import ear_for
from analysis.windows import window_size
from pacing.sounds import RATE


def windows(rate: int, bits: Mapping[int, Bit]) -> tuple[int, int]:
    """Return the size of the windows in which these bits are heard, and from one to the next, samples."""
    size = window_size(rate, 60.0 / slowest_of(bits))
    return size, ear_for(rate, next(iter(bits.values())), size).hop


def bare(sound: NDArray[np.float32], size: int, hop: int) -> None:
    """Transform ``sound`` in windows of ``size`` samples, and do nothing with it."""
    framed = np.lib.stride_tricks.sliding_window_view(sound, size)[::hop]
    taps = np.hanning(size).astype(np.float32)
    for first in range(0, len(framed), 64):
        rfft(framed[first : first + 64] * taps)


def cepstra(sound: NDArray[np.float32], size: int, hop: int) -> None:
    """Work out the mel cepstra of ``sound`` in the same windows, as librosa does by default."""
    import librosa  # noqa: PLC0415 - loads slowly

    librosa.feature.mfcc(y=sound, sr=RATE, n_fft=size, hop_length=hop)


def first_call(sound: NDArray[np.float32], size: int, hop: int) -> float:
    """Return how long, s, librosa takes to load and to work out its first cepstra: it compiles then."""
    begin = time.perf_counter()
    cepstra(sound, size, hop)
    return time.perf_counter() - begin


def least(works: Sequence[Callable[[], object]], times: int) -> list[float]:
    """
    Return the least processor time, s, that each piece of work takes, in ``times`` turns.

    They take turns, so that a machine that others use slows all of them alike.
    """
    taken = np.full((times, len(works)), np.inf)
    for turn in range(times):
        for number, work in enumerate(works):
            begin = time.process_time()
            work()
            taken[turn, number] = time.process_time() - begin
    return [float(each) for each in taken.min(axis=0)]
