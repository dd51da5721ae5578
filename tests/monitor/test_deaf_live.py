"""Each way of going deaf that can be made with a real audio stack; bench_deaf.py prints the times."""

from pathlib import Path

import pytest
from deaf_cases import CASES, Case, time_case
from sound_server import SoundServer

pytestmark = [pytest.mark.sound, pytest.mark.slow]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_it_is_said_within_two_seconds_and_heard_again_without_a_restart(
    sound_daemon: SoundServer, tmp_path: Path, case: Case
):
    """Deaf within 2 s, heard again when it is put right, and time goes on meanwhile as on the wall."""
    times = time_case(case, sound_daemon, tmp_path)
    assert times.deaf <= 2.0
    assert times.heard <= 10.0
    assert times.clock == pytest.approx(0.0, abs=1.0)  # on a busy machine
