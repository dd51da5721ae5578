"""
Sound on disk, in segments.

While it is recorded a segment is a WAV file: what has been written of one can be read even if its header
was never finished, which is not so for FLAC. A finished segment is turned into FLAC.

Samples are kept as 24-bit integers, value times 2²³: exact for what 16-bit and 24-bit microphones deliver,
so that a run that is heard again sounds the same to the last bit. Values beyond full scale are clipped, and
values that are not finite become zero; the events say when such were heard.
"""

import errno
import io
import os
import shutil
import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from monitor.journal.near import Near
from monitor.journal.room import Room
from monitor.journal.waiting import Waiting

FULL_SCALE = 1 << 23
_BYTES = 3

# Sound leaves so many bytes of the disk free for the events and features of some hours: they are worth more.
_SPARE = 16e6
_WAV_HEADER = struct.Struct("<4sI4s4sIHHIIHH4sI")


def to_integers(samples: NDArray[np.float32]) -> NDArray[np.int32]:
    """Return samples as 24-bit integers, (n,)."""
    scaled = np.nan_to_num(samples.astype(np.float64), nan=0.0, posinf=0.0, neginf=0.0) * FULL_SCALE
    return np.clip(np.rint(scaled), -FULL_SCALE, FULL_SCALE - 1).astype(np.int32)


def _wav_header(rate: int, samples: int) -> bytes:
    """Return the header of a WAV file: one channel, 24-bit integers."""
    size = samples * _BYTES
    form = (1, 1, rate, rate * _BYTES, _BYTES, 8 * _BYTES)
    return _WAV_HEADER.pack(b"RIFF", 36 + size, b"WAVE", b"fmt ", 16, *form, b"data", size)


class Segment:
    """
    One segment, being written.

    Parameters
    ----------
    path
        The WAV file, which must not exist.
    rate
        Samples per second, Hz.
    """

    def __init__(self, path: Path, rate: int) -> None:
        self.path = path
        self.samples = 0
        self._rate = rate
        self._file = path.open("xb")
        self._file.write(_wav_header(rate, 0))

    def write(self, samples: NDArray[np.float32]) -> None:
        """Add samples, (n,)."""
        bytes_of_each = to_integers(samples).astype("<i4").view(np.uint8).reshape(-1, 4)
        self._file.write(bytes_of_each[:, :_BYTES].tobytes())
        self.samples += len(samples)

    def flush(self) -> None:
        """Put everything on disk, the samples before the header that counts them."""
        self._file.flush()
        self._file.seek(0)
        self._file.write(_wav_header(self._rate, self.samples))
        self._file.seek(0, os.SEEK_END)
        os.fsync(self._file.fileno())

    def close(self) -> Path:
        """Finish the segment as FLAC, or as WAV where FLAC, or the disk, cannot hold it; return its file."""
        self.flush()
        self._file.close()
        return _to_flac(self.path, self._rate)

    def abandon(self) -> None:
        """Let go of the file, whatever its state."""
        self._file.close()


def _to_flac(path: Path, rate: int) -> Path:
    """Replace a WAV file by a FLAC file, so that at every moment one of them is there whole."""
    import soundfile  # noqa: PLC0415 - loads libsndfile; not at start-up

    encoded = io.BytesIO()
    try:
        soundfile.write(encoded, read_integers(path) << 8, rate, format="FLAC", subtype="PCM_24")
    except soundfile.SoundFileRuntimeError:
        return path  # a rate that FLAC does not know
    half, flac = path.with_suffix(".part"), path.with_suffix(".flac")
    try:
        with half.open("wb") as file:
            file.write(encoded.getbuffer())
            file.flush()
            os.fsync(file.fileno())
        half.replace(flac)
    except OSError:
        half.unlink(missing_ok=True)
        return path  # there is no room for both; whole it is already
    path.unlink()
    return flac


class SoundWriter:
    """
    The sound of a run, being written segment after segment.

    Parameters
    ----------
    folder
        The run's folder.
    waiting
        What is to be written into the run's database, which lists the segments.
    rate
        Samples per second, Hz.
    segment_samples
        How many samples go into one segment.
    near
        Which sound is kept; all of it without.
    room
        What it may take on disk; as much as there is without.
    """

    def __init__(  # noqa: PLR0913 - all but two are named
        self,
        folder: Path,
        waiting: Waiting,
        *,
        rate: int,
        segment_samples: int,
        near: Near | None = None,
        room: Room | None = None,
    ) -> None:
        self._folder = folder
        self._waiting = waiting
        self._rate = rate
        self._size = segment_samples
        self._written = 0
        self._segment: Segment | None = None
        self._near = near
        self._room = room
        self._doubtful: list[tuple[int, int, str]] = []

    def event(self, name: str, at: float) -> None:
        """Note that something happened: the sound near it may be kept for that."""
        if self._near:
            self._near.event(name, at)

    def write(self, samples: NDArray[np.float32]) -> None:
        """Add the run's next samples, (n,)."""
        while len(samples):
            segment = self._segment or self._begin()
            part = samples[: self._size - segment.samples]
            segment.write(part)
            self._written += len(part)
            samples = samples[len(part) :]
            if segment.samples == self._size:
                self._finish()

    def _begin(self) -> Segment:
        self._look_for_room()
        path = f"sound/{self._written // self._size + 1:06d}.wav"
        self._segment = Segment(self._folder / path, self._rate)
        self._segment.flush()
        listed = "INSERT INTO segments (path, first_sample) VALUES (?, ?)"
        self._waiting.soon(listed, path, self._written)
        return self._segment

    def _look_for_room(self) -> None:
        """Raise OSError where a segment, as WAV and as FLAC, would take the room that events need."""
        if shutil.disk_usage(self._folder).free < 2 * _BYTES * self._size + _SPARE:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def flush(self) -> None:
        """Put everything on disk."""
        if self._segment:
            self._segment.flush()

    def close(self) -> None:
        """Finish the segment that is being written, the last."""
        self._finish()
        self._drop(last=True)

    def _finish(self) -> None:
        if segment := self._segment:
            path = segment.close()
            self._segment = None
            name, first = f"sound/{path.name}", self._written - segment.samples
            ended = "UPDATE segments SET path = ?, samples = ? WHERE first_sample = ?"
            self._waiting.soon(ended, name, segment.samples, first)
            if self._near:
                self._doubtful.append((first, self._written, name))
                self._drop(last=False)
            else:
                self._keep(name)

    def _keep(self, name: str) -> None:
        """Let a segment take room, now that it is not taken away for what did not happen."""
        if self._room:
            self._room.add(self._folder / name)

    def _drop(self, *, last: bool) -> None:
        """Take away the sound that is near no event, once none can come near it any more."""
        if self._near is None:
            return
        waiting, now = self._doubtful, self._written / self._rate
        self._doubtful = []
        for first, end, name in waiting:
            if self._near.keeps(first / self._rate, end / self._rate):
                self._keep(name)
                continue
            if not last and self._near.may_keep(end / self._rate, now):
                self._doubtful.append((first, end, name))
                continue
            (self._folder / name).unlink(missing_ok=True)
            self._waiting.soon("DELETE FROM segments WHERE first_sample = ?", first)

    def abandon(self) -> None:
        """Let go of the file, whatever its state."""
        segment, self._segment = self._segment, None
        if segment:
            segment.abandon()


def read_integers(path: Path) -> NDArray[np.int32]:
    """
    Return all samples of a segment's WAV file, (n,), as far as they were written.

    The length in the header is not asked: it is behind when the program was killed.
    """
    written = path.read_bytes()[_WAV_HEADER.size :]
    count = len(written) // _BYTES
    padded = np.zeros((count, 4), dtype=np.uint8)
    padded[:, 1:] = np.frombuffer(written, np.uint8, count * _BYTES).reshape(count, _BYTES)
    # In the upper three bytes the sign is where it belongs; the shift carries it down.
    return padded.view("<i4").reshape(count).astype(np.int32) >> 8


def read_segment(path: Path) -> NDArray[np.float32]:
    """
    Return all samples of a segment, (n,) float32, whether it is WAV or FLAC by now.

    Raises
    ------
    OSError, RuntimeError
        When its file is not there, or cannot be read.
    """
    if path.suffix == ".wav" and path.exists():
        return (read_integers(path) / FULL_SCALE).astype(np.float32)
    import soundfile  # noqa: PLC0415 - as above

    samples, _ = soundfile.read(path.with_suffix(".flac"), dtype="float32")
    return np.asarray(samples, dtype=np.float32)
