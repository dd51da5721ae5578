"""
How well the place in the program is known with line numbers that are ahead of the cutting.

Run it from the top of the project::

    python tests/benchmarks/bench_lines.py [--quick] [--development] [--runs 6] [--ahead 20]
        [--jobs 2]

The full form follows 60 simulated runs in ten conditions, half of them in a noisy shop, and takes about half
an hour on one core; it writes its table to ``tests/benchmarks/results/lines.md``. ``--quick`` follows ten.
Its seeds (``judges.LINES``) are run by this command alone, and nothing is chosen by what they show; with
``--development`` the same kinds of runs are made from seeds below 100000, to work by.
"""

import argparse
import os
import shlex
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from judges import LINES  # noqa: E402 - after the number of threads is set
from placing.cases import DEVELOPMENT, cases  # noqa: E402
from placing.fed import feed, report  # noqa: E402

KEPT = Path(__file__).parent / "results" / "lines.md"
FULL = 6


def main(words: list[str]) -> int:
    """Follow all runs and print the table."""
    parser = argparse.ArgumentParser(description="How well the place is known with line numbers.")
    parser.add_argument("--quick", action="store_true", help="one run in each condition")
    parser.add_argument("--development", action="store_true", help="on development seeds, to work by")
    parser.add_argument("--runs", type=int, default=FULL, help="in each condition")
    parser.add_argument("--ahead", type=int, default=20, help="how many lines ahead they are reported")
    parser.add_argument("--jobs", type=int, default=1, help="how many processes")
    asked = parser.parse_args(words)
    first = DEVELOPMENT if asked.development else LINES.start
    chosen = cases(1 if asked.quick else asked.runs, first)
    outcomes = []
    with ProcessPoolExecutor(asked.jobs) as pool:
        for outcome in pool.map(partial(feed, ahead=asked.ahead), chosen):
            outcomes.append(outcome)
            case, both = outcome.case, outcome.both
            held = both.holds.mean() if len(both.holds) else 0.0
            said = f"{case.condition.name}, {case.shop}, {case.seed}: {both.asked} asked, {held:.1%} held"
            print(said, file=sys.stderr, flush=True)
    command = f"python tests/benchmarks/bench_lines.py {shlex.join(words)}".strip()
    text = report(outcomes, asked.ahead, command, f"seeds from {first} on")
    print(text)
    if not (asked.quick or asked.development) and asked.runs >= FULL:
        KEPT.parent.mkdir(parents=True, exist_ok=True)
        KEPT.write_text(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
