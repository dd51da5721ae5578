"""A recording, read block by block."""

import os
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Self

import numpy as np

from analysis.errors import SoundError
from monitor.sources.block import Block


class Recording:
    """
    A recording on disk: WAV, FLAC, Ogg and whatever else libsndfile reads.

    It is read block by block, so that a recording of many hours takes no more memory than a short one.
    Several channels become one by their mean: a machine is heard by all of them.

    Parameters
    ----------
    path
        The file.
    seconds
        How much is read at once: more costs less to hear, and what is told of it comes in one go.

    Raises
    ------
    SoundError
        When there is no such file, it is not sound, or it holds none.

    Examples
    --------
    ::

        with Recording("cut.flac") as recording:
            for block in recording.blocks():
                hear(block.samples, recording.rate)
    """

    def __init__(self, path: str | Path, seconds: float = 1.0) -> None:
        self._path = Path(path)
        self._seconds = seconds
        self._file = _open_sound(self._path)
        self._promised = _promised_frames(self._path) or self.frames
        if self.frames == 0:
            self.close()
            raise SoundError(f"{path} holds no sound (its length is zero): record it again")

    @property
    def name(self) -> str:
        """The file's name without its folder."""
        return self._path.name

    @property
    def rate(self) -> int:
        """Samples per second, Hz."""
        return int(self._file.samplerate)

    @property
    def frames(self) -> int:
        """How many samples (per channel) the file says it holds."""
        return int(self._file.frames)

    def blocks(self, size: int | None = None) -> Iterator[Block]:
        """
        Give the whole recording from its start, block by block.

        Parameters
        ----------
        size
            Samples in a block, the last may be shorter; as many as are read at once when ``None``.

        Yields
        ------
        Block
            The next samples.

        Raises
        ------
        SoundError
            After everything readable was given, when the recording breaks off before the end that its
            header promises. What was heard up to there stands.
        """
        from soundfile import SoundFileRuntimeError  # noqa: PLC0415 - loads libsndfile; not at start-up

        size = size or round(self._seconds * self.rate)
        heard = 0
        try:
            self._file.seek(0)
            while len(frames := self._file.read(size, dtype="float32", always_2d=True)):
                heard += len(frames)
                yield Block(frames.mean(axis=1, dtype=np.float32))
        except SoundFileRuntimeError as error:
            raise self._broken(heard) from error
        if heard < self._promised:
            raise self._broken(heard)

    def _broken(self, heard: int) -> SoundError:
        at, whole = heard / self.rate, self._promised / self.rate
        return SoundError(
            f"{self._path} breaks off after {at:.1f} s of {whole:.1f} s: "
            "what came before was heard; copy the file again to hear the rest"
        )

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def __enter__(self) -> Self:
        """Give itself; the file is open already."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of the file."""
        self.close()


def _open_sound(path: Path) -> Any:  # noqa: ANN401 - soundfile brings no types
    import soundfile  # noqa: PLC0415 - as above

    try:
        with path.open("rb"):  # libsndfile calls every failure here a "System error"
            # soundfile would encode the name anew, which fails where it is older than UTF-8.
            return soundfile.SoundFile(os.fsencode(path) if os.name == "posix" else path)
    except FileNotFoundError as error:
        raise SoundError(f"there is no recording {path}: check its name and folder") from error
    except OSError as error:
        raise SoundError(f"cannot open {path} ({error.strerror}): give the name of a sound file") from error
    except soundfile.SoundFileRuntimeError as error:
        raise SoundError(f"{path} is not a sound file that can be read: give a WAV or FLAC file") from error


# A recorder that writes into a pipe cannot go back to fill in the length, and puts one of these or so.
_LENGTH_UNKNOWN = 0x7FFF0000


def _promised_frames(path: Path) -> int:
    """
    Return how many frames the header of a WAV file promises, 0 when it promises nothing.

    libsndfile quietly takes a file that was copied half for a shorter one, so the header is read here.
    """
    with path.open("rb") as file:
        riff = file.read(12)
        if riff[:4] != b"RIFF" or riff[8:] != b"WAVE":
            return 0
        frame = 0
        while len(head := file.read(8)) == 8:
            kind, length = head[:4], struct.unpack("<I", head[4:])[0]
            if kind == b"data":
                return length // frame if frame and length < _LENGTH_UNKNOWN else 0
            body = file.read(length + length % 2)
            if kind == b"fmt " and len(body) >= 14:
                frame = struct.unpack_from("<H", body, 12)[0]
    return 0
