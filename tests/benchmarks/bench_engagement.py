"""
How long it takes to tell the engagement of 100 000 moves.

Run ``python tests/benchmarks/bench_engagement.py``; the project's promise is under 10 s on one core.
"""

import resource
import time
from collections.abc import Iterator

import numpy as np

from analysis.cutting import Bit
from analysis.program import engagement, read

MOVES = 100_000
BITS = {0: Bit("six", diameter=6.0, flutes=2, speed=18_000)}
HEAD = "G21 G90 S18000 M3\nG0 Z5\nG0 X0 Y0\nG1 Z-1 F600\nF2400"


def pockets() -> Iterator[str]:
    """Yield rows of a pocket of 500 x 480 mm, five passes deep, in moves of 5 mm: half a kilometre."""
    for row in range(MOVES // 100):
        x = np.arange(1, 101) * 5.0
        for place in x if row % 2 == 0 else 505 - x:
            yield f"G1 X{place:g} Y{row % 200 * 2.4:g} Z{-3 * (1 + row // 200)}"


def carving() -> Iterator[str]:
    """Yield a relief of 100 x 80 mm in moves of a fifth of a millimetre."""
    for number in range(MOVES):
        row, place = divmod(number, 500)
        x = 0.2 * (place if row % 2 == 0 else 499 - place)
        yield f"G1 X{x:.3f} Y{0.4 * row:.3f} Z{-2 + np.sin(x / 5) * np.cos(row / 17):.4f}"


def rings() -> Iterator[str]:
    """Yield holes of 2 to 8 mm radius in quarter circles, on a grid of 600 x 400 mm, 24 passes deep."""
    for number in range(MOVES // 7):
        r = 2 + number % 7
        x, y = number % 30 * 20, number // 30 % 20 * 20
        z = -0.5 * (1 + number // 600)
        yield f"G0 Z1\nG0 X{x + r} Y{y}\nG1 Z{z}"
        for to_x, to_y, i, j in ((0, r, -r, 0), (-r, 0, 0, -r), (0, -r, r, 0), (r, 0, 0, r)):
            yield f"G3 X{x + to_x} Y{y + to_y} I{i} J{j}"


def main() -> None:
    """Print moves, path, seconds, moves per second and the cell for each job."""
    for job in (pockets, carving, rings):
        program = read("\n".join([HEAD, *job()]))
        begin = time.process_time()
        cuts = engagement(program, BITS)
        seconds = time.process_time() - begin
        moves = len(program.moves)
        path = program.moves.length.sum() / 1000
        print(
            f"{job.__name__:8} {moves:7} moves, {path:5.0f} m: {seconds:5.2f} s, cell {cuts.cell:.2f} mm, "
            f"{cuts.volume.sum() / 1000:.0f} cm3"
        )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"most memory, programs included: {peak:.0f} MB")


if __name__ == "__main__":
    main()
