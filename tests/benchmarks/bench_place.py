"""
How well the place in the program is known from sound alone.

Run it from the top of the project::

    python tests/benchmarks/bench_place.py [--quick] [--development] [--runs 6] [--jobs 2]

The full form follows 60 simulated runs in ten conditions, half of them in a noisy shop, and takes some ten
minutes of one core; it writes its table to ``tests/benchmarks/results/place.md``. ``--quick`` follows ten.
Its seeds (``judges.PLACE``) are run by this command alone, and nothing is chosen by what they show; with
``--development`` the same kinds of runs are made from seeds below 100000, to work by.
"""

import argparse
import os
import shlex
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from judges import PLACE  # noqa: E402 - after the number of threads is set
from placing.cases import DEVELOPMENT, cases  # noqa: E402
from placing.follow import follow  # noqa: E402
from placing.table import report  # noqa: E402

KEPT = Path(__file__).parent / "results" / "place.md"
FULL = 6


def main(words: list[str]) -> int:
    """Follow all runs and print the table."""
    parser = argparse.ArgumentParser(description="How well the place is known from sound alone.")
    parser.add_argument("--quick", action="store_true", help="one run in each condition")
    parser.add_argument("--development", action="store_true", help="on development seeds, to work by")
    parser.add_argument("--runs", type=int, default=FULL, help="in each condition")
    parser.add_argument("--jobs", type=int, default=os.cpu_count(), help="how many runs at once")
    asked = parser.parse_args(words)
    first = DEVELOPMENT if asked.development else PLACE.start
    outcomes = []
    with ProcessPoolExecutor(asked.jobs) as workers:
        for outcome in workers.map(follow, cases(1 if asked.quick else asked.runs, first)):
            outcomes.append(outcome)
            case, off = outcome.case, outcome.sound
            said = f"{case.condition.name}, {case.shop}, {case.seed}: {len(off.off)} of {off.asked} known"
            print(
                f"{said}, {off.holds.mean() if len(off.holds) else 0:.0%} held", file=sys.stderr, flush=True
            )
    command = f"python tests/benchmarks/bench_place.py {shlex.join(words)}".strip()
    text = report(outcomes, command, f"seeds from {first} on")
    print(text)
    if not (asked.quick or asked.development) and asked.runs >= FULL:
        KEPT.parent.mkdir(parents=True, exist_ok=True)
        KEPT.write_text(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
