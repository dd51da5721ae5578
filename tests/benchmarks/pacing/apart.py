"""Work in a process of its own: what it costs, and how its memory goes."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

TOP = Path(__file__).parents[3]
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


def environment() -> dict[str, str]:
    """Return an environment in which the project is found and numbers are worked out on one core."""
    paths = (str(TOP), str(TOP / "tests" / "benchmarks"))
    return os.environ | ONE_THREAD | {"PYTHONPATH": os.pathsep.join(paths)}


def resident() -> float:
    """Return the resident memory of this process, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def most_resident() -> float:
    """Return the most that was resident of this process, MB; what it was started from does not count."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) * 1024 / 1e6


def run_apart(module: str, *words: object) -> Any:
    """Run a module of the benchmarks, and return the JSON that it writes."""
    done = subprocess.run(
        [sys.executable, "-m", module, *map(str, words)],
        env=environment(),
        check=True,
        stdout=subprocess.PIPE,
    )
    return json.loads(done.stdout)
