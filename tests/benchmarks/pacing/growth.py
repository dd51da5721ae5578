"""
How costs grow: with the length of a job, and with the size of a program. Each is measured in a process.

    python -m pacing.growth length RECORDING TIMES PROGRAM   a recorded job, so many times
    python -m pacing.growth size RECORDING LINES             a cut, with a carving of so many lines
"""

import json
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from bench_program import carving

from analysis.program import read
from monitor.setup import locator_for
from monitor.sources import Block
from pacing.apart import most_resident, resident, run_apart
from pacing.chain import hear
from pacing.sounds import JOB_BITS, RATE, Looped, long_job


@dataclass(frozen=True)
class Length:
    """
    What a job of some length cost.

    Attributes
    ----------
    hours
        Of sound.
    lines
        Of its program.
    prepared, heard
        Processor time, s: to read and plan the program, and to hear the sound.
    begin, end
        Resident memory, MB, after the first tenth and at the end.
    most
        The most that was ever resident, which is while the program is planned, MB.
    """

    hours: float
    lines: int
    prepared: float
    heard: float
    begin: float
    end: float
    most: float


@dataclass(frozen=True)
class Size:
    """
    What a program of some size cost.

    Attributes
    ----------
    lines
        Of the program.
    read, planned, heard
        Processor time, s, to read it, to plan it, and to hear a cut.
    memory
        Resident at the end, MB.
    """

    lines: int
    read: float
    planned: float
    heard: float
    memory: float


def length(recording: Path, times: int, program: Path) -> Length:
    """Return what so many jobs cost, measured in a process of its own."""
    return Length(**run_apart("pacing.growth", "length", recording, times, program))


def size(recording: Path, lines: int) -> Size:
    """Return what a cut costs with a carving of so many lines, measured in a process of its own."""
    return Size(**run_apart("pacing.growth", "size", recording, lines))


def exponent(amounts: Sequence[float], costs: Sequence[float]) -> float:
    """
    Return the power of the amount with which costs grow: 1 is linear, 2 is quadratic.

    The slope of the straight line that fits the logarithms best. A cost that is always there makes it less.
    """
    slope, _ = np.polyfit(np.log(amounts), np.log(costs), 1)
    return float(slope)


class _Watched(Looped):
    """Notes how much it gave, and the memory after each job."""

    def __init__(self, recording: Path, times: int) -> None:
        super().__init__(recording, times)
        self._each = soundfile.info(recording).frames
        self.given, self.memory = 0, list[float]()

    def blocks(self) -> Iterator[Block]:
        for block in super().blocks():
            yield block
            self.given += len(block.samples)
            if self.given >= self._each * (len(self.memory) + 1):
                self.memory.append(resident())


def _length(recording: Path, times: int, program: Path) -> dict[str, float]:
    source, begin = _Watched(recording, times), time.process_time()
    text = long_job(program.read_text(), times)
    place = locator_for(read(text, "long"), JOB_BITS, None)
    prepared = time.process_time()
    hear(source, JOB_BITS, place)
    return {
        "hours": source.given / RATE / 3600,
        "lines": text.count("\n") + 1,
        "prepared": prepared - begin,
        "heard": time.process_time() - prepared,
        "begin": source.memory[times // 10],
        "end": source.memory[-1],
        "most": most_resident(),
    }


def _size(recording: Path, lines: int) -> dict[str, float]:
    text, begin = "\n".join(carving(lines)), time.process_time()
    program = read(text)
    is_read = time.process_time()
    place = locator_for(program, JOB_BITS, None)
    planned = time.process_time()
    hear(Looped(recording, 1), JOB_BITS, place)
    return {
        "lines": lines,
        "read": is_read - begin,
        "planned": planned - is_read,
        "heard": time.process_time() - planned,
        "memory": resident(),
    }


if __name__ == "__main__":
    what, sound, number, *programs = sys.argv[1:]
    work = _length if what == "length" else _size
    print(json.dumps(work(Path(sound), int(number), *map(Path, programs))))
