"""A cluster of processes of its own: a scheduler and workers, each a program as a person starts it."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from analysis.errors import ChipsongError
from monitor.journal import open_run
from monitor.rehear.again import Judged, hear_again


def heard(folder: Path, name: str) -> tuple[str, str]:
    """Return a run's name and all that is heard in it, to the last digit, or why it can't be heard again."""
    try:
        again = hear_again(open_run(folder, name), Judged())
    except ChipsongError as error:
        return name, f"failed: {error}"
    return name, repr((again.events, again.summary))


def slow(name: str) -> tuple[str, str]:
    """Return a name after a while."""
    time.sleep(1.0)
    return name, "done"


def failed(name: str, why: str) -> tuple[str, str]:
    """Return what stands for a run that nobody could hear."""
    return name, f"failed: {why}"


@dataclass(frozen=True)
class Cluster:
    """Where the scheduler is, itself, and the workers."""

    address: str
    scheduler: subprocess.Popen[bytes]
    workers: tuple[subprocess.Popen[bytes], ...]


@contextmanager
def cluster(folder: Path, workers: int, path: Path) -> Iterator[Cluster]:
    """Start a cluster, whose workers find the packages under ``path``, and this module; end it when left."""
    told = folder / "scheduler.json"
    scheduler = _start("scheduler", path, "--host", "127.0.0.1", "--port", 0, "--scheduler-file", told)
    started = [scheduler]
    try:
        address = _address(told)
        started += [
            _start(
                "worker",
                path,
                address,
                "--nthreads",
                1,
                "--no-nanny",
                "--local-directory",
                folder / str(number),
            )
            for number in range(workers)
        ]
        yield Cluster(address, scheduler, tuple(started[1:]))
    finally:
        for process in started:
            process.kill()
            process.wait()


def _start(what: str, path: Path, *words: object) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", f"distributed.cli.dask_{what}", *map(str, words), "--no-dashboard"]
    quiet = subprocess.DEVNULL
    env = os.environ | {"PYTHONPATH": f"{path}{os.pathsep}{Path(__file__).parent}"}
    return subprocess.Popen(command, env=env, stdout=quiet, stderr=quiet)


def _address(told: Path) -> str:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            return str(json.loads(told.read_text())["address"])
        except (OSError, ValueError):
            time.sleep(0.05)
    raise TimeoutError("the scheduler did not start")
