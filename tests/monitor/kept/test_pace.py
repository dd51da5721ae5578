"""How fast a machine was is kept by its name for the next run, and a wrong file is one line."""

from collections.abc import Callable
from pathlib import Path

import pytest
from contract import BIT, SHIPPED, Ended, sound
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.errors import ChipsongError
from analysis.pace import UNKNOWN, Learned
from monitor.journal import runs
from monitor.kept.pace import PACES, keep_pace, pace_from_plain, pace_of, pace_to_plain, read_pace
from monitor.testing import FakeMicrophone

WATCH = ("watch", "--program", SHIPPED / "tight_outline.ngc", *BIT, "--machine", "big router")
PLAUSIBLE = st.floats(0.5, 2.0).map(lambda share: round(share, 3))


@given(
    feeds=PLAUSIBLE,
    rapids=PLAUSIBLE,
    turns=st.none() | PLAUSIBLE,
    name=st.text(st.characters(categories=["L", "N"]), min_size=1),
)
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_was_learned_is_kept_by_name(
    *, tmp_path: Path, feeds: float, rapids: float, turns: float | None, name: str
):
    """What is kept of a machine is read again; others know nothing of it, and keep what they have."""
    keep_pace(tmp_path, "other.machine", Learned(0.7, 0.6))
    keep_pace(tmp_path, name, Learned(feeds, rapids, turns))
    assert read_pace(tmp_path, name) == Learned(feeds, rapids, turns)
    assert read_pace(tmp_path, "other.machine") == Learned(0.7, 0.6)
    assert read_pace(tmp_path, f"{name}, another") == UNKNOWN


@given(feeds=st.floats(0.5, 2.0), rapids=st.floats(0.5, 2.0), turns=st.none() | st.floats(0.5, 2.0))
def test_a_run_is_heard_again_with_the_very_pace_that_it_began_with(
    feeds: float, rapids: float, turns: float | None
):
    """What a person wrote into the file is kept with the run to the last digit."""
    began = Learned(feeds, rapids, turns)
    assert pace_from_plain(pace_to_plain(began)) == began


def test_comments_and_order_of_the_file_survive(tmp_path: Path):
    """A person may write into the file."""
    path = tmp_path / PACES
    path.write_text('# mine\n["b"]\nrapids = 0.8 # slow\n\n["a"]\nfeeds = 1.1\n')
    keep_pace(tmp_path, "a", Learned(1.05, 1.0))
    kept = path.read_text()
    assert kept.startswith('# mine\n["b"]\nrapids = 0.8 # slow\n')
    assert read_pace(tmp_path, "b") == Learned(1.0, 0.8)
    assert read_pace(tmp_path, "a") == Learned(1.05, 1.0)


@pytest.mark.parametrize(
    "wrong",
    ["x = [", "router = 3", "[router]\nfeeds = 'fast'", "[router]\nrapids = 9", "[router]\nturns = 0.1"],
)
def test_a_wrong_file_is_one_line(tmp_path: Path, wrong: str):
    """It names the file and says what to do; nothing is assumed in its place."""
    (tmp_path / PACES).write_text(wrong)
    with pytest.raises(ChipsongError, match=r"paces\.toml.* put (it|them) right") as caught:
        read_pace(tmp_path, "router")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("wrong", ["no TOML", "a folder"])
def test_what_cannot_be_kept_is_one_line(tmp_path: Path, wrong: str):
    """It names the file, says what is wrong and what to do, and leaves what is there as it is."""
    path = tmp_path / PACES
    path.mkdir() if wrong == "a folder" else path.write_text("x = [")
    with pytest.raises(
        ChipsongError, match=r"paces\.toml \(.+\): make room, or put the file right;"
    ) as caught:
        keep_pace(tmp_path, "router", Learned(1.1, 1.0))
    assert "\n" not in str(caught.value)
    assert path.is_dir() or path.read_text() == "x = ["


def test_the_next_run_begins_with_what_the_last_one_learned(
    chipsong: Callable[..., Ended], home: Path, monkeypatch: pytest.MonkeyPatch
):
    """A run with a program keeps the machine's pace by its name; the next one begins with it, and says so."""
    samples, rate = sound("tight_outline")
    monkeypatch.setattr("monitor.listening.Microphone", lambda _device, _rate: FakeMicrophone(samples, rate))
    for _ in range(2):
        assert chipsong(*WATCH).status == 0
    first, second = sorted((pace_of(run) for run in runs(home)), key=lambda pace: pace != UNKNOWN)
    assert first == UNKNOWN
    assert second != UNKNOWN
    assert 0.9 < second.feeds < 1.1
    assert read_pace(home, "another") == UNKNOWN
