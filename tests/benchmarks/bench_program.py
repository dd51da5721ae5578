"""
How long it takes to read and time 3-D carvings of 10 000, 100 000 and 1 000 000 lines.

Run ``python tests/benchmarks/bench_program.py``. Each size runs in a process of its own, so that its memory
is its own; seconds are of one core's time. Promised are 15 s and 1.5 GB for a million lines, a cost that
grows as the lines do, and 10 s for depth and width of 100 000 moves. ``--parts`` also finds the parts of the
million.
"""

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import numpy as np

from analysis.cutting import Bit
from analysis.program import Program, engagement, find_parts, read, schedule

SIZES = (10_000, 100_000, 1_000_000)
STEP, SIDE, WIDE = 0.2, 300.0, 0.4
HEAD = ("G21 G90 G17 G94 G54", "T1 M6", "S18000 M3", "G0 Z5", "G0 X0 Y0", "G1 Z-1 F600", "F2400")
BITS = {1: Bit("six", diameter=6.0, flutes=2, speed=18_000)}


def carving(lines: int, seed: int = 3) -> Iterator[str]:
    """Yield a relief in rows of 300 mm, in steps of a fifth of a millimetre over soft hills; from a seed."""
    waves = np.random.default_rng(seed).uniform((5, 5, 0), (60, 60, 6), (6, 3))
    yield from HEAD
    a_row = round(SIDE / STEP)
    for number in range(lines - len(HEAD) - 2):
        row, place = divmod(number, a_row)
        x = STEP * (place if row % 2 == 0 else a_row - 1 - place)
        y = WIDE * row
        height = sum(np.sin(x / wide + y / long + begin) for wide, long, begin in waves.tolist())
        yield f"X{x:.3f} Y{y:.3f} Z{height / 3 - 2.5:.4f}"
    yield from ("G0 Z5", "M30")


def taken(work: Callable[[], object]) -> tuple[float, object]:
    """Return the processor time, s, that work takes, and what it gives."""
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def measure(lines: int, *, parts: bool) -> dict[str, float]:
    """Return the seconds of each step, and the most memory, MB, up to the clock and in all."""
    text = "\n".join(carving(lines))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    reading, program = taken(lambda: read(text))
    assert isinstance(program, Program)
    clock, _ = taken(lambda: schedule(program.moves))
    found = {"read": reading, "clock": clock, "moves": len(program.moves), "before": before}
    found["memory"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if parts:
        found["parts"], _ = taken(lambda: find_parts(program))
    if lines == 100_000:
        found["depth and width"], _ = taken(lambda: engagement(program, BITS))
    return found


def main() -> None:
    """Print the table, a row for each size."""
    print("lines      read s   clock s  us a line  against 10k  parts s  most memory MB (of which the text)")
    least = 0.0
    for lines in SIZES:
        parts = lines < SIZES[-1] or "--parts" in sys.argv
        command = [sys.executable, __file__, "--one", str(lines), *(["--parts"] if parts else [])]
        found = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
        each = (found["read"] + found["clock"]) / lines * 1e6
        least = least or each
        told = f"{found['parts']:7.2f}" if parts else "      -"
        print(
            f"{lines:9}  {found['read']:6.2f}  {found['clock']:8.2f}  {each:9.2f}  {each / least:11.2f}"
            f"  {told}  {found['memory']:14.0f} ({found['before']:.0f})"
        )
        if "depth and width" in found:
            print(
                f"           depth and width of {found['moves']:.0f} moves: {found['depth and width']:.2f} s"
            )


if __name__ == "__main__":
    if "--one" in sys.argv:
        print(json.dumps(measure(int(sys.argv[sys.argv.index("--one") + 1]), parts="--parts" in sys.argv)))
    else:
        main()
