"""Which code heard a run."""

import subprocess
import sys
from importlib.util import find_spec

import pytest

from monitor.kept.heard import NOT_HEARING

HEARS = ("analysis.listener", "analysis.place", "analysis.linesfed")


def test_what_counts_as_no_hearing_is_not_used_in_hearing():
    """What is imported where samples become events is part of what decides."""
    script = f"import sys, {', '.join(HEARS)}; print(*sys.modules)"
    loaded = subprocess.run(  # what this process has loaded tells nothing
        [sys.executable, "-c", script], capture_output=True, check=True, text=True
    ).stdout.split()
    assert set(HEARS) <= set(loaded)
    assert not {f"analysis.{name}" for name in NOT_HEARING} & set(loaded)


@pytest.mark.parametrize("name", NOT_HEARING)
def test_what_counts_as_no_hearing_is_there(name: str):
    """A name that has gone would hide that what it stood for has another one."""
    assert find_spec(f"analysis.{name}") is not None
