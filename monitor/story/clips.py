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
    if not run.keeps_sound:
        return None
    before, since = (_sound(run, *span) for span in _spans(run, incident))
    peak = max((float(np.abs(sound).max(initial=0.0)) for sound in (before, since)), default=0.0)
    if not len(before) or not len(since) or peak == 0.0:
        return None
    gain = _PEAK / peak
    louder = 20.0 * float(np.log10(gain))
    return Clips(_flac(gain * before, run.rate), _flac(gain * since, run.rate), louder)


def are_there(run: Run, incident: Incident) -> bool:
    """Return whether sound is there from before an alarm and since, without reading it."""
    return all(run.has_sound(*span) for span in _spans(run, incident))


def _spans(run: Run, incident: Incident) -> tuple[tuple[int, int], tuple[int, int]]:
    """Return from which sample up to which the sound before and since is."""
    onset = incident.alarm.onset
    ends = (onset - _BEFORE, onset, max(onset + _SINCE, incident.alarm.at + 1.0))
    begin, middle, end = (round(at * run.rate) for at in ends)
    return (begin, middle), (middle, end)


def _sound(run: Run, first: int, last: int) -> NDArray[np.float32]:
    """Return what is there of a sound: what is missing in it is no silence, and left out."""
    sound = run.sound(first, last)
    return sound[np.isfinite(sound)]


def _flac(samples: NDArray[np.float32], rate: int) -> bytes:
    held = io.BytesIO()
    soundfile.write(held, samples, rate, format="FLAC", subtype="PCM_16")
    return held.getvalue()
