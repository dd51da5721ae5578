"""Short sounds around an alarm, to be listened to."""

import io
from dataclasses import dataclass

import numpy as np
import soundfile
from numpy.typing import NDArray

from monitor.journal import Run
from monitor.story.story import Incident

MIME = "audio/flac"

_BEFORE, _SINCE = 4.0, 4.0  # s
# The louder of the two is brought up to this peak, the other by as much: a cut far away is hardly heard.
_PEAK = 0.5


@dataclass(frozen=True)
class Clips:
    """
    What was heard before the change began and since, as FLAC files.

    Attributes
    ----------
    before, since
        The files.
    louder
        By how much both were made louder, dB; less than 0 if quieter.
    """

    before: bytes
    since: bytes
    louder: float


def clips(run: Run, incident: Incident) -> Clips | None:
    """Return the sounds around an alarm; ``None`` where no sound is kept of one of the two."""
    onset = incident.alarm.onset
    if not run.keeps_sound:
        return None
    before = _sound(run, onset - _BEFORE, onset)
    since = _sound(run, onset, max(onset + _SINCE, incident.alarm.at + 1.0))
    peak = max((float(np.abs(sound).max(initial=0.0)) for sound in (before, since)), default=0.0)
    if not len(before) or not len(since) or peak == 0.0:
        return None
    gain = _PEAK / peak
    louder = 20.0 * float(np.log10(gain))
    return Clips(_flac(gain * before, run.rate), _flac(gain * since, run.rate), louder)


def _sound(run: Run, begin: float, end: float) -> NDArray[np.float32]:
    return np.nan_to_num(run.sound(round(begin * run.rate), round(end * run.rate)))


def _flac(samples: NDArray[np.float32], rate: int) -> bytes:
    held = io.BytesIO()
    soundfile.write(held, samples, rate, format="FLAC", subtype="PCM_16")
    return held.getvalue()
