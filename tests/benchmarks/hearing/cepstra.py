"""The windows that chipsong hears as cepstral coefficients, for the general-purpose scores."""

import librosa
import numpy as np
from numpy.typing import NDArray

COEFFICIENTS = 20
_BANDS = 64
_BATCH = 512

Floats = NDArray[np.float64]


def cepstra(samples: NDArray[np.float32], rate: int, size: int, hop: int) -> Floats:
    """
    Return mel-frequency cepstral coefficients and the level of each window.

    Returns
    -------
    coefficients
        (n, COEFFICIENTS), of the mel spectrum in dB, the first being the level of all bands.
    level
        (n,) mean square in dB.
    """
    windows = np.lib.stride_tricks.sliding_window_view(samples, size)[::hop]
    taper = np.hanning(size + 1)[:-1].astype(np.float32)
    bands = librosa.filters.mel(sr=rate, n_fft=size, n_mels=_BANDS)
    rows = []
    for first in range(0, len(windows), _BATCH):
        power = np.abs(np.fft.rfft(windows[first : first + _BATCH] * taper)) ** 2
        # No floor relative to the loudest window: one bang would move it.
        mel = librosa.power_to_db(bands @ power.T, top_db=None)
        rows.append(librosa.feature.mfcc(S=mel, n_mfcc=COEFFICIENTS).T)
    return np.concatenate(rows).astype(np.float64)


def levels(samples: NDArray[np.float32], size: int, hop: int) -> Floats:
    """Return the level of each window, (n,) dB."""
    total = np.concatenate(([0.0], np.cumsum(samples.astype(np.float64) ** 2)))
    first = np.arange(0, len(samples) - size + 1, hop)
    return np.asarray(10.0 * np.log10(np.maximum((total[first + size] - total[first]) / size, 1e-12)))
