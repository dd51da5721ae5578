"""Jobs that differ from seed to seed."""

import re

import numpy as np
import pytest

from analysis.program import Kind, find_parts, read, schedule
from recordings_synthetic import record
from recordings_synthetic.job import varied_job

SEEDS = range(12)


@pytest.fixture(scope="module")
def jobs():
    """Some jobs: program and bits by seed."""
    made = {}
    for seed in SEEDS:
        text, bits = varied_job(seed)
        made[seed] = (read(text, f"job {seed}"), bits)
    return made


def test_the_seed_makes_the_job():
    """The same seed gives the same job to the letter, another seed another."""
    assert varied_job(3) == varied_job(3)
    assert varied_job(3) != varied_job(4)


@pytest.mark.parametrize("seed", SEEDS)
def test_it_reads_without_a_warning(jobs, seed):
    """Each program means what it says to a reader of NISTIR 6556, and calls itself invented."""
    program, bits = jobs[seed]
    assert program.warnings == ()
    assert any("invented" in line for line in program.lines)
    assert set(program.moves.bit[program.moves.speed > 0].tolist()) == set(bits)


@pytest.mark.parametrize("seed", SEEDS)
def test_it_lasts_one_to_four_minutes(jobs, seed):
    """With its bit changes each job lasts between one and four minutes."""
    program, bits = jobs[seed]
    moving = float(schedule(program.moves).end[-1])
    assert moving + 8.0 * len(bits) > 60.0
    assert moving + 14.0 * len(bits) < 240.0


@pytest.mark.parametrize("seed", SEEDS)
def test_it_has_the_parts_that_it_names(jobs, seed):
    """A reader finds as many parts as outlines are named, at least two."""
    program, _ = jobs[seed]
    named = [line for line in program.lines if line.endswith(": outline)")]
    assert len(find_parts(program)) == len(named) >= 2


@pytest.mark.parametrize("seed", SEEDS)
def test_holes_and_pockets_come_before_outlines(jobs, seed):
    """A part is cut out only when all else is done (common practice)."""
    program, _ = jobs[seed]
    lines = list(program.lines)
    inside = [i for i, line in enumerate(lines) if line.endswith(": inside)")]
    outlines = [i for i, line in enumerate(lines) if line.endswith(": outline)")]
    assert lines.index("(holes)") < inside[0]
    assert inside[-1] < outlines[0]
    assert (program.moves.kind == Kind.PECK).sum() >= 6


def test_they_differ(jobs):
    """Among them are one to four flutes, slow and fast spindles, tabs and none, one bit for all and three."""
    bits = [bit for _, own in jobs.values() for bit in own.values()]
    assert {bit.flutes for bit in bits} == {1, 2, 3, 4}
    assert all(8000.0 <= bit.speed <= 24000.0 for bit in bits)
    assert min(bit.speed for bit in bits) < 11000.0
    assert max(bit.speed for bit in bits) > 21000.0
    assert {len(own) for _, own in jobs.values()} == {2, 3}
    climbs = [any(re.match(r"G2 ", line) for line in program.lines) for program, _ in jobs.values()]
    assert 0 < sum(climbs) < len(climbs) or len(set(climbs)) == 1
    names = {line.split()[0] for program, _ in jobs.values() for line in program.lines if "outline)" in line}
    assert names == {"(tray", "(stand", "(shelf"}


@pytest.mark.parametrize("seed", SEEDS)
def test_no_bit_takes_more_than_its_diameter_in_a_pass(jobs, seed):
    """From pass to pass the bit goes down by no more than its diameter; a sheet is gone through a little."""
    program, bits = jobs[seed]
    moves = program.moves
    for number, bit in bits.items():
        if number == 1:
            continue
        cutting = (moves.bit == number) & (moves.end[:, 2] < 0.0)
        depths = np.unique(np.round(-moves.end[cutting, 2], 3))
        assert np.diff(np.append(0.0, depths)).max() <= bit.diameter + 1e-6


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 7])
def test_it_can_be_cut(jobs, seed):
    """Simulated, each bit of a job cuts, and the recording lasts as long as the job."""
    program, bits = jobs[seed]
    made = record(program, bits, seed=seed, rate=16000)
    cut_by = program.moves.bit[made.truth.cutting]
    assert set(cut_by.tolist()) == set(bits)
    assert 60.0 < len(made.samples) / made.rate < 245.0
    assert np.abs(made.samples).max() < 1.0
