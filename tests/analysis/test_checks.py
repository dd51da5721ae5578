"""The first seconds of a bit are checked beside what is known of it; a doubt stands until it is answered."""

from dataclasses import replace

import numpy as np
from moments import TIGHT

from analysis.allowed import Allowed
from analysis.baseline import SIGNS, TRUE_ENOUGH, learn
from analysis.checks import Checks
from analysis.cut import Context
from analysis.evidence import SOUGHT
from analysis.normals import Normals
from analysis.reference import Reference

BIT, KEY = 1, (1, "across")
CONTEXT = Context(BIT, "across", told=True)
MOVED = SOUGHT * np.array([4.0, 2.5, 2.5, 2.5, 2.0])


def fresh(moved: np.ndarray | float = 0.0):
    """The baseline of a cut whose signs lie so many dB above what a tight bit surely has."""
    chance = np.random.default_rng(1).standard_normal((60, SIGNS))
    return learn([replace(TIGHT, plain=TRUE_ENOUGH + moved + each) for each in chance])


TIGHT_CUT, LOOSE_CUT = fresh(), fresh(MOVED)


class Bench:
    """Checks of one run, with or without a reference."""

    def __init__(self, *, reference: bool = False, good_before: bool = False) -> None:
        known = {BIT: Reference.of([{"across": TIGHT_CUT}] * 3)} if reference else {}
        self.normals, self.allowed = Normals(), Allowed()
        self.checks = Checks(0.5, known, self.normals, self.allowed)
        if good_before:
            self.normals.freeze(KEY, TIGHT_CUT, 0.0, 3.0)

    def check(self, cut):
        """Return what came of a check of one cut."""
        return self.checks.check(KEY, cut, CONTEXT, 9.0)


def test_what_is_loose_beside_a_reference_is_told_and_never_taken_for_normal():
    """With what it was compared with: that is the good sound from then on."""
    outcome = Bench(reference=True).check(LOOSE_CUT)
    assert outcome.said is not None
    assert (outcome.said.against, outcome.said.verdict, outcome.is_good) == ("reference", "loose", False)
    assert outcome.loose is not None


def test_physics_alone_doubts_and_no_more():
    """The baseline is used all the same, with the bit in doubt."""
    bench = Bench()
    outcome = bench.check(LOOSE_CUT)
    assert outcome.said is not None
    assert (outcome.said.against, outcome.said.verdict) == ("physics", "doubtful")
    assert (outcome.is_good, outcome.loose) == (True, None)
    assert bench.checks.accuse(BIT)
    assert bench.checks.was_never_good(BIT)


def test_that_physics_has_nothing_against_a_bit_is_said_only_of_one_that_was_tightened():
    """Before that nobody asked."""
    bench = Bench()
    assert bench.check(TIGHT_CUT).said is None
    assert not bench.checks.tightened(BIT)
    assert bench.check(TIGHT_CUT).said is not None
    assert bench.check(TIGHT_CUT).said is None


def test_a_tightened_bit_is_compared_with_its_good_sound_from_before():
    """Once; a loose one is told at the first try."""
    bench = Bench(good_before=True)
    assert bench.checks.tightened(BIT)
    said = bench.check(TIGHT_CUT).said
    assert said is not None
    assert (said.against, said.verdict) == ("before", "tight")
    assert not bench.checks.is_checked_anew(BIT)
    loose = Bench(good_before=True)
    loose.checks.tightened(BIT)
    assert loose.check(LOOSE_CUT).loose is not None


def test_what_a_person_said_to_be_nothing_is_neither_told_nor_doubted_again():
    """It counts as normal."""
    bench = Bench(reference=True)
    bench.allowed.allow(BIT, MOVED, TRUE_ENOUGH + MOVED)
    outcome = bench.check(LOOSE_CUT)
    assert (outcome.said, outcome.is_good, outcome.loose) == (None, True, None)
    assert not bench.checks.accuse(BIT)


def test_a_doubt_stands_though_physics_finds_nothing_in_another_cut():
    """Straight down a loose bit hardly swells, either."""
    bench = Bench()
    bench.check(LOOSE_CUT)
    assert bench.check(TIGHT_CUT).said is None
    assert bench.checks.accuse(BIT)
