"""Seeds that judge, and seeds by which things are chosen, never meet."""

from itertools import islice, pairwise

import pytest
from hearing.cases import faulty, healthy
from hearing.conditions import CONDITIONS
from hearing.faults import FAULTS
from hearing.seeds import DEVELOPMENT_END, JUDGED, seed_of
from judges import BITS, DEVELOPMENT, GAIN, HEARING, LINES, PLACE, SPENT, TIGHTENED, TUNING
from placing.cases import cases


def test_no_two_benchmarks_share_a_seed():
    """What judges one thing has shown nothing of another, has judged nothing before, and is not worked by."""
    ranges = sorted(
        [DEVELOPMENT, HEARING, PLACE, LINES, BITS, TUNING, TIGHTENED, GAIN, *SPENT], key=lambda own: own.start
    )
    assert all(own.stop <= after.start for own, after in pairwise(ranges))


@pytest.mark.parametrize("own", [PLACE, LINES])
def test_the_runs_of_a_place_keep_to_their_seeds(own):
    """A run in each condition has a seed of the benchmark's own."""
    assert all(case.seed in own for case in cases(6, own.start))


def test_judging_seeds_are_apart():
    """Every seed of a judging run is 1900000 or more, every other one below 100000."""
    for number in (*CONDITIONS, *FAULTS):
        for run in (0, 399):
            assert seed_of("judged", number, run) >= JUDGED == 1_900_000
            assert seed_of("development", number, run) < DEVELOPMENT_END == 100_000
            assert seed_of("calibration", number, run) < DEVELOPMENT_END


@pytest.mark.parametrize("use", ["judged", "development", "calibration"])
def test_no_two_runs_share_a_seed(use):
    """However many runs there are, no seed comes twice, in faulty and healthy ones together."""
    cases = [*faulty(use, 300), *islice(healthy(use), 900)]
    assert len({case.seed for case in cases}) == len(cases)


def test_development_and_calibration_are_apart():
    """The rivals' thresholds are not chosen on the runs that development looks at."""
    two = [{case.seed for case in islice(healthy(use), 900)} for use in ("development", "calibration")]
    assert not two[0] & two[1]


@pytest.mark.parametrize(("number", "run"), [(1, 400), (1, -1), (1000, 0)])
def test_no_seed_is_lent(number, run):
    """A run for which there is no seed of its own is refused."""
    with pytest.raises(ValueError, match=r"run=|number="):
        seed_of("development", number, run)


def test_numbers_are_given_once():
    """Conditions and faults have different numbers, for seeds follow from them."""
    assert not set(CONDITIONS) & set(FAULTS)


def test_kinds_are_mixed():
    """Any beginning of the faulty runs holds each kind in proportion to its share, give or take one run."""
    whole = sum(kind.share for kind in FAULTS.values())
    cases = list(faulty("development", 200))
    for count in (10, 57, 200):
        for kind in FAULTS.values():
            made = sum(case.fault == kind.number for case in cases[:count])
            assert abs(made - count * kind.share / whole) <= 1.0


def test_each_kind_of_fault_meets_each_shop():
    """In the full form no kind of fault is always tried in the same shop."""
    shops = {condition.number for condition in CONDITIONS.values() if condition.faulty}
    for kind in FAULTS:
        met = {case.condition for case in faulty("development", 240) if case.fault == kind}
        assert len(met) >= min(len(shops), 5)
