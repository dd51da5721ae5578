# ruff: noqa: SLF001 - brute force needs what is inside
"""The filter against brute force, and what it must do whatever is heard."""

import numpy as np
import pytest
from place.sounding import plan_of

from analysis.place.grid import _MOST_CELLS, Grid
from analysis.place.paces import REACH
from analysis.place.track import Track
from analysis.which_bit import Fit

SECONDS = 0.4
# A few cells only: brute force needs their square.
TINY = Track.of(
    plan_of(["G21 G90", "T1 M6", "S18000 M3", "G0 Z2", "G1 Z-3 F400", "G1 X20 F1200", "G0 Z6", "M5", "M30"]),
    SECONDS / 2,
)
LEVELS = [-60.0, -60.0, -45.0, -43.0, -41.0, -42.0, -28.0, -29.0, -27.0, -28.0]


def matrix(grid: Grid, *, stirred: bool) -> "np.typing.NDArray[np.float64]":
    """The probability of going from each pace and cell to each other in one step, built one by one."""
    paces, cells = grid._heap.shape[0], len(grid.track)
    found = np.zeros((paces * cells, paces * cells))
    wood = ~np.isnan(grid.track.extra)
    for pace in range(paces):
        for cell in range(cells):
            moved = np.zeros((paces, cells + REACH))
            for far in range(REACH + 1):
                moved[pace, cell + far] = grid._paces.weights[grid.track.sort[cell], far, pace]
            after = moved[:, :cells]
            if stirred:
                after = grid._paces.stir(after, after.sum(axis=0), wood)
            found[pace * cells + cell] = after.ravel()
    return found


def test_forward_and_backward_are_those_of_brute_force():
    """The places that it tells of the last steps are those of the whole chain, written out as a matrix."""
    grid = Grid(TINY, SECONDS)
    chains, prior = [matrix(grid, stirred=stirred) for stirred in (False, True)], grid._heap.ravel().copy()
    for level in LEVELS:
        grid.step(level, turns=level > -50.0)
    ways = [chains[step.stirred] for step in grid._past]
    fits = []
    for step in grid._past:
        whole = np.full(grid._heap.shape[0] * len(TINY), 0.0).reshape(-1, len(TINY))
        here = slice(step.first, step.first + step.heap.shape[1])
        whole[0, here], whole[1:, here] = step.fits[0], step.fits[1]
        fits.append(whole.ravel())
    ahead = [np.ones_like(prior)]
    for fit, chain in zip(fits[:0:-1], ways[:0:-1], strict=True):
        ahead.insert(0, chain @ (fit * ahead[0]))
        ahead[0] /= ahead[0].max()
    thought = prior
    told_of = grid.smoothed(len(LEVELS))
    for fit, chain, later, (first, mass) in zip(fits, ways, ahead, told_of, strict=True):
        thought = fit * (thought @ chain)
        thought /= thought.sum()
        expected = (thought * later).reshape(-1, len(TINY)).sum(axis=0)
        told = np.zeros(len(TINY))
        told[first : first + len(mass)] = mass
        np.testing.assert_allclose(told, expected / expected.sum(), atol=1e-4)


def test_probabilities_add_up_to_one():
    """Whatever is heard, the whole is 1, and none is negative."""
    grid, rng = Grid(TINY, SECONDS), np.random.default_rng(3)
    for _ in range(200):
        grid.step(float(rng.uniform(-90.0, 0.0)), turns=bool(rng.random() < 0.5))
        first, mass = grid.now()
        assert mass.sum() == pytest.approx(1.0)
        assert (mass >= 0.0).all()
        assert first >= 0
        assert first + len(mass) <= len(TINY)


def test_time_in_which_nothing_was_heard_only_spreads_the_place():
    """A gap moves the place on, as the clock would, and nothing is lost."""
    grid = Grid(TINY, SECONDS)
    for level in LEVELS:
        grid.step(level, turns=level > -50.0)
    first, before = grid.now()
    middle = first + float(np.average(np.arange(len(before)), weights=before))
    grid.pass_time()
    first, after = grid.now()
    assert first + float(np.average(np.arange(len(after)), weights=after)) > middle
    assert after.sum() == pytest.approx(1.0)


LONG = Track.of(
    plan_of(
        ["G21 G90", "T1 M6", "S18000 M3", "G0 Z2", "G1 Z-3 F400 X0"]
        + [f"X{200 * (number % 2)} Y{number} F60" for number in range(1, 20)]
        + ["G0 Z6", "M5", "M30"]
    ),
    SECONDS / 2,
)


def test_a_step_costs_no_more_in_a_longer_program():
    """However long the program and whatever is heard, as many cells are thought of, and they add up to 1."""
    grid, rng = Grid(LONG, SECONDS), np.random.default_rng(4)
    assert len(LONG) > _MOST_CELLS + 5000
    for _ in range(80):
        grid.step(float(rng.uniform(-90.0, 0.0)), turns=bool(rng.random() < 0.5))
        _, mass = grid.now()
        assert len(mass) <= _MOST_CELLS
        assert mass.sum() == pytest.approx(1.0)


@pytest.mark.parametrize("by", ["a person", "the controller"])
def test_who_tells_of_a_place_out_of_sight_is_followed(by: str):
    """In a long program the place may be too far away to be looked for; a line that is told is found."""
    grid, move = Grid(LONG, SECONDS), int(LONG.first[-1000])
    for _ in range(3):
        grid.step(-30.0, turns=True)
    if by == "a person":
        grid.mark(move, move)
    for _ in range(3):
        grid.step(-30.0, turns=True, told=(move, move) if by == "the controller" else None)
    first, mass = grid.now()
    likely = first + int(np.searchsorted(np.cumsum(mass), 0.5))
    assert abs(int(LONG.first[likely]) - move) <= 1


def test_another_bit_that_is_heard_for_long_moves_the_place():
    """A place that is sure of one bit looks elsewhere when another one is plainly heard for long."""
    cut = ["G0 Z2", "G1 Z-3 F400", "G1 X900 F1200", "G1 X0", "G0 Z6", "M5"]
    track = Track.of(plan_of(["G21 G90", "T1 M6", "S18000 M3", *cut, "T2 M6", "S18000 M3", *cut, "M30"]), 0.2)
    heard = {1: Fit(stands=1.0, bites=1.0), 2: Fit(stands=4.0, bites=1.0)}
    shares = []
    for bits in (heard, {}):
        grid = Grid(track, SECONDS)
        where = np.flatnonzero(track.bit == 1)
        grid.mark(int(track.first[where[300]]), int(track.last[where[300]]))
        for _ in range(100):
            grid.step(-30.0, turns=True, bits=bits)
        first, mass = grid.now()
        shares.append(float(mass[track.bit[first : first + len(mass)] == 2].sum()))
    assert shares[0] > 0.5
    assert shares[1] < 0.05


def test_what_is_heard_to_cut_for_long_is_cut_somewhere():
    """A place that is sure that the program is over looks elsewhere when teeth are heard cutting for long."""
    cut = ["G0 Z2", "G1 Z-3 F400", "G1 X900 F1200", "G1 X0", "G0 Z6", "M5"]
    track = Track.of(plan_of(["G21 G90", "T1 M6", "S18000 M3", *cut, "T2 M6", "S18000 M3", *cut, "M30"]), 0.2)
    waiting = []
    for bites in (0.5, 6.0):
        grid = Grid(track, SECONDS)
        grid.mark(int(track.first[-1]), int(track.last[-1]))
        for _ in range(60):
            grid.step(-50.0, turns=False)
        assert over(grid) > 0.99
        for _ in range(60):
            grid.step(-50.0, turns=True, bits={1: Fit(2.0, 0.5), 2: Fit(2.0, bites)})
        waiting.append(over(grid))
    assert waiting[0] > 0.9
    assert waiting[1] < 0.1


def over(grid: Grid) -> float:
    """Return how likely it is that the spindle stands."""
    first, mass = grid.now()
    return float(mass[grid.track.bit[first : first + len(mass)] < 0].sum())


def test_a_place_that_what_is_heard_speaks_against_is_not_believed():
    """Nor once another bit than its own was heard for a while: until it is where that one cuts."""
    cut = ["G0 Z2", "G1 Z-3 F400", "G1 X900 F1200", "G1 X0", "G0 Z6", "M5"]
    track = Track.of(plan_of(["G21 G90", "T1 M6", "S18000 M3", *cut, "T2 M6", "S18000 M3", *cut, "M30"]), 0.2)
    grid = Grid(track, SECONDS)
    where = np.flatnonzero(track.bit == 1)[300]
    grid.mark(int(track.first[where]), int(track.last[where]))
    heard = {1: Fit(stands=1.0, bites=1.0), 2: Fit(stands=4.0, bites=1.0)}
    believed = []
    for _ in range(100):
        grid.step(-30.0, turns=True, bits=heard)
        believed.append(grid.bit()[0] if grid.believed else None)
    assert believed[0] == 1
    assert 1 not in believed[15:]
    assert believed[-1] == 2


def test_a_sound_that_is_steadier_than_any_place_foresees_speaks_against_none():
    """A long cut that varies by a tenth of a decibel from step to step is the one that was foreseen."""
    cut = ["G0 Z2", "G1 Z-3 F400", "G1 X900 F1200", "G0 Z6", "M5", "M30"]
    grid = Grid(Track.of(plan_of(["G21 G90", "T1 M6", "S18000 M3", *cut]), 0.2), SECONDS)
    for level in [-60.0, -42.0, -42.0, -42.0]:
        grid.step(level, turns=level > -50.0)
    believed = []
    for number in range(100):
        grid.step(-28.0 + 0.1 * (number % 2), turns=True)
        believed.append(grid.believed)
    assert all(believed)


def test_what_is_foreseen_badly_counts_for_less():
    """Where the model has not held, the same sound narrows the place less than where it has."""
    widths = []
    for gain in (0.0, -0.3):
        grid = Grid(LONG, SECONDS)
        for level in (-60.0, -60.0, -45.0, -45.0, -30.0, -30.0, -45.0, -30.0):
            grid._gain = gain
            grid.step(level, turns=True)
        mass = np.sort(grid.now()[1])[::-1]
        widths.append(int(np.searchsorted(np.cumsum(mass), 0.99)))
    assert widths[1] > 1.2 * widths[0]


def test_the_bit_may_be_known_where_the_place_is_not():
    """A place that may be anywhere in one bit's cuts is one bit's."""
    cut = ["G0 Z2", "G1 Z-3 F400", "G1 X900 F1200", "G1 X0", "G0 Z6", "M5"]
    track = Track.of(plan_of(["G21 G90", "T1 M6", "S18000 M3", *cut, "T2 M6", "S18000 M3", *cut, "M30"]), 0.2)
    for number in (1, 2):
        grid, there = Grid(track, SECONDS), np.flatnonzero(track.bit == number)
        grid.mark(int(track.first[there[5]]), int(track.last[there[-20]]))
        bit, probably = grid.bit()
        assert bit == number
        assert probably > 0.95


def test_where_the_program_waits_or_is_over_it_tells_no_bit_of_several():
    """What is left of a bit elsewhere says nothing; of a program with one bit it is that one."""
    cut = ["G0 Z2", "G1 Z-3 F400", "G1 X900 F1200", "G1 X0", "G0 Z6", "M5"]
    told = []
    for bits in ((1, 2), (7,)):
        stints = [word for bit in bits for word in (f"T{bit} M6", "S18000 M3", *cut)]
        track = Track.of(plan_of(["G21 G90", *stints, "M30"]), 0.2)
        grid = Grid(track, SECONDS)
        grid._lay(np.eye(len(track))[-1], keep=1e-6)
        told.append(grid.bit())
    (_, probably), alone = told
    assert probably < 0.01
    assert alone == (7, 1.0)
