"""
What is said of a bit that came loose, once ``t`` was pressed and the restart program runs.

Run it from the top of the project::

    python tests/benchmarks/bench_tightened.py [--quick] [--development] [--jobs 2]

Simulated jobs, each with an abrupt slip that is noticed. From the resume line each is carried on three times:
with a bit that is tight again, with one half as loose as before, and with one as loose. The runout of the bit
is drawn anew, as when it was taken out, and so are the noises of the shop; its walls and kind stay, and the
gain of the microphone is set anew by the loudest cut, which is mostly the same.
It takes about twenty minutes on two cores, and writes ``tests/benchmarks/results/tightened.md``.

Its seeds (``judges.TIGHTENED``) are run by this command alone, and nothing is chosen by what they show; with
``--development`` they are below 100000. A slip is the simulator's hypothesis.
"""

import argparse
import os
import shlex
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from statistics import median

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from bitbench.tightened import EACH, LATER, STATES, WITHIN, Carried, trial  # noqa: E402 - after the threads
from hearing.intervals import share_interval  # noqa: E402
from judges import TIGHTENED  # noqa: E402

KEPT = Path(__file__).parent / "results" / "tightened.md"
DEVELOPMENT = 70_000
RUNS, QUICK = 40, 6


def main(words: list[str]) -> int:
    """Hear all runs and print the table."""
    parser = argparse.ArgumentParser(description="The check after a bit was tightened, on simulated runs.")
    parser.add_argument("--quick", action="store_true", help="few runs")
    parser.add_argument("--development", action="store_true", help="on development seeds, to work by")
    parser.add_argument("--runs", type=int, default=RUNS, help="with a slip")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes")
    asked = parser.parse_args(words)
    first = DEVELOPMENT if asked.development else TIGHTENED.start
    runs = QUICK if asked.quick else asked.runs
    found: list[Carried] = []
    noticed = 0
    with ProcessPoolExecutor(asked.jobs) as pool:
        for number, carried in enumerate(pool.map(trial, range(first, first + EACH * runs, EACH))):
            found += carried
            noticed += bool(carried)
            print(f"\r{number + 1} of {runs} runs", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    lines = [f"`python tests/benchmarks/bench_tightened.py {shlex.join(words)}`".replace(" `", "`")]
    lines += [f"{runs} simulated runs, seeds from {first} on; in {noticed} the slip was noticed.", ""]
    text = "\n".join([*lines, *table(found)]) + "\n"
    print(text)
    if runs >= RUNS and not asked.development:
        KEPT.parent.mkdir(parents=True, exist_ok=True)
        KEPT.write_text(text)
    return 0


def table(found: Sequence[Carried]) -> list[str]:
    """Return a row for each state of the bit: the last verdict, alarms, and when the first was said."""
    lines = [
        f"Within {WITHIN:g} s of cutting, and alarms later on, up to {LATER:g} s.",
        "",
        "| the bit is | tight | doubtful | loose | nothing said | alarm | first said after | later alarms |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for state in STATES:
        mine = [one for one in found if one.state == state]
        if not mine:
            continue
        verdicts = [sum(one.verdict == word for one in mine) for word in ("tight", "doubtful", "loose", "")]
        alarms = sum(one.alarmed for one in mine)
        low, high = share_interval(alarms, len(mine))
        after = [one.after for one in mine if one.verdict]
        later, hours = sum(one.later for one in mine), sum(one.heard for one in mine) / 3600.0
        lines.append(
            f"| {state} | {' | '.join(map(str, verdicts))}"
            f" | {alarms} of {len(mine)} ({100 * low:.0f} to {100 * high:.0f} %)"
            f" | {f'{median(after):.1f} s' if after else ''} | {later} in {hours:.2f} h |"
        )
    return lines


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
