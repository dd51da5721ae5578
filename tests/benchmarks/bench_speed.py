"""
How fast sound is heard: replay against the bare transform of the same sound, and the command's start.

Run it from the top of the project: ``python tests/benchmarks/bench_speed.py``. It prints a table.
"""

import subprocess
import sys
import time
from collections.abc import Callable

import numpy as np
from scipy.fft import rfft

from analysis.cutting import Bit
from analysis.listener import Listener
from analysis.locate import Locator, Nowhere, Plan
from analysis.place import SoundLocator
from analysis.program import read
from recordings_synthetic import record
from recordings_synthetic.job import BITS, seedling_trays

RATE, SECONDS = 48_000, 120


def seconds(work: Callable[[], object], times: int = 3) -> float:
    """Return the least processor time, s, that ``work`` takes."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def cut() -> "np.typing.NDArray[np.float32]":
    """Return a made-up cut: lines of a two-flute bit in noise."""
    rng = np.random.default_rng(1)
    t = np.arange(RATE * SECONDS) / RATE
    lines = sum(np.sin(2 * np.pi * 600 * k * t + k) / k for k in range(1, 6))
    return (0.03 * lines + 0.01 * rng.standard_normal(len(t))).astype(np.float32)


BIT = {0: Bit("bit", 6.0, 2, 18_000.0)}


def hear(
    sound: "np.typing.NDArray[np.float32]",
    block: int,
    bits: dict[int, Bit] = BIT,
    where: Callable[[], Locator] = Nowhere,
) -> None:
    """Hear all of ``sound`` in blocks."""
    listener = Listener(RATE, bits, where())
    for first in range(0, len(sound), block):
        listener.hear(sound[first : first + block])


def bare(sound: "np.typing.NDArray[np.float32]") -> None:
    """Transform ``sound`` in the windows that hearing uses, and do nothing with it."""
    size = 4800
    windows = np.lib.stride_tricks.sliding_window_view(sound, size)[:: size // 2]
    taps = np.hanning(size).astype(np.float32)
    for first in range(0, len(windows), 64):
        rfft(windows[first : first + 64] * taps)


def with_a_program() -> None:
    """Print how fast the simulated demo job is heard with its program, whose place is followed."""
    program, bits = read(seedling_trays(), "job"), {0: BITS[1], **BITS}
    sound = record(program, BITS, seed=1, rate=RATE).samples
    plan = Plan.of(program, bits)
    lasts = len(sound) / RATE
    for name, block in (("replay, blocks of 1 s", RATE), ("live, blocks of 10 ms", RATE // 100)):
        taken = seconds(lambda block=block: hear(sound, block, bits, lambda: SoundLocator(plan)), 2)
        print(
            f"with a program, {name}: {lasts / taken:.0f} times real time, "
            f"{100 * taken / lasts:.1f} % of one core"
        )


def main() -> None:
    """Print the table."""
    sound = cut()
    transform = seconds(lambda: bare(sound))
    for name, block in (("replay, blocks of 1 s", RATE), ("live, blocks of 10 ms", RATE // 100)):
        taken = seconds(lambda block=block: hear(sound, block), 2)
        print(
            f"{name}: {SECONDS / taken:.0f} times real time, {100 * taken / SECONDS:.1f} % of one core, "
            f"{taken / transform:.1f} times the bare transform"
        )
    with_a_program()
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "monitor", "--help"], check=True, capture_output=True)
    print(f"chipsong --help: {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
