"""Runs heard again on a cluster: the same comes of them as here, whoever dies on the way."""

import shutil
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from cluster_nodes import cluster, failed, heard
from contract import Ended
from receivers import HERE, free_port

from monitor.journal import Run, runs
from monitor.rehear.many import Workers, for_each

ROOT = Path(__file__).parents[3]
RUNS = 10


def test_a_worker_that_is_killed_changes_nothing(
    chipsong: Callable[..., Ended], kept_run: Run, home: Path, tmp_path: Path
):
    """Of two workers one is killed on the way; each run tells, once, what it tells without a cluster."""
    for number in range(RUNS - 1):
        shutil.copytree(kept_run.folder, kept_run.folder.with_name(f"{kept_run.id}-{number}"))
    names = [run.id for run in runs(home)]
    for path in (kept_run.folder.with_name(f"{kept_run.id}-5") / "sound").iterdir():
        path.unlink()
    work = partial(heard, home)
    wanted = list(for_each(work, names, Workers(), failed))
    assert (len(wanted), sum(told.startswith("failed") for _, told in wanted)) == (RUNS, 1)
    with cluster(tmp_path, 2, ROOT) as running:
        found = []
        for one in for_each(work, names, Workers(scheduler=running.address), failed):
            if not found:
                running.workers[0].kill()
            found.append(one)
        assert found == wanted
        ended = chipsong("rehear", "--all", "--scheduler", running.address)
        assert ended.out == chipsong("rehear", "--all", "--afresh").out


def test_no_cluster_is_one_line(
    chipsong: Callable[..., Ended], kept_run: Run, monkeypatch: pytest.MonkeyPatch
):
    """Where no scheduler answers that is said, and what to look at."""
    monkeypatch.setattr("monitor.rehear.cluster._PATIENCE", 0.5)
    ended = chipsong("rehear", kept_run.id, "--scheduler", f"tcp://{HERE}:{free_port()}")
    assert (ended.status, ended.out) == (1, "")
    assert "no cluster answers at tcp://" in ended.err
