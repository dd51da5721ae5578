"""The spindle's speed, read from the sound: its lines, the swell of its cut, and what was set."""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from analysis.orders import Rows32, Rows64, medians

# What one line may add to the score of a speed, dB: a few loud lines must not outvote the whole comb.
_LEAST, _MOST = -3.0, 15.0

# Speeds tried to either side of the best one whose scores place it: ten bins of the highest line.
_ASIDE = 20
_NEAR = np.arange(-_ASIDE, _ASIDE + 1)

# They count by how much they stand above the best score less this share of its prominence.
_SHARE = 0.2

# Tooth-pass harmonics that are looked at in the swell, and what one dB of theirs is worth in dB of lines.
TEETH, _SWELLS = 3, np.float32(0.6)

# A spindle is within this of what was set, relative, as a deviation; and what a speed far from it loses, dB.
_USUALLY, _REMOTE = 0.06, 1.0


@dataclass(frozen=True)
class SpeedGrid:
    """
    Reads the spindle frequency, told by three witnesses that are weighed together.

    The comb of lines at its multiples stands out of the noise. The hiss of the cut swells with each tooth,
    which no other machine in the shop makes it do. And a spindle seldom turns much faster or slower than it
    was set to: what stands out far from that is more likely another machine.

    Attributes
    ----------
    delta_f
        Hz from one bin to the next.
    low, high
        Spindle frequencies to look between, Hz.
    lines
        How many lines a comb has: orders 1, 2, ... ``lines``.
    flutes
        Cutting edges of the bit.
    nominal
        Spindle frequency that was set, Hz; ``None`` where nobody told it.
    """

    delta_f: float
    low: float
    high: float
    lines: int
    flutes: int = 1
    nominal: float | None = None

    @property
    def step(self) -> float:
        """Relative distance of two speeds tried: half a bin at the highest line."""
        return 0.5 * self.delta_f / (self.lines * self.high)

    @cached_property
    def frequencies(self) -> NDArray[np.float64]:
        """The spindle frequencies tried, Hz, shape (g,)."""
        count = int(np.ceil(np.log(self.high / self.low) / self.step)) + 1
        frequencies: NDArray[np.float64] = np.geomspace(self.low, self.high, count)
        return frequencies

    @cached_property
    def _bins(self) -> NDArray[np.intp]:
        orders = np.arange(1, self.lines + 1)[:, np.newaxis]
        return np.rint(orders * self.frequencies / self.delta_f).astype(np.intp)

    @property
    def bins(self) -> int:
        """How many bins of a spectrum are looked at."""
        return int(self._bins[-1, -1]) + 1

    @cached_property
    def _weights(self) -> NDArray[np.float32]:
        # An idle spindle shows its first lines only; the high ones tell the speed most exactly.
        weights = np.arange(1, self.lines + 1) ** -0.5
        shares: NDArray[np.float32] = (weights / weights.sum()).astype(np.float32)
        return shares

    @cached_property
    def _combs(self) -> csr_array:
        return _means_of(self._bins, self._weights)

    def scores(self, above: Rows32) -> Rows32:
        """
        Return how much the comb of each speed stands above the floor, dB, weighted mean over its lines.

        Parameters
        ----------
        above
            Spectra in dB above their local floor, shape (k, bins).

        Returns
        -------
        array of float32, shape (k, g)
        """
        return _means(above, self._combs)

    @lru_cache(maxsize=16)  # noqa: B019 - grids are small, few, and equal ones share
    def _teeth(self, size: int) -> csr_array:
        # At half the speed a bit's second tooth-pass would swell where the true one does: nobody told that it
        # is no such speed, so the first one alone tells. With one flute all swells are a tooth's.
        teeth = TEETH if self.nominal is not None or self.flutes == 1 else 1
        orders = self.flutes * np.arange(1, teeth + 1)[:, np.newaxis]
        bins = np.rint(orders * self.frequencies / self.delta_f).astype(np.intp)
        heard = bins[bins[:, -1] < size]
        return _means_of(heard, np.full(len(heard), 1.0 / teeth, dtype=np.float32))

    def teeth(self, above: Rows32) -> Rows32:
        """
        Return how much the hiss swells with the teeth of each speed, dB, mean over tooth-pass harmonics.

        Those above the end of the swell's spectrum count as no swell at all.

        Parameters
        ----------
        above
            Spectra of the swell in dB above their local floor, shape (k, b).

        Returns
        -------
        array of float32, shape (k, g)
        """
        return _means(above, self._teeth(above.shape[1]))

    @cached_property
    def ratios(self) -> NDArray[np.float64]:
        """Logarithms of the speeds' ratios to what was set, shape (g,); 0 where nobody told that."""
        if self.nominal is None:
            return np.zeros(len(self.frequencies))
        ratios: NDArray[np.float64] = np.log(self.frequencies / self.nominal)
        return ratios

    @cached_property
    def remote(self) -> NDArray[np.float32]:
        """What being far from what was set takes off each speed's score, dB, shape (g,)."""
        return remoteness(self.ratios).astype(np.float32)

    def best(self, comb: Rows32, teeth: Rows32, loses: Rows32) -> tuple[Rows64, Rows32, Rows32]:
        """
        Return the likeliest speed, how far its comb stands out, and how far all that tells of it does.

        Loud lines are wider than a bin: about the true speed the comb's scores form a plateau. Its middle is
        the speed, not the point on it that happens to be the highest.

        Parameters
        ----------
        comb, teeth
            From :meth:`scores` and :meth:`teeth`, or a mean of several, shape (k, g).
        loses
            What each speed loses for being unlikely, dB, shape (g,): :attr:`remote` where no more is known.

        Returns
        -------
        speed
            Spindle frequency, Hz, shape (k,).
        prominence
            The comb's score there above the median of all, dB, shape (k,).
        together
            As much of comb, teeth and likelihood, dB, shape (k,).
        """
        heard = comb + _SWELLS * teeth
        weighed = heard - loses
        likely = weighed.argmax(axis=1)
        # What most speeds lose must not make the others stand out.
        together = weighed[np.arange(len(weighed)), likely] - medians(heard - self.remote)
        stands = comb - medians(comb)[:, np.newaxis]
        # The comb alone tells the speed exactly.
        near, scores = self._about(likely, stands)
        best = near[np.arange(len(near)), scores.argmax(axis=1)]
        near, scores = self._about(best, stands)
        top = scores[:, _ASIDE]
        weight = np.maximum(scores.astype(np.float64) - (1.0 - _SHARE) * top[:, np.newaxis], 0.0)
        # The best one counts a little even if none stands out at all.
        weight[:, _ASIDE] += 1e-9
        speed = np.add.reduce(weight * self.frequencies[near], axis=1) / np.add.reduce(weight, axis=1)
        return speed, top, together

    def at(self, scores: Rows32, speed: Rows64) -> Rows32:
        """Return each row's score at its speed, Hz, shape (k,)."""
        place = np.rint(np.log(speed / self.low) / np.log(self.high / self.low) * (scores.shape[1] - 1))
        found: Rows32 = scores[np.arange(len(scores)), place.astype(np.intp)]
        return found

    def _about(self, place: NDArray[np.intp], scores: Rows32) -> tuple[NDArray[np.intp], Rows32]:
        """Return the places about each row's, and the scores there: none beyond the ends."""
        near, rows = place[:, np.newaxis] + _NEAR, np.arange(len(scores))[:, np.newaxis]
        if place.min(initial=_ASIDE) >= _ASIDE and place.max(initial=0) < scores.shape[1] - _ASIDE:
            return near, scores[rows, near]
        tried = (near >= 0) & (near < scores.shape[1])
        near = np.where(tried, near, place[:, np.newaxis])
        return near, np.where(tried, scores[rows, near], np.float32(-np.inf))


def remoteness(ratio: Rows64) -> Rows64:
    """Return what a speed loses for being far from what was set, dB, by the logarithm of their ratio."""
    remote: Rows64 = np.minimum(0.5 * (ratio / _USUALLY) ** 2, _REMOTE)
    return remote


def _means_of(bins: NDArray[np.intp], weights: NDArray[np.float32]) -> csr_array:
    """Return what takes weighted means of each column of ``bins``, shape (m, g), as a matrix (g, bins)."""
    lines, speeds = bins.shape
    values, begins = np.tile(weights, speeds), np.arange(speeds + 1) * lines
    return csr_array((values, bins.T.ravel(), begins), shape=(speeds, int(bins.max(initial=0)) + 1))


def _means(above: Rows32, means: csr_array) -> Rows32:
    """Return the means of rows, clipped, shape (k, g)."""
    heard = np.minimum(np.maximum(above[:, : means.shape[1]], _LEAST), _MOST)
    # Unlike a product of dense matrices this adds the lines in their order, however many rows there are.
    return np.ascontiguousarray((means @ np.ascontiguousarray(heard.T)).T)
