"""The demo job."""

import numpy as np
import pytest

from analysis.program import Kind, find_parts, read, schedule
from recordings_synthetic import make
from recordings_synthetic.job import BITS, STANDS, THICKNESS, TRAYS, Stand, Tray, one_outline, seedling_trays


@pytest.fixture(scope="module")
def job():
    """The demo job, read."""
    return read(seedling_trays(), "seedling trays")


def test_the_shipped_program_is_the_generators():
    """The file in the package is what the generator writes, to the letter."""
    assert (make.HERE / "seedling_trays.ngc").read_text(encoding="ascii") == seedling_trays()


def test_it_reads_without_a_warning(job):
    """The program means what it says to a reader of NISTIR 6556."""
    assert job.warnings == ()
    assert job.top == 0.0


def test_n_words_are_not_file_lines(job):
    """Some lines carry an N-word, some do not, and none is the number of its line in the file."""
    numbered = job.moves.word >= 0
    assert 0.05 < numbered.mean() < 0.95
    assert not np.any(job.moves.word == job.moves.file_line)


def test_it_takes_three_to_four_minutes(job):
    """By a listener's clock, without the bit changes, the job lasts about three and a half minutes."""
    assert 180.0 < schedule(job.moves).end[-1] < 240.0


def test_each_bit_does_its_own_work(job):
    """T1 only drills, T2 stays above the sheet's underside, T3 goes through."""
    moves, deepest = job.moves, {}
    for bit in BITS:
        deepest[bit] = moves.end[moves.bit == bit, 2].min()
    cuts = moves.kind[(moves.bit == 1) & (moves.end[:, 2] < 0) & ~np.isnan(moves.feed)]
    assert set(cuts.tolist()) == {int(Kind.PECK)}
    assert deepest[1] < -THICKNESS
    assert -THICKNESS < deepest[2] < 0.0
    assert deepest[3] < -THICKNESS


def test_bits_spin_at_their_speed_when_they_cut(job):
    """Wherever the program feeds into the wood the spindle turns at the bit's speed."""
    moves = job.moves
    for number, bit in BITS.items():
        feeding = (moves.bit == number) & ~np.isnan(moves.feed)
        assert set(moves.speed[feeding].tolist()) == {bit.speed}


def test_its_parts_are_the_trays_and_the_stands(job):
    """A reader finds as many parts as the job has, of the size of their outlines."""
    found = find_parts(job)
    assert len(found) == len(TRAYS) + len(STANDS)
    r = BITS[3].diameter / 2
    round_corners = (4 - np.pi) * r**2
    tray = (TRAYS[0].side + 2 * r) ** 2 - round_corners
    stand = np.pi * (STANDS[0].radius + r) ** 2
    areas = sorted(part.area for part in found)
    np.testing.assert_allclose(areas, sorted([tray] * 3 + [stand] * 2), rtol=2e-3)


@pytest.mark.parametrize("part", [Tray("a", 5, 6, side=30.0), Stand("b", 40, 40, radius=20.0)])
def test_an_outline_comes_back_to_where_it_began(part):
    """One pass around a part is closed, at one depth, and outside the part by the bit's radius."""
    moves = read(one_outline(part)).moves
    down = np.flatnonzero(moves.end[:, 2] < 0.0)
    np.testing.assert_allclose(moves.end[down[-1], :2], moves.start[down[0], :2], atol=2e-3)
    assert set(moves.end[down, 2].tolist()) == {-4.6}
    round_corner = 2 * np.pi * 3.0
    around = 4 * 30.0 + round_corner if isinstance(part, Tray) else 2 * np.pi * 23.0
    assert moves.length[down[1:]].sum() == pytest.approx(around, abs=0.01)
