"""What a person would use instead gets a fair hearing."""

import numpy as np
import pytest
from hearing import cepstra, rivals
from hearing.truth import Cutting, cutting_at, cutting_seconds, is_cutting
from sklearn.covariance import ledoit_wolf

from analysis.locate import KINDS
from recordings_synthetic import Truth

STEP = 0.05
ROWS = 1200


@pytest.fixture(scope="module")
def heard():
    """A minute of one cut: coefficients that move by three deviations, and a level by 4 dB, at row 800."""
    rng = np.random.default_rng(2)
    coefficients = rng.standard_normal((ROWS, 20))
    coefficients[800:, 3:6] += 3.0
    levels = -30.0 + 0.3 * rng.standard_normal(ROWS)
    levels[800:] += 4.5
    whole = np.ones(ROWS, dtype=bool)
    cutting = Cutting(whole, np.full(ROWS, 5), np.full(ROWS, 1))
    return coefficients, levels, cutting


@pytest.fixture(scope="module")
def scores(heard):
    """Each rival's scores of that minute."""
    return rivals.scores(*heard, STEP)


@pytest.mark.parametrize("name", rivals.RIVALS)
def test_a_plain_change_is_found(scores, name):
    """Every rival's score is higher after a strong change than ever before it, within two seconds."""
    score = scores[name]
    assert np.nanmax(score[:800]) < np.nanmin(score[840:])


@pytest.mark.parametrize("name", rivals.RIVALS)
def test_learned_rows_are_not_scored(scores, name):
    """Nothing is scored that was learned from: three seconds, then a second to average over."""
    score = scores[name]
    assert np.isnan(score[:79]).all()
    assert not np.isnan(score[80:]).any()


def test_other_kinds_of_cut_are_not_compared(heard):
    """A kind of cut is compared with itself only; one that was too short to be learned has no score."""
    coefficients, levels, cutting = heard
    group = np.where(np.arange(ROWS) < 400, 5, np.where(np.arange(ROWS) < 450, 6, 7))
    score = rivals.scores(coefficients, levels, Cutting(cutting.cuts, group, cutting.bit), STEP)["level"]
    assert np.isnan(score[400:510]).all()
    assert not np.isnan(score[510:]).any()


def test_mahalanobis(heard):
    """The distance is that of the shrunk covariance of scikit-learn, in a formula of our own."""
    rows = heard[0]
    learned, new = rows[:60], rows[700:710]
    scale = learned.std(axis=0)
    covariance, _ = ledoit_wolf(learned / scale)
    off = (new - learned.mean(axis=0)) / scale
    expected = np.einsum("ni,ij,nj->n", off, np.linalg.inv(covariance), off)
    np.testing.assert_allclose(rivals.mahalanobis(learned)(new), expected)


def test_plain_level_alarm():
    """3 dB for a whole second, air and cut alike, against the first seconds of cutting; less is none."""
    levels = np.full(400, -30.0)
    levels[200:219], levels[300:320] = -26.0, -26.0
    cutting = Cutting(np.arange(400) < 100, np.zeros(400, dtype=int), np.ones(400, dtype=int))
    score = rivals.scores(np.random.default_rng(1).standard_normal((400, 20)), levels, cutting, STEP)[
        rivals.PLAIN
    ]
    assert np.flatnonzero(score > rivals.PLAIN_LIMIT).tolist() == [319]


def test_levels():
    """A window's level is its mean square: -3.01 dB for a sine of full scale."""
    rate, size, hop = 8000, 800, 400
    sound = np.sin(2.0 * np.pi * 100.0 * np.arange(8000) / rate).astype(np.float32)
    np.testing.assert_allclose(cepstra.levels(sound, size, hop), -3.0103, atol=1e-3)
    assert len(cepstra.levels(sound, size, hop)) == len(cepstra.cepstra(sound, rate, size, hop))


def test_cepstra_follow_the_level_in_the_first_coefficient_alone():
    """Sound that is 6 dB louder moves the first coefficient, by 6.02 dB times sqrt(64), and no other."""
    rng = np.random.default_rng(3)
    sound = (0.1 * rng.standard_normal(8000)).astype(np.float32)
    soft, loud = (cepstra.cepstra(gain * sound, 8000, 800, 400) for gain in (np.float32(1), np.float32(2)))
    np.testing.assert_allclose((loud - soft)[:, 0], 6.0206 * 8.0, rtol=1e-4)
    np.testing.assert_allclose((loud - soft)[:, 1:], 0.0, atol=1e-3)


def truth_of(cutting):
    """Return a truth of moves that last a second each."""
    begin = np.arange(float(len(cutting)))
    line = np.arange(len(cutting), dtype=np.int32)
    return Truth(8000, begin, begin + 1.0, line, line, np.array(cutting), (), *[None] * 5, ())


class Plan:
    """What is asked of a plan here."""

    def __init__(self, kinds):
        self.kinds = np.array([KINDS.index(kind) for kind in kinds])
        self.program = self
        self.moves = self
        self.bit = np.ones(len(kinds), dtype=int)


def test_truth_row_by_row():
    """A stretch is in the cut when all of it is, in one kind of cut; each kind is a group of its own."""
    truth = truth_of([False, True, True, True, False])
    plan = Plan(["slot", "slot", "slot", "wide", "wide"])
    begin = np.array([0.2, 0.9, 1.1, 1.9, 2.1, 2.9, 3.5, 3.9, 4.5])
    found = cutting_at(truth, plan, begin, begin + 0.2)
    assert found.cuts.tolist() == [False, False, True, True, True, False, True, False, False]
    assert found.group[2] == found.group[4] != found.group[6]
    assert is_cutting(truth, np.array([-1.0, 0.5, 1.5, 9.0])).tolist() == [False, False, True, False]
    assert cutting_seconds(truth) == 3.0
    assert cutting_seconds(truth, 2.5) == 1.5
