"""Sound and programs to hear: a made-up cut, a simulated job, the same job over and over, carvings."""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.program import read
from monitor.listening import AT_ONCE
from monitor.sources import Block, Recording
from recordings_synthetic import record
from recordings_synthetic.job import BITS

RATE = 48_000
ONE_BIT = {0: Bit("bit", 6.0, 2, 18_000.0)}
JOB_BITS = {0: BITS[1], **BITS}

# Where the next copy of a job lies on a large sheet, mm, and how many lie side by side.
_APART, _ABREAST = (210.0, 150.0), 12


def cut(seconds: float) -> NDArray[np.float32]:
    """Return a made-up cut: lines of a two-flute bit in noise."""
    rng = np.random.default_rng(1)
    t = np.arange(round(RATE * seconds)) / RATE
    lines = sum(np.sin(2 * np.pi * 600 * k * t + k) / k for k in range(1, 6))
    return (0.03 * lines + 0.01 * rng.standard_normal(len(t))).astype(np.float32)


def job(text: str) -> NDArray[np.float32]:
    """Return the sound of a simulated job, by its program."""
    return record(read(text, "job"), BITS, seed=1, rate=RATE).samples


def long_job(text: str, times: int) -> str:
    """Return the program of so many such jobs, one beside the other on a large sheet."""
    lines, plain = list[str](), _plain(text)
    for number in range(times):
        row, column = divmod(number, _ABREAST)
        # To and fro, for the simulated machine makes no long way from one to the next.
        column = column if row % 2 == 0 else _ABREAST - 1 - column
        lines += (_moved(line, column * _APART[0], row * _APART[1]) for line in plain)
    return "\n".join(["%", *lines, "M30", "%"])


def _plain(text: str) -> list[str]:
    """Return a program's lines without its begin, its end, comments and N-words."""
    bare = (re.sub(r"^N\d+ ", "", re.sub(r"\(.*?\)", "", line)).strip() for line in text.splitlines())
    return [line for line in bare if line not in ("", "%", "M30")]


def _moved(line: str, x: float, y: float) -> str:
    line = re.sub(r"X(-?[\d.]+)", lambda found: f"X{float(found[1]) + x:g}", line)
    return re.sub(r"Y(-?[\d.]+)", lambda found: f"Y{float(found[1]) + y:g}", line)


class Looped:
    """
    A source that gives the same recording over and over.

    Parameters
    ----------
    path
        The recording.
    times
        How often.
    """

    rate, name = RATE, "looped"

    def __init__(self, path: Path, times: int) -> None:
        self._path, self._times = path, times

    def blocks(self) -> Iterator[Block]:
        """Give all blocks."""
        for _ in range(self._times):
            with Recording(self._path, AT_ONCE) as recording:
                yield from recording.blocks()


class InBlocks:
    """
    A source that gives sound as a microphone does, but as fast as it is heard.

    Parameters
    ----------
    sound
        The samples, shape (n,).
    rate
        Samples per second, Hz.
    size
        Samples in a block; the last may be shorter.
    """

    name = "in blocks"

    def __init__(self, sound: NDArray[np.float32], rate: int, size: int) -> None:
        self.rate = rate
        self._sound, self._size = sound, size

    def blocks(self) -> Iterator[Block]:
        """Give all blocks."""
        for first in range(0, len(self._sound), self._size):
            yield Block(self._sound[first : first + self._size])


def on_disk(folder: Path, name: str, samples: NDArray[np.float32]) -> Path:
    """Write a 16-bit recording, and return where it is."""
    import soundfile  # noqa: PLC0415 - only where sound is written

    path = folder / f"{name}.wav"
    soundfile.write(path, samples, RATE, subtype="PCM_16")
    return path
