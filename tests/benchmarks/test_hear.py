"""A recording is heard by the benchmark as by the command, and what was compared is counted row by row."""

import numpy as np
import pytest
from hearing.hearing import hear
from hearing.perform import _plan_of
from hearing.programs import Job
from hearing.truth import is_cutting

from analysis.listener import Listener
from analysis.locate import ClockLocator
from analysis.program import read
from recordings_synthetic import record
from recordings_synthetic.job import BITS, TRAYS, one_outline

RATE = 16_000


@pytest.fixture(scope="module")
def run():
    """A short tight cut: the recording, the job, its plan, and what was made of it."""
    text = one_outline(TRAYS[0])
    job = Job(text, text, {3: BITS[3]})
    recording = record(read(text, "job"), job.bits, seed=12_345, rate=RATE)
    return recording, job, _plan_of(job), hear(recording, job, _plan_of(job))


def test_same_events(run):
    """Counting what is compared changes nothing of what is said."""
    recording, job, plan, heard = run
    listener = Listener(RATE, {**job.bits, 0: BITS[3]}, ClockLocator(plan))
    events = listener.hear(recording.samples).events
    assert tuple(event for event in events if event in heard.states) == heard.states
    assert heard.alarms == ()
    assert len(heard.at) == 1 + (len(recording.samples) - heard.size) // heard.hop


def test_compared_rows_are_cutting(run):
    """Rows are compared only after the baseline was learned, and where the bit is in the wood."""
    recording, _, _, heard = run
    middle = heard.at - heard.size / RATE / 2.0
    assert heard.compared.sum() > 20
    assert np.mean(is_cutting(recording.truth, middle[heard.compared])) > 0.95
    first = next(change.at for change in heard.states if change.state == "listen")
    assert heard.at[heard.compared].min() >= first - 0.3


def test_states(run):
    """The state at a moment is the one that was said last."""
    heard = run[3]
    assert heard.state_at(0.0) == "settle"
    for change in heard.states:
        assert heard.state_at(change.at) == change.state


def test_heard_in_part(run):
    """Hearing until a moment is hearing the beginning of the same recording."""
    recording, job, plan, whole = run
    part = hear(recording, job, plan, until=8.0)
    assert part.at[-1] <= 8.0
    np.testing.assert_array_equal(part.compared, whole.compared[: len(part.at)])
