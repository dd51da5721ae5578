"""
Simulated runs heard again: one after the other, in processes, and on a cluster that loses a worker.

    python tests/benchmarks/bench_cluster.py [--runs 1000] [--workers 2]

Each run is the shipped recording of a slip, louder or softer and in a noise of its own. The cluster is a
scheduler and separate worker processes on this computer, one worker more than asked for; that one is killed
when a tenth is done. What all three say must be the same.
"""

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

sys.path.insert(0, str(Path(__file__).parents[1] / "monitor"))

from cluster_nodes import cluster, failed, heard

from monitor.journal import open_run, runs
from monitor.rehear.many import Workers, for_each

ROOT = Path(__file__).parents[2]
SHIPPED = ROOT / "recordings_synthetic" / "slip_outline"
Heard = tuple[str, str]
BIT = ("--rpm", "18000", "--flutes", "2", "--diameter", "6mm")


def main() -> None:
    """Print the table."""
    reading = argparse.ArgumentParser()
    reading.add_argument("--runs", type=int, default=100)
    reading.add_argument("--workers", type=int, default=2)
    asked = reading.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(folder), asked.runs, asked.workers)


def measure(folder: Path, count: int, workers: int) -> None:
    """Hear so many runs again in three ways, and print what came of it."""
    home = folder / "home"
    make_runs(home, count)
    names = [run.id for run in runs(home)]
    hours = sum(open_run(home, name).samples() / open_run(home, name).rate for name in names) / 3600
    work = partial(heard, home)
    serial, alone = timed(work, names, Workers())
    beside, several = timed(work, names, Workers(workers))
    with cluster(folder, workers + 1, ROOT) as running:
        one_more = running.workers[0].kill
        spread, on_cluster = timed(
            work, names, Workers(scheduler=running.address), at=count // 10, then=one_more
        )
    print(f"{count} runs, {hours:.2f} h of sound, on a machine of {os.cpu_count()} cores\n")
    print("| | time | speed-up | same as one after the other | lost | doubled |\n|---|---|---|---|---|---|")
    print(row("one after the other", serial, alone, serial, alone))
    print(row(f"{workers} processes", beside, several, serial, alone))
    print(row(f"a cluster of {workers + 1} workers, one killed", spread, on_cluster, serial, alone))
    cores = alone / 3600 / hours * 1e6
    answers, bad = len({told for _, told in serial}), sum(told.startswith("failed") for _, told in serial)
    print(f"\nThere were {answers} different answers; {bad} runs could not be heard again.")
    print(f"A million hours of such sound take {cores:,.0f} hours of one such core as busy as this one is:")
    print(f"{cores / 24 / 7:,.0f} cores for a week, or {cores / 24:,.0f} for a day.")
    sys.exit(0 if spread == serial == beside else 1)


def make_runs(home: Path, count: int) -> None:
    """Keep one run, and make the others of it."""
    words = ["-m", "monitor", "replay", f"{SHIPPED}.flac", "--program", f"{SHIPPED}.ngc", *BIT, "--keep"]
    env = os.environ | {"CHIPSONG_HOME": str(home), "PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, *words], env=env, stdout=subprocess.DEVNULL, check=False)
    (first,) = runs(home)
    chance = random.Random(1)  # noqa: S311 - no secret
    for number in range(count - 1):
        folder = first.folder.with_name(f"{first.id}-{number:04d}")
        shutil.copytree(first.folder, folder)
        for path in (folder / "sound").iterdir():
            sound, rate = soundfile.read(path)
            noise = np.random.default_rng(number).normal(scale=10 ** chance.uniform(-4, -1), size=len(sound))
            soundfile.write(path, 0.5 * chance.random() * sound + noise, rate, subtype="PCM_24")


def timed(
    work: Callable[[str], Heard],
    names: Sequence[str],
    workers: Workers,
    *,
    at: int = -1,
    then: Callable[[], None] = lambda: None,
) -> tuple[list[Heard], float]:
    """Return what came of all, and how long it took, s; when so many are done, do something."""
    begun = time.monotonic()
    found: list[Heard] = []
    for one in for_each(work, names, workers, failed):
        found.append(one)
        if len(found) == at:
            then()
    return found, time.monotonic() - begun


def row(name: str, found: list[Heard], took: float, wanted: list[Heard], alone: float) -> str:
    """Return a line of the table."""
    came, meant = Counter(one[0] for one in found), {one[0] for one in wanted}
    same = sum(one == other for one, other in zip(found, wanted, strict=False))
    doubled = sum(many - 1 for many in came.values())
    cells = (name, f"{took:.0f} s", f"{alone / took:.2f}", same, len(meant - came.keys()), doubled)
    return f"| {' | '.join(map(str, cells))} |"


if __name__ == "__main__":
    main()
