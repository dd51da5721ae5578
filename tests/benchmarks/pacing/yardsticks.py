"""What speed is measured against: things that anyone can rerun, on the same sound in the same windows."""

import time
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.fft import rfft

from pacing.sounds import RATE

SIZE, HOP = 4800, 2400
"""The windows in which a spindle of 18 000 rpm is heard at 48 kHz."""


def bare(sound: NDArray[np.float32]) -> None:
    """Transform ``sound`` in windows, and do nothing with it."""
    windows = np.lib.stride_tricks.sliding_window_view(sound, SIZE)[::HOP]
    taps = np.hanning(SIZE).astype(np.float32)
    for first in range(0, len(windows), 64):
        rfft(windows[first : first + 64] * taps)


def cepstra(sound: NDArray[np.float32]) -> None:
    """Work out the mel cepstra of ``sound`` in the same windows, as librosa does by default."""
    import librosa  # noqa: PLC0415 - loads slowly

    librosa.feature.mfcc(y=sound, sr=RATE, n_fft=SIZE, hop_length=HOP)


def first_call(sound: NDArray[np.float32]) -> float:
    """Return how long, s, librosa takes to load and to work out its first cepstra: it compiles then."""
    begin = time.perf_counter()
    cepstra(sound)
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
