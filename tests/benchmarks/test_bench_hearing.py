"""The command itself: it measures, is stopped, goes on, and reports."""

import json
import os
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

# The command, with programs of half a minute.
BENCH = Path(__file__).with_name("short_hearing.py")
# The quick form, made smaller still.
QUICK = shlex.split("--quick --development --runs 1 --hours 0.005 --calibration 0.005 --jobs 1")

pytestmark = [pytest.mark.slow, pytest.mark.timeout(1200)]


def start(folder, *words):
    """Start the command without real recordings."""
    outside = {name: value for name, value in os.environ.items() if name != "CHIPSONG_RECORDINGS"}
    return subprocess.Popen(
        [sys.executable, BENCH, *words, "--out", folder],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=outside,
    )


def lines(folder):
    """Return the cases that are kept."""
    files = list(folder.glob("outcomes-*.jsonl"))
    return [json.loads(line) for file in files for line in file.read_text().splitlines()]


def test_stopped_and_gone_on(tmp_path):
    """The quick form, stopped after its first case, says so and keeps it; started again it goes on."""
    first = start(tmp_path, *QUICK)
    while not lines(tmp_path):
        assert first.poll() is None, first.stderr.read()
        time.sleep(0.2)
    first.send_signal(signal.SIGINT)
    _, told = first.communicate(timeout=500)
    assert first.returncode == 130
    assert "the same command goes on" in told
    kept = [case[0]["case"] for case in lines(tmp_path)]
    second = start(tmp_path, *QUICK)
    text, told = second.communicate(timeout=500)
    assert second.returncode == 0, told
    cases = [case[0]["case"] for case in lines(tmp_path)]
    assert cases[: len(kept)] == kept
    assert len(set(cases)) == len(cases)
    assert (tmp_path / "hearing.md").read_text().strip() == text.strip()
    seeds = {int(case.split()[-1]) for case in cases}
    assert max(seeds) < 100_000
    assert "for DEVELOPMENT" in text
    for head in ("## Faults", "## False alarms", "## Beside what", "## Against the least", "## Real sound"):
        assert head in text
    healthy = [one for case in lines(tmp_path) for one in case if not one["fate"]]
    assert all(one["failed"] is None and one["cutting"] > 15.0 for one in healthy)
