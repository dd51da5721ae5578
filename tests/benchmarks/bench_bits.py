"""
How well it is known that a bit was never tightened, and how well a tuned limit keeps its budget.

Run it from the top of the project::

    python tests/benchmarks/bench_bits.py [--quick] [--development] [--jobs 2]

First seconds: in each of some shops three runs of a bit are accepted, then tight and loose ones are heard,
with other jobs, other noise and levels up to 6 dB apart. Tuning: 20 labelled runs propose a limit, 100 others
judge it; ``--budget`` is how many false alarms an hour are bearable, many enough to be counted. The full form
takes about twelve minutes on two cores and writes ``tests/benchmarks/results/bits.md``; ``--quick`` a few
minutes.

Its seeds (``judges.BITS`` and ``TUNING``) are run by this command alone, and nothing is chosen by what they
show; with ``--development`` they are below 100000. Simulated sound, and a slip as the
simulator's hypothesis has it.
"""

import argparse
import os
import shlex
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from bitbench.first_seconds import WITHIN, First, trial  # noqa: E402
from bitbench.tuned import nats, told  # noqa: E402
from hearing.intervals import share_interval  # noqa: E402
from judges import BITS, TUNING  # noqa: E402

from analysis.tuning import FACTORS, Row, Told, cross_validated, propose, trade  # noqa: E402 - as above

KEPT = Path(__file__).parent / "results" / "bits.md"
DEVELOPMENT, DEVELOPMENT_TUNING = 60_000, 80_000
_EACH, _APART = 4, 100
SHOPS, LABELLED, OTHERS = 25, 20, 100


def main(words: list[str]) -> int:
    """Hear all runs and print the tables."""
    parser = argparse.ArgumentParser(description="References and tuned limits, on simulated runs.")
    parser.add_argument("--quick", action="store_true", help="few runs")
    parser.add_argument("--development", action="store_true", help="on development seeds, to work by")
    parser.add_argument("--budget", type=float, default=6.0, help="bearable false alarms an hour")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes")
    parser.add_argument("--shops", type=int, default=SHOPS, help="for the first seconds")
    parser.add_argument("--others", type=int, default=OTHERS, help="runs that judge a tuned limit")
    parser.add_argument("--only", choices=["first", "tuning"], help="one of the two")
    asked = parser.parse_args(words)
    first = DEVELOPMENT if asked.development else BITS.start
    tuning = DEVELOPMENT_TUNING if asked.development else TUNING.start
    lines = [f"`python tests/benchmarks/bench_bits.py {shlex.join(words)}`".replace(" `", "`")]
    lines += [f"Simulated runs, seeds from {first} on.", ""]
    with ProcessPoolExecutor(asked.jobs) as pool:
        if asked.only != "tuning":
            lines += _first_seconds(pool, first, 4 if asked.quick else asked.shops)
        if asked.only != "first":
            counts = (8, 12) if asked.quick else (LABELLED, asked.others)
            lines += _tuning(pool, tuning, counts, asked.budget)
    text = "\n".join(lines) + "\n"
    print(text)
    whole = asked.shops >= SHOPS and asked.others >= OTHERS
    if whole and not (asked.quick or asked.development or asked.only):
        KEPT.parent.mkdir(parents=True, exist_ok=True)
        KEPT.write_text(text)
    return 0


def _first_seconds(pool: ProcessPoolExecutor, first: int, shops: int) -> list[str]:
    seeds = [first + _APART * number for number in range(shops)]
    found = [one for some in pool.map(partial(trial, each=_EACH), seeds) for one in some]
    loose, tight = ([one for one in found if one.loose is wanted] for wanted in (True, False))
    return [
        f"| of the first {WITHIN:g} s of cutting | loose from the first second | tight |",
        "|---|---|---|",
        _shares("alarm, with a reference from 3 runs", loose, tight, lambda one: one.caught),
        *(
            _shares(f"said to be {word}, with it", loose, tight, lambda one, word=word: one.verdict == word)
            for word in ("loose", "doubtful", "tight", "")
        ),
        _shares("alarm, without a reference", loose, tight, lambda one: one.alarmed),
        _shares("doubted, without it", loose, tight, lambda one: one.doubted == "doubtful"),
        "",
    ]


def _shares(name: str, loose: Sequence[First], tight: Sequence[First], holds: Callable[[First], bool]) -> str:
    name = name.replace("said to be ,", "not compared within that time,")
    return f"| {name} | {_share(loose, holds)} | {_share(tight, holds)} |"


def _share(found: Sequence[First], holds: Callable[[First], bool]) -> str:
    hits = sum(map(holds, found))
    low, high = share_interval(hits, len(found))
    return f"{hits} of {len(found)} ({100 * low:.0f} to {100 * high:.0f} %)"


def _tuning(pool: ProcessPoolExecutor, first: int, counts: tuple[int, int], budget: float) -> list[str]:
    few, many = counts
    hear = partial(_told, budget=budget, first=first)
    found = list(pool.map(hear, range(first, first + few + many)))
    learned, others = found[:few], found[few:]
    theory = nats(budget, 1.0)
    proposal = propose(learned, FACTORS, budget, theory)
    rows = dict(zip(FACTORS, trade(others, FACTORS), strict=True))
    expected = f"{proposal.rate:.1f} an hour, with 80 % from {proposal.low:.1f} to {proposal.high:.1f}"
    return [
        f"Tuned on {few} labelled runs for {budget:g} false alarms an hour, judged on {many} others.",
        f"Proposed: {proposal.factor:g} times the limit of theory; expected: {expected}.",
        "",
        "| | false alarms an hour (95 %) | of the budget | slips noticed | delay, median |",
        "|---|---|---|---|---|",
        _limit("others, at the proposal", rows[proposal.factor], budget),
        _limit("others, at the default", rows[1.0], budget),
        _limit(
            "the labelled runs, cross-validated", cross_validated(learned, FACTORS, budget, theory), budget
        ),
        "",
    ]


def _told(seed: int, budget: float, first: int) -> Told:
    return told(seed, (budget, 1.0), FACTORS, faulty=(seed - first) % 2 == 1)


def _limit(name: str, row: Row, budget: float) -> str:
    false = f"{row.false} in {row.hours:.2f} h: {row.rate:.1f} ({row.low:.1f} to {row.high:.1f})"
    return (
        f"| {name} | {false} | {row.rate / budget:.2f} | {row.caught} of {row.faults} | {row.delay:.2f} s |"
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
