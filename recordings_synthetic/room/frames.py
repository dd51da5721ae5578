"""Gains that follow the sound: set frame by frame from what was heard before, and gliding in between."""

from abc import ABC, abstractmethod

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FRAME = 0.02  # s


class Followed(ABC):
    """
    Gains of one or several bands that follow the sound.

    Frames are counted from the first sample, and a frame's gain knows only frames before it: nothing is
    delayed, and the size of the blocks does not matter.

    Parameters
    ----------
    bands
        How many.
    rate
        Samples a second.
    """

    def __init__(self, bands: int, rate: int) -> None:
        length = max(1, round(FRAME * rate))
        self.step = length / rate
        self._frame = np.zeros((bands, length))
        self._squares = np.zeros((bands, length))
        self._lift = np.arange(length) / length
        self._place = 0
        self._before = self._after = np.ones(bands)

    @abstractmethod
    def heard(self, power: Floats) -> Floats:
        """Return the next gains, from the mean powers (bands,) of the frame that has just ended."""

    def ride(self, sounds: Floats) -> Floats:
        """Give the bands' sounds (bands, n) their gains, in place, and return them."""
        done = 0
        while done < sounds.shape[1]:
            n = min(sounds.shape[1] - done, self._frame.shape[1] - self._place)
            here, there = slice(self._place, self._place + n), slice(done, done + n)
            gain = self._before[:, None] + self._lift[here] * (self._after - self._before)[:, None]
            self._frame[:, here] = sounds[:, there]
            sounds[:, there] *= gain
            self._place, done = self._place + n, done + n
            if self._place == self._frame.shape[1]:
                self._place = 0
                np.multiply(self._frame, self._frame, out=self._squares)
                self._before, self._after = self._after, self.heard(np.mean(self._squares, axis=1))
        return sounds
