"""A recording, read block by block."""

import io
import os
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext, suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from analysis.errors import SoundError
from monitor.sources.block import Block
from monitor.sources.promised import head_of, lacks_end

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

COARSEST = 4000
"""
The lowest sampling rate that is heard, Hz.

At 1 kHz a tight bit was taken for a loose one, for most of the hiss of its cut is missing; at this one the
shipped recordings end as they do at their own.
"""


# Pieces of 1 s by which a channel is chosen.
_PIECES = 60


class Recording:
    """
    A recording on disk: WAV, FLAC, Ogg, MP3 and whatever else libsndfile reads.

    Of these, and of RF64, it is known whether they were copied whole.

    It is read block by block, so that a recording of many hours takes no more memory than a short one.
    Of several channels one is heard, see `best_channel`.

    Parameters
    ----------
    path
        The file.
    seconds
        How much is read at once: more costs less to hear, and what is told of it comes in one go.

    Raises
    ------
    SoundError
        When there is no such file, it is not sound, it holds none, or has too few samples a second.

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
        self._file, self._beneath = _open_sound(self._path)
        self._promised = head_of(self._path).frames or self.frames
        self._channel = _channel_of(self._path) if self._file.channels > 1 else 0
        if trouble := self._trouble():
            self.close()
            raise SoundError(f"{path} {trouble}")

    def _trouble(self) -> str:
        """Return why it can't be heard; empty when it can."""
        if self.frames == 0:
            return "holds no sound (its length is zero): record it again"
        if self.rate < COARSEST:
            return (
                f"has only {self.rate} samples a second, too few to hear a bit: "
                f"record at {COARSEST} or more, best at 48000"
            )
        return ""

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
            After everything readable was given, when the recording breaks off before the end that it
            promises. What was heard up to there stands.
        """
        from soundfile import SoundFileRuntimeError  # noqa: PLC0415 - loads libsndfile; not at start-up

        size = size or round(self._seconds * self.rate)
        heard = 0
        try:
            with _quiet():
                self._file.seek(0)
            for frames in _read_all(self._file, size):
                heard += len(frames)
                yield Block(np.ascontiguousarray(frames[:, self._channel]))
        except SoundFileRuntimeError as error:
            raise self._broken(heard) from error
        if heard < self._promised:
            raise self._broken(heard)
        if self._file.format == "OGG" and lacks_end(self._path):
            raise self._broken(heard, ", before the mark at an Ogg file's end")

    def _broken(self, heard: int, short: str = "") -> SoundError:
        at, short = heard / self.rate, short or f" of {self._promised / self.rate:.1f} s"
        return SoundError(
            f"{self._path} breaks off after {at:.1f} s{short}: "
            "what came before was heard; copy the file again to hear the rest"
        )

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()
        if self._beneath is not None:
            self._beneath.close()

    def __enter__(self) -> Self:
        """Give itself; the file is open already."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let go of the file."""
        self.close()


def _channel_of(path: Path) -> int:
    """Return which channel of a recording is heard."""
    from monitor.sources.channels import best_channel  # noqa: PLC0415 - loads scipy; not at start-up

    return best_channel(_pieces(path))


def _pieces(path: Path) -> Iterator[NDArray[np.float32]]:
    """
    Give pieces from all over a recording, (n, c); those that cannot be read are left out.

    The file is opened for it anew, for it may be of no more use after a place that cannot be found.
    """
    from soundfile import SoundFileRuntimeError  # noqa: PLC0415 - as above

    file, beneath = _open_sound(path)
    with file, beneath or nullcontext():
        long = min(file.samplerate, file.frames)
        count = min(_PIECES, file.frames // max(1, long))
        for begin in np.linspace(0, file.frames - long, count).astype(int):
            with suppress(SoundFileRuntimeError):
                with _quiet():
                    file.seek(int(begin))
                yield _read(file, long)


def _read(file: Any, size: int) -> NDArray[np.float32]:  # noqa: ANN401 - the library is loaded late
    """Return the next frames, (n, c)."""
    with _quiet():
        frames: NDArray[np.float32] = file.read(size, dtype="float32", always_2d=True)
    return frames


def _read_all(file: Any, size: int) -> Iterator[NDArray[np.float32]]:  # noqa: ANN401 - as above
    """Give all frames, (n, c), by ``size``; also those before a place that cannot be read, and then raise."""
    from soundfile import SoundFileRuntimeError  # noqa: PLC0415 - as above

    while True:
        # What was decoded of a piece before it failed stands in it, but is not returned.
        piece, begin = np.empty((size, file.channels), dtype=np.float32), file.tell()
        try:
            with _quiet():
                frames = file.read(out=piece)
        except SoundFileRuntimeError:
            if decoded := file.tell() - begin:
                yield piece[:decoded]
            raise
        if not len(frames):
            return
        yield frames


@contextmanager
def _quiet() -> Iterator[None]:
    """
    Let nothing get to standard error: the decoder of MP3 tells there what it has put right.

    Whoever reads it takes that for a recording that is broken. Of one that is, this file says so itself.
    """
    if sys.__stderr__ is None:  # begun without one: its number may be that of the recording
        yield
        return
    with ExitStack() as back:
        with suppress(OSError):  # where it cannot be turned away, it is told
            kept = os.dup(_STANDARD_ERROR)
            back.callback(os.close, kept)
            with Path(os.devnull).open("wb") as nowhere:
                os.dup2(nowhere.fileno(), _STANDARD_ERROR)
            back.callback(os.dup2, kept, _STANDARD_ERROR)
        yield


_STANDARD_ERROR = 2


class _Unfinished(io.FileIO):
    """
    A WAV file whose recorder was ended before it wrote how long the sound is.

    It reads as if the recorder had said that it did not know: then all that is there is the sound.

    Parameters
    ----------
    path
        The file.
    length_at
        Where its length stands.
    """

    def __init__(self, path: Path, length_at: int) -> None:
        super().__init__(path)
        self._length_at = length_at

    def readinto(self, buffer: "WriteableBuffer", /) -> int:
        """Read, and put a length that means nothing where 0 stands."""
        first = self._length_at - self.tell()
        count = super().readinto(buffer)
        view = memoryview(buffer).cast("B")
        for at in range(max(first, 0), min(first + 4, count)):
            view[at] = 0xFF
        return count


def _open_sound(path: Path) -> tuple[Any, IO[bytes] | None]:
    """Open a sound file; return also the file beneath, where that is not the sound file's own to close."""
    import soundfile  # noqa: PLC0415 - loads libsndfile; not at start-up

    if path.is_fifo():  # it can be read once, and from its begin on alone
        raise SoundError(f"{path} is a pipe, and none can be heard: save it as a file, and give that")
    try:
        length_at = head_of(path).length_at  # libsndfile calls every failure here a "System error"
        if length_at:
            beneath = _Unfinished(path, length_at)
            return soundfile.SoundFile(beneath), beneath
        # soundfile would encode the name anew, which fails where it is older than UTF-8.
        with _quiet():
            return soundfile.SoundFile(os.fsencode(path) if os.name == "posix" else path), None
    except FileNotFoundError as error:
        raise SoundError(f"there is no recording {path}: check its name and folder") from error
    except OSError as error:
        raise SoundError(f"cannot open {path} ({error.strerror}): give the name of a sound file") from error
    except (TypeError, ValueError) as error:  # soundfile takes .raw for sound of which it must be told all
        raise SoundError(f"{path} is raw sound without a header: give a WAV or FLAC file") from error
    except soundfile.SoundFileRuntimeError as error:
        raise SoundError(f"{path} is not a sound file that can be read: give a WAV or FLAC file") from error
