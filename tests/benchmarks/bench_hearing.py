"""
How well chipsong hears: faults, false alarms, and what a person would use instead.

Run it from the top of the project::

    python tests/benchmarks/bench_hearing.py [--quick] [--development] [--out FOLDER] [--jobs 2]

The full form hears at least 200 faulty runs and 20 hours of healthy cutting, and takes one to two hours on
two cores; ``--quick`` takes a few minutes. Each run is written down as soon as it is finished: stopped
(Ctrl-C) and started again with the same code, the command goes on where it was. It prints its tables and
writes them to ``hearing.md`` in FOLDER; the full form also to ``tests/benchmarks/results/hearing.md``.

Seeds are kept apart. Those from `hearing.seeds.JUDGED` on judge: this command alone runs them, and no
threshold, channel, rule or model here is chosen by what they show. With ``--development`` the same kinds of
runs are made from seeds below 100000, to work by; so are, always, the runs by which the rivals' thresholds
are chosen.

Simulated sound, and a slip as the simulator's hypothesis has it: this says how well the hearing does on
that, not how it will do in your shop.
"""

import argparse
import os
import shlex
import signal
import sys
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

# One thread a process: set before the numeric libraries are loaded, here and in the processes that are
# started.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from hearing import least, real, watchers_rule  # noqa: E402 - after the number of threads is set
from hearing.report import Results, report  # noqa: E402
from hearing.store import TOP, Store, fingerprint  # noqa: E402
from hearing.work import Wanted, Work  # noqa: E402

KEPT = Path(__file__).parent / "results" / "hearing.md"
FULL = {"runs": 240, "hours": 20.5, "calibration": 5.0}
QUICK = {"runs": 14, "hours": 0.7, "calibration": 0.12}


def options(words: list[str]) -> argparse.Namespace:
    """Return what was asked for."""
    parser = argparse.ArgumentParser(description="How well chipsong hears, on simulated runs.")
    parser.add_argument("--quick", action="store_true", help="a few minutes instead of an hour or two")
    parser.add_argument("--development", action="store_true", help="on development seeds, to work by")
    parser.add_argument("--out", type=Path, help="where outcomes are kept (build/hearing)")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes (one a core)")
    parser.add_argument("--hours", type=float, help="of healthy cutting")
    parser.add_argument("--runs", type=int, help="with a fault")
    parser.add_argument("--calibration", type=float, help="hours that choose the rivals' thresholds")
    return parser.parse_args(words)


def wanted(asked: argparse.Namespace) -> Wanted:
    """Return how much is to be heard."""
    usual = QUICK if asked.quick else FULL
    given = {name: getattr(asked, name) for name in usual if getattr(asked, name) is not None}
    amount = usual | given
    return Wanted(
        use="development" if asked.development else "judged",
        runs=int(amount["runs"]),
        hours=amount["hours"],
        calibration=amount["calibration"],
    )


def against_the_least(*, quick: bool) -> list[least.Measured]:
    """Return how the watcher's comparison does against the best rule, at limits that false alarms reach."""
    found = []
    for limit, alarms in ((3.0, 30),) if quick else ((4.0, 200), (6.0, 60)):
        for correlation in (0.0, 0.5):
            rule, changes = watchers_rule.rule(limit, correlation), watchers_rule.changes(correlation)
            try:
                found += least.measure(rule, changes, alarms=alarms, seed=1)
            except least.NeverAlarmsError as why:
                print(f"rows with correlation {correlation}: {why}", file=sys.stderr)
    return found


def main(words: list[str]) -> int:
    """Run what was asked for; return the exit status: 1 when a run failed."""
    # What is started in the background may have been told not to heed Ctrl-C.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    asked = options(words)
    amount = wanted(asked)
    folder = asked.out or TOP / "build" / "hearing"
    store = Store(folder, fingerprint())
    try:
        Work(amount, store, lambda line: print(line, file=sys.stderr, flush=True)).run(asked.jobs)
    except KeyboardInterrupt:
        print(f"stopped: the same command goes on; what is done is in {store.path}", file=sys.stderr)
        return 130
    except BrokenProcessPool:
        print(f"a process died: the same command goes on; what is done is in {store.path}", file=sys.stderr)
        return 1
    where = real.folder()
    results = Results(
        outcomes=tuple(store.outcomes()),
        least=against_the_least(quick=asked.quick),
        real=real.run(where, asked.jobs) if where else (),
    )
    text = report(amount, f"python tests/benchmarks/bench_hearing.py {shlex.join(words)}".strip(), results)
    places = [folder / "hearing.md"]
    if amount == wanted(options([])):
        places.append(KEPT)
    for place in places:
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text)
    print(text)
    return int(any(outcome.failed for outcome in results.outcomes))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
