"""What processes take, as the system counts it."""

import os
from dataclasses import dataclass
from pathlib import Path

_TICKS = os.sysconf("SC_CLK_TCK")
_PAGE = os.sysconf("SC_PAGE_SIZE")


@dataclass(frozen=True)
class Usage:
    """
    What a process and its children have taken so far.

    Attributes
    ----------
    processor
        Processor time of all, s; of children that have ended too.
    own, children
        Resident memory, MB: of the process, and of its children.
    """

    processor: float
    own: float
    children: float


@dataclass(frozen=True)
class Look:
    """
    What it took so far.

    Attributes
    ----------
    at
        s from the start.
    processor
        Processor time, s.
    listening, capturing
        Resident memory of the two processes, MB.
    busy
        What all processes of the machine took, s of a core.
    """

    at: float
    processor: float
    listening: float
    capturing: float
    busy: float


def usage(process: int) -> Usage:
    """Return what a process takes, and its children."""
    below = children(process)
    ticks = sum(_fields(process)[11:15]) + sum(sum(_fields(child)[11:13]) for child in below)
    return Usage(ticks / _TICKS, _resident(process), sum(map(_resident, below)))


def children(process: int) -> list[int]:
    """Return the numbers of a process's children."""
    told = [
        Path(f"/proc/{process}/task/{task.name}/children") for task in Path(f"/proc/{process}/task").iterdir()
    ]
    return [int(number) for path in told for number in path.read_text().split()]


def machine() -> tuple[float, float]:
    """Return for how long all cores together were busy, and for how long idle, s."""
    ticks = [int(word) / _TICKS for word in Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:9]]
    idle = ticks[3] + ticks[4]
    return sum(ticks) - idle, idle


def _fields(process: int) -> list[int]:
    """Return the numbers of a process's ``stat`` after its name and state, from the third field on."""
    told = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return [0, *map(int, told[1:])]


def _resident(process: int) -> float:
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * _PAGE / 1e6
