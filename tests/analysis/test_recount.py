"""A recount with another limit: the same as going through the rows one by one."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analysis.recount import LEAST, MOST, recount
from analysis.watcher import GOOD, USUAL

# As long as it takes for an alarm to be over, in rows whose times are rounded.
FORGET = USUAL.forget
STEP = FORGET / 3


def _one_by_one(score: np.ndarray, cutting: np.ndarray, limit: float) -> list[tuple[int, float]]:
    """Return row and height of each alarm, as the watcher goes about it."""
    found: list[tuple[int, float]] = []
    alarmed, good = False, 0
    for row in np.flatnonzero(cutting).tolist():
        if alarmed:
            good = good + 1 if score[row] < GOOD else 0
            if good * STEP >= FORGET - 1e-9:
                alarmed = False
            else:
                found[-1] = (found[-1][0], max(found[-1][1], score[row]))
        elif score[row] >= limit:
            alarmed, good = True, 0
            found.append((row, score[row]))
    return found


@example([(0.0, True)] * 2 + [(0.6, True), *[(0.0, True)] * 5] * 2, 0.3)
@given(
    st.lists(st.tuples(st.sampled_from([0.0, 0.1, 0.2, 0.6, 0.9, 1.1, 1.5]), st.booleans()), max_size=60),
    st.sampled_from([LEAST, 0.5, 1.0, MOST]),
)
def test_it_is_what_going_through_the_rows_gives(rows: list[tuple[float, bool]], limit: float):
    """Rows outside the cut count for nothing; an alarm lasts until the sound was good for long enough."""
    score, cutting = np.array([s for s, _ in rows]), np.array([c for _, c in rows], dtype=bool)
    # Where rows outside the cut are left out, time is counted in rows that are in it.
    at = np.arange(len(rows)) * STEP
    dense = np.arange(int(cutting.sum())) * STEP
    found = recount(dense, score[cutting], np.ones(len(dense), dtype=bool), limit=limit)
    told = _one_by_one(score, cutting, limit)
    rank = {row: number for number, row in enumerate(np.flatnonzero(cutting).tolist())}
    assert [(one.at, one.highest) for one in found] == [(dense[rank[row]], high) for row, high in told]
    if cutting.all() or not cutting.any():
        assert found == recount(at, score, cutting, limit=limit)


@pytest.mark.parametrize("limit", [0.0, LEAST - 0.01, MOST + 0.01, float("nan")])
def test_a_limit_of_which_nothing_is_known_is_refused(limit: float):
    """Below, an alarm would never end; above, the sums were cut off."""
    with pytest.raises(ValueError, match="must be from"):
        recount(np.zeros(1), np.zeros(1), np.ones(1, dtype=bool), limit=limit)
