"""The small programs do what they are called."""

from dataclasses import replace

import numpy as np
import pytest
from hearing import programs
from hearing.conditions import CONDITIONS
from hearing.faults import FAULTS
from hearing.onset import line_for
from hearing.perform import _plan_of

from analysis.locate import KINDS
from analysis.program import Kind, read

JOBS = {condition.job.__name__: condition.job for condition in CONDITIONS.values()}


def made(name, seed=3):
    """Return a job and its plan."""
    job = JOBS[name](np.random.default_rng(seed))
    return job, _plan_of(job)


def seconds(plan, kind):
    """Return for how long a kind of cut is cut, s."""
    lasted = plan.times.end - plan.times.begin
    return float(lasted[plan.cuts & (plan.kinds == KINDS.index(kind))].sum())


@pytest.mark.parametrize("name", JOBS)
@pytest.mark.parametrize("seed", [3, 4])
def test_every_job_is_fit_to_be_heard(name, seed):
    """A job is read without a warning, lasts one to six minutes, and cuts for at least 30 s."""
    job, plan = made(name, seed)
    assert not read(job.text, "job").warnings
    assert 60.0 < plan.times.end[-1] < 360.0
    assert float((plan.times.end - plan.times.begin)[plan.cuts].sum()) > 30.0


@pytest.mark.parametrize("name", JOBS)
def test_a_job_follows_from_its_seed(name):
    """The same seed gives the same job; what a job draws differs from seed to seed."""
    first, again, other = (JOBS[name](np.random.default_rng(seed)) for seed in (3, 3, 4))
    assert first == again
    assert name == "pauses" or first.text != other.text


def test_slots_stand_among_side_cuts():
    """Slots and narrow side cuts are both cut for long enough to be learned and compared."""
    plan = made("slots")[1]
    assert seconds(plan, "slot") > 10.0
    assert seconds(plan, "narrow") > 30.0


def test_both_ways():
    """Side cuts lie on the right of their feed (climb) and on its left (conventional), both for long."""
    plan = made("both_ways")[1]
    moves = plan.program.moves
    side = plan.cuts & (plan.kinds == KINDS.index("narrow"))
    ahead = moves.end[:, 0] - moves.start[:, 0]
    # The groove's middle lies at 16, 30, ...: what is left of it to be cut lies further out.
    off = (moves.start[:, 1] - 16.0 + 7.0) % 14.0 - 7.0
    climb = ahead * off < 0
    lasted = plan.times.end - plan.times.begin
    assert lasted[side & climb].sum() > 30.0
    assert lasted[side & ~climb].sum() > 30.0


def test_first_passes_are_deeper():
    """The first pass of each groove is at least twice as deep as those after it."""
    plan = made("deep_first")[1]
    across = plan.cuts & (plan.kinds == KINDS.index("slot"))
    depths = plan.met.depth[across]
    assert depths.max() > 2.0 * np.median(depths)


def test_kinds_of_moves():
    """Pecks peck, plunges plunge, pauses stop the spindle, bit changes change the bit."""
    assert (made("pecks")[1].program.moves.kind == Kind.PECK).sum() > 100
    assert (made("plunges")[1].program.moves.kind == Kind.PLUNGE).sum() > 30
    assert (made("pauses")[1].program.moves.kind == Kind.PAUSE).sum() >= 2
    assert len(made("pauses")[1].stints) >= 3
    assert (made("bit_changes")[1].program.moves.kind == Kind.BIT_CHANGE).sum() >= 5


@pytest.mark.parametrize(
    ("name", "turned", "kept"), [("feed_override", "feed", "speed"), ("speed_override", "speed", "feed")]
)
@pytest.mark.parametrize("seed", range(4))
def test_override(name, turned, kept, seed):
    """Somebody turns one knob by one factor for some lines; the path is the planned one, line by line."""
    job, plan = made(name, seed)
    planned, cut = plan.program.moves, read(job.text, "job").moves
    np.testing.assert_array_equal(cut.end, planned.end)
    np.testing.assert_array_equal(cut.file_line, planned.file_line)
    np.testing.assert_array_equal(getattr(cut, kept), getattr(planned, kept))
    known = plan.cuts & (getattr(planned, turned) > 0)
    factors = getattr(cut, turned)[known] / getattr(planned, turned)[known]
    assert len(np.unique(np.round(factors, 3))) == 2
    assert factors.min() == pytest.approx(1.0) or factors.max() == pytest.approx(1.0)
    changes = np.count_nonzero(np.diff(np.round(factors, 3)))
    assert changes == 2


@pytest.mark.parametrize("where", ["cut", "sideways"])
@pytest.mark.parametrize("name", ["whole_job", "slots"])
def test_onsets(name, where):
    """A fault begins on a line that cuts, with so much of the same bit's cutting before it and after it."""
    plan = made(name)[1]
    moves = plan.program.moves
    lasted = np.where(plan.cuts, plan.times.end - plan.times.begin, 0.0)
    for line in {line_for(plan, kind(where, 10.0, 6.0), np.random.default_rng(seed)) for seed in range(100)}:
        on = np.flatnonzero((moves.file_line == line) & plan.cuts)
        assert len(on)
        first, last = next((a, b) for a, b in plan.stints if a <= on[-1] <= b)
        assert lasted[first : on[-1]].sum() >= 10.0
        assert lasted[on[0] : last + 1].sum() >= 6.0
        assert where == "cut" or (plan.kinds[on] != KINDS.index("down")).any()


def test_onsets_in_the_air():
    """Such a fault begins on a move that cuts nothing, before a cut."""
    plan = made("slots")[1]
    moves = plan.program.moves
    for seed in range(50):
        on = moves.file_line == line_for(plan, kind("air", 10.0, 6.0), np.random.default_rng(seed))
        assert not plan.cuts[on].any()
        assert plan.cuts[np.flatnonzero(on)[-1] :].any()


def test_onset_with_the_job():
    """A fault that is there from the start needs no cutting before it."""
    plan = made("slots")[1]
    line = line_for(plan, kind("start", 10.0, 6.0), np.random.default_rng(1))
    assert line == plan.program.moves.file_line[plan.cuts][0]


def test_no_room_for_a_fault():
    """Where no line has so much cutting about it, there is none."""
    assert line_for(made("plunges")[1], kind("cut", 1000.0, 1.0), np.random.default_rng(1)) is None


def kind(where, learned, left):
    """Return a kind of fault with so much cutting about it."""
    return replace(next(iter(FAULTS.values())), where=where, learned=learned, left=left)


def test_words_in_comments_are_left_alone():
    """Only the words of the code are multiplied, and each once."""
    lines = ["G1 X1 F1000 (F500 in a comment)", "X2", "X3 F800", "X4"]
    turned = list(programs._turned(lines, "F", 2.0, range(1, 3)))  # noqa: SLF001 - the part under test
    assert turned == ["G1 X1 F1000 (F500 in a comment)", "X2 F2000", "X3 F1600", "X4 F800"]
