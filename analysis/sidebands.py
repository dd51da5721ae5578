"""
A tone off the spindle's orders that comes back a tooth-pass away: what only a cut that chatters has.

Force comes while a tooth is in the wood, so a vibration of its own frequency sounds at that frequency plus
and minus whole multiples of tooth-pass (Dombovari, Zatarain & Insperger 2010), which lie off the tooth-pass
multiples (Schmitz & Smith, Machining Dynamics, eq. 6.1.2). Talk, music and other machines have tones off the
orders too, but theirs are not a tooth-pass apart.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.orders import Rows32, Rows64

# Hz up to which such tones are looked for.
_HIGHEST = 6000.0
# Bins within which a windowed line of a whole or a half order is heard.
_ON_AN_ORDER = 2.6
# How far away, in tooth-passes, the tone is looked for again.
_AWAY = np.array([-2, -1, 1, 2])
# What one tone may count for, dB.
_MOST = np.float32(25.0)


@dataclass(frozen=True)
class Sidebands:
    """
    Looks for such a tone in spectra.

    Attributes
    ----------
    delta_f
        Hz from one bin to the next.
    flutes
        Cutting edges of the bit.
    bins
        How many bins the spectra have.
    """

    delta_f: float
    flutes: int
    bins: int

    @property
    def wanted(self) -> int:
        """How many bins are looked at."""
        return min(int(_HIGHEST / self.delta_f), self.bins)

    def find(self, above: Rows32, frequency: Rows64) -> tuple[Rows32, Rows64]:
        """
        Return how far the tone and those that come back stand out, and where it is.

        Parameters
        ----------
        above
            Spectra in dB above their local floor, shape (k, ``wanted``).
        frequency
            Spindle frequency of each row, Hz, shape (k,).

        Returns
        -------
        height
            The mean of the strongest tone off the orders and of the two highest of its neighbours, one and
            two tooth-passes above and below, dB, shape (k,). At most twice the lower of the two: one may be
            there by chance, two are not.
        tone
            Frequency of the strongest tone, Hz, shape (k,).
        """
        turns = frequency[:, np.newaxis] / self.delta_f
        halves = np.arange(above.shape[1], dtype=np.float32) * (2.0 / turns).astype(np.float32)
        whole = np.rint(halves)
        halves -= whole
        off = np.abs(halves, out=halves) > (2.0 * _ON_AN_ORDER / turns).astype(np.float32)
        tones = np.minimum(np.maximum(above, np.float32(0)), _MOST)
        tones *= off & (whole > 0)
        strongest = tones.argmax(axis=1)
        beside = np.rint(strongest[:, np.newaxis] + _AWAY * self.flutes * turns).astype(np.intp)
        lower, higher = np.sort(_highest_of_three(tones, beside), axis=1)[:, -2:].T
        tone = tones[np.arange(len(tones)), strongest]
        return np.minimum((tone + higher + lower) / np.float32(3), 2 * lower), strongest * self.delta_f


def _highest_of_three(tones: Rows32, bins: NDArray[np.intp]) -> Rows32:
    """Return the highest of each bin and its two neighbours, shape (k, j); 0 beyond the ends."""
    last = tones.shape[1] - 2
    rows = np.arange(len(tones))[:, np.newaxis]
    there = np.minimum(np.maximum(bins, 1), last)
    highest = np.maximum(np.maximum(tones[rows, there - 1], tones[rows, there]), tones[rows, there + 1])
    return np.where((bins >= 1) & (bins <= last), highest, np.float32(0))
