"""The same work for many runs, in processes that may die."""

from functools import partial
from pathlib import Path

import pytest
from deadly_work import NAMES, deadly, late_and_deadly

from monitor.rehear.many import Workers, for_each


def failed(name: str, why: str) -> str:
    """Say that a name was given up."""
    return f"failed {name}: {why}"


@pytest.mark.slow
@pytest.mark.parametrize("always", ["", "run 0", "run 3", "run 7"])
def test_a_process_that_is_killed_ends_nothing_but_what_kills_it(always: str, tmp_path: Path):
    """All others are done, in order; what kills its process alone as well is told as failed."""
    work = partial(deadly, tmp_path, always, "run 5")
    found = list(for_each(work, NAMES, Workers(jobs=2), failed))
    why = "the process that was at it died, twice: is there enough memory?"
    assert found == [f"failed {name}: {why}" if name == always else f"heard {name}" for name in NAMES]


def test_what_was_done_by_others_is_not_done_again(tmp_path: Path):
    """What another process had finished as one died is kept."""
    work = partial(late_and_deadly, tmp_path)
    assert list(for_each(work, NAMES, Workers(jobs=2), failed)) == [f"heard {name}" for name in NAMES]
    assert [(tmp_path / name).read_text() for name in NAMES[:6]] == ["xx", *5 * ["x"]]
