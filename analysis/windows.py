"""
Blocks of any size in, fixed overlapping windows out.

A microphone hands over what it has, a file is read in whatever pieces are handy; what is computed from
the sound must depend on neither.
"""

import operator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray
from scipy.fft import next_fast_len

# Revolutions in a window, and the least and the most that it lasts, s.
_TURNS = 30
_SHORTEST, _LONGEST = 0.08, 0.5


class Windows:
    """
    Cuts a stream of samples into windows of ``size`` samples, one every ``hop`` samples.

    Window ``i``, counted over the whole stream from 0, covers the samples ``[i * hop, i * hop + size)``.
    The end of the stream is not padded: samples that fill no window give none.

    Parameters
    ----------
    size
        Samples in a window.
    hop
        Samples from the start of one window to the start of the next, at most ``size``: a larger hop
        would leave sound unheard.

    Raises
    ------
    ValueError
        If ``size`` or ``hop`` is not positive, or ``hop`` exceeds ``size``.
    TypeError
        If either is not an integer.

    Examples
    --------
    >>> windows = Windows(size=4, hop=2)
    >>> windows.feed(np.arange(3)).shape
    (0, 4)
    >>> windows.feed(np.arange(3, 7))
    array([[0., 1., 2., 3.],
           [2., 3., 4., 5.]], dtype=float32)
    >>> windows.position, windows.count
    (7, 2)
    """

    def __init__(self, size: int, hop: int) -> None:
        self.size = _positive("size", size)
        self.hop = _positive("hop", hop)
        if self.hop > self.size:
            raise ValueError(f"hop={hop} must not exceed size={size}: sound between windows goes unheard")
        self._pieces: list[NDArray[np.float32]] = []
        self._waiting = 0
        self._position = 0
        self._count = 0
        self._none = np.empty((0, self.size), dtype=np.float32)

    @property
    def position(self) -> int:
        """Number of samples fed so far."""
        return self._position

    @property
    def count(self) -> int:
        """Number of windows given so far, which is also the number of the next one."""
        return self._count

    def feed(self, block: ArrayLike) -> NDArray[np.float32]:
        """
        Take the next samples and return the windows that they complete.

        Parameters
        ----------
        block
            The samples, shape (n,), n may be 0. Other types than float32 are converted, not scaled.
            Non-finite samples are passed on: to judge them is another's task.

        Returns
        -------
        array of float32, shape (k, size)
            The completed windows, k may be 0. Read-only: rows overlap in memory. It stays valid; neither
            a later ``feed`` nor a caller who reuses ``block`` changes it.

        Raises
        ------
        ValueError
            If ``block`` is not one-dimensional.
        """
        samples = _samples(block)
        self._position += len(samples)
        self._waiting += len(samples)
        if self._waiting < self.size:
            # The caller may reuse the block's memory (an audio callback does), hence the copy.
            self._pieces.append(samples.copy())
            return self._none
        return self._cut(np.concatenate([*self._pieces, samples]))

    def _cut(self, joined: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the windows in ``joined``, and keep what the next window needs."""
        count = 1 + (len(joined) - self.size) // self.hop
        # A copy again: a view of a few samples would keep the whole of a huge block in memory.
        rest = joined[count * self.hop :].copy()
        self._pieces, self._waiting = [rest], len(rest)
        self._count += count
        if count == 1:  # as live: the view takes longer than all the rest
            joined.flags.writeable = False
            return joined[np.newaxis, : self.size]
        return sliding_window_view(joined, self.size)[:: self.hop][:count]


def window_size(rate: int, revolution: float) -> int:
    """
    Return how many samples make a window of about 30 revolutions.

    A window of n revolutions shows the spindle line n bins above zero, and so tells it from its
    neighbours. It lasts from 0.08 to 0.5 s before the number is rounded up to a fast one (by a few per cent,
    a ninth at most).

    Parameters
    ----------
    rate
        Samples per second, Hz.
    revolution
        Duration of one revolution, s.

    Returns
    -------
    int
        An even number of samples that transforms fast (no prime factor above 5).

    Raises
    ------
    ValueError
        If ``rate`` or ``revolution`` is not positive.

    Examples
    --------
    >>> window_size(48_000, 1 / 300)  # 18 000 rpm
    4800
    """
    for name, value in (("rate", rate), ("revolution", revolution)):
        if not 0 < value < np.inf:
            raise ValueError(f"{name}={value} must be positive")
    seconds = min(max(_TURNS * revolution, _SHORTEST), _LONGEST)
    # Twice a fast length is fast, and even.
    return 2 * int(next_fast_len(max(1, round(seconds * rate / 2)), real=True))


def _positive(name: str, value: int) -> int:
    """Return ``value`` as a positive ``int`` or say what is wrong with it."""
    number = operator.index(value)
    if number < 1:
        raise ValueError(f"{name}={value} must be a positive integer")
    return number


def _samples(block: ArrayLike) -> NDArray[np.float32]:
    """Return ``block`` as float32 samples; a value too large for float32 becomes infinite."""
    if isinstance(block, np.ndarray) and block.dtype == np.float32:
        samples = block
    else:
        with np.errstate(over="ignore"):
            samples = np.asarray(block, dtype=np.float32)
    if samples.ndim != 1:
        raise ValueError(f"a block of shape {samples.shape} must be one-dimensional: mix to mono first")
    return samples
