"""Runs heard again on a cluster: the same comes of them as here, whoever dies on the way."""

import os
import shutil
import subprocess
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from cluster_nodes import cluster, failed, heard, slow
from contract import Ended
from live_watch import COMMAND
from receivers import HERE, free_port

from analysis.errors import ChipsongError
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


def test_a_cluster_that_is_lost_is_one_line(kept_run: Run, home: Path, tmp_path: Path):
    """When its scheduler is killed on the way, nothing is told but what was not done."""
    for number in range(RUNS - 1):
        shutil.copytree(kept_run.folder, kept_run.folder.with_name(f"{kept_run.id}-{number}"))
    with cluster(tmp_path, 1, ROOT) as running:
        command = [*COMMAND, "rehear", "--all", "--scheduler", running.address]
        env = os.environ | {"CHIPSONG_HOME": str(home)}
        pipe = subprocess.PIPE
        with subprocess.Popen(command, env=env, stdout=pipe, stderr=pipe, text=True) as rehearing:
            assert rehearing.stdout is not None
            rehearing.stdout.readline()
            running.scheduler.kill()
            _, told = rehearing.communicate(timeout=60)
    assert (rehearing.returncode, told.count("\n")) == (1, 1)
    assert "was lost: what is not told by now was not done" in told


def test_that_no_worker_is_left_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    """Work that nobody does is waited for, for workers may come back; whoever waits knows it."""
    monkeypatch.setattr("monitor.rehear.cluster._LOOK", 0.5)
    names = [str(number) for number in range(RUNS)]
    with cluster(tmp_path, 1, ROOT) as running:
        found = for_each(slow, names, Workers(scheduler=running.address), failed)
        assert next(found) == ("0", "done")
        running.workers[0].kill()
        end = threading.Timer(5.0, running.scheduler.kill)
        end.start()
        with pytest.raises(ChipsongError, match="was lost"):
            list(found)
        end.join()
    assert capsys.readouterr().err.count("has no workers left: waiting for some") == 1


def test_no_cluster_is_one_line(
    chipsong: Callable[..., Ended], kept_run: Run, monkeypatch: pytest.MonkeyPatch
):
    """Where no scheduler answers that is said, and what to look at."""
    monkeypatch.setattr("monitor.rehear.cluster._PATIENCE", 0.5)
    ended = chipsong("rehear", kept_run.id, "--scheduler", f"tcp://{HERE}:{free_port()}")
    assert (ended.status, ended.out) == (1, "")
    assert "no cluster answers at tcp://" in ended.err
