"""What several commands change at once in the same folder keeps what each of them said."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from analysis.pace import Learned
from monitor.journal import held
from monitor.journal.held import alone_in, hold, let_go
from monitor.kept.pace import keep_pace, read_pace
from monitor.setup import SHELF
from monitor.shelf.bits import read_shelf
from monitor.shelf.references import Heard, Step, accept_step, read_book
from monitor.shelf.writing import add_bit

MANY = [str(number) for number in range(12)]


def accept(home: Path, which: str) -> None:
    """Accept a run."""
    accept_step(home, "comp", Step("2026-11-25", which, Heard(None, None), {}))


def add(home: Path, which: str) -> None:
    """Put a bit on the shelf."""
    add_bit(home / SHELF, {"name": which, "diameter": 6.0, "flutes": 2, "kind": "straight"})


@pytest.mark.parametrize(
    ("change", "kept"),
    [
        (accept, lambda home: [step.run for step in read_book(home, "comp").steps]),
        (add, lambda home: [entry.bit.name for entry in read_shelf(home / SHELF).entries]),
        (
            lambda home, which: keep_pace(home, which, Learned(0.7, 0.6)),
            lambda home: [which for which in MANY if read_pace(home, which) == Learned(0.7, 0.6)],
        ),
    ],
    ids=["references", "shelf", "paces"],
)
def test_no_change_is_lost_where_many_are_made_at_once(
    tmp_path: Path, change: Callable[[Path, str], None], kept: Callable[[Path], list[str]]
):
    """Each is made to what the others have written, in whatever order."""
    with ThreadPoolExecutor(len(MANY)) as pool:
        list(pool.map(lambda which: change(tmp_path, which), MANY))
    assert sorted(kept(tmp_path)) == sorted(MANY)


def test_who_waits_for_long_goes_on_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A program that stands still in mid-change holds up no other one for good; nor does a missing folder."""
    monkeypatch.setattr(held, "_PATIENT", 0.05)
    other = hold(tmp_path)
    with alone_in(tmp_path), alone_in(tmp_path / "not there"):
        accept(tmp_path, "one")
    let_go(other)
    assert read_book(tmp_path, "comp").version == 1
