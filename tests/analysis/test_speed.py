"""The spindle's speed is the comb's, the teeth's and what was set, weighed together."""

import numpy as np
import pytest
from hand_made import comb, cutter, white, windows_of
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.features import Ear, FeatureReader
from analysis.speed import TEETH, SpeedGrid

RATE = 48_000


@given(
    low=st.floats(10, 400), spread=st.floats(1.01, 1.6), lines=st.integers(1, 30), delta_f=st.floats(1, 12)
)
def test_the_grid_has_no_gaps(low: float, spread: float, lines: int, delta_f: float):
    """From the lowest speed to the highest, no line moves by more than half a bin from one to the next."""
    grid = SpeedGrid(delta_f, low, low * spread, lines)
    tried = grid.frequencies
    assert tried[[0, -1]] == pytest.approx([low, low * spread])
    assert np.all(np.diff(tried) * lines <= 0.5 * delta_f * (1 + 1e-6))


def test_scores_are_the_weighted_mean_of_a_combs_lines():
    """By brute force: the mean over a speed's lines, clipped to -3 to 15 dB, weighted 1 / sqrt(order)."""
    grid = SpeedGrid(10.0, 250.0, 350.0, 8)
    above = np.random.default_rng(6).normal(0, 12, (3, 400)).astype(np.float32)
    expected = np.zeros((3, len(grid.frequencies)))
    for row, spectrum in enumerate(above):
        for place, frequency in enumerate(grid.frequencies):
            lines = [(n**-0.5, np.clip(spectrum[round(frequency * n / 10.0)], -3, 15)) for n in range(1, 9)]
            expected[row, place] = sum(w * dB for w, dB in lines) / sum(w for w, _ in lines)
    np.testing.assert_allclose(grid.scores(above), expected, atol=1e-5)


@pytest.mark.parametrize("rows", [2, 16, 17, 64])
def test_scores_of_many_rows_are_those_of_each_alone(rows: int):
    """However many rows come together, each scores as it does alone, to the last bit."""
    grid = SpeedGrid(8.9, 255.0, 345.0, 30)
    above = np.random.default_rng(rows).normal(0, 12, (rows, grid.bins)).astype(np.float32)
    alone = [grid.scores(above[row : row + 1]) for row in range(rows)]
    assert grid.scores(above).tobytes() == np.concatenate(alone).tobytes()


def speed_read(sound: NDArray[np.float32], ear: Ear) -> float:
    """Read the spindle frequency after the last window, Hz."""
    return float(FeatureReader(ear).read(windows_of(sound, ear.size, ear.hop)).speed[-1])


@settings(max_examples=25, deadline=None)
@given(
    flutes=st.integers(1, 4),
    speed=st.floats(8_000, 30_000),
    dial=st.floats(0.9, 1.1),
    runout=st.floats(0.03, 0.5),
    noise=st.sampled_from([0.003, 0.03, 0.3]),
    seed=st.integers(0, 2**31),
)
def test_speed_is_read_within_a_thousandth(
    *, flutes: int, speed: float, dial: float, runout: float, noise: float, seed: int
):
    """A comb of any bit, in noise, is read within 0.1 % though the dial is wrong by up to 10 %."""
    ear = Ear.for_speed(RATE, dial * speed, flutes)
    sound = comb(0.6, RATE, speed / 60, cutter(flutes, runout), seed) + white(0.6, RATE, noise, seed)
    assert speed_read(sound, ear) == pytest.approx(speed / 60, rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("speed", [8_000, 13_370, 24_000])
def test_speed_agrees_with_another_pitch_tracker(speed: int):
    """librosa.yin, on a sound whose pitch is the spindle frequency, tells the same speed within 0.3 %."""
    import librosa  # noqa: PLC0415  # seconds, for this test alone

    sound = comb(1.0, RATE, speed / 60, {n: 1 / n for n in range(1, 20)}) + white(1.0, RATE, 0.01, seed=7)
    ours = speed_read(sound, Ear.for_speed(RATE, 1.05 * speed, 2))
    theirs = np.median(librosa.yin(sound, fmin=80, fmax=600, sr=RATE, frame_length=4096))
    assert ours == pytest.approx(speed / 60, rel=1e-3)
    assert ours == pytest.approx(theirs, rel=3e-3)


def test_the_best_speed_is_the_middle_of_a_plateau():
    """Where loud lines make several speeds score alike, their middle is read; at an end, what there is."""
    grid = SpeedGrid(10.0, 250.0, 350.0, 8)
    scores = np.zeros((3, len(grid.frequencies)), dtype=np.float32)
    scores[0, 40:49] = scores[1, :5] = 9.0
    speed, prominence, _ = grid.best(scores, np.zeros_like(scores), grid.remote)
    assert speed[0] == pytest.approx(grid.frequencies[44], rel=3e-5)
    assert speed[1] == pytest.approx(grid.frequencies[2], rel=1e-5)
    assert prominence.tolist() == [9.0, 9.0, 0.0]
    assert 250.0 <= speed[2] <= 350.0


def test_teeth_are_the_mean_of_the_swells_tooth_pass_harmonics():
    """By brute force: the mean of three harmonics, clipped; those beyond the end count as nothing."""
    grid = SpeedGrid(10.0, 250.0, 350.0, 8, flutes=2, nominal=300.0)
    above = np.random.default_rng(8).normal(0, 12, (3, 300)).astype(np.float32)
    for bins in (300, 180, 90, 60):
        expected = np.zeros((3, len(grid.frequencies)))
        harmonics = [n for n in range(1, TEETH + 1) if round(2 * n * 350.0 / 10.0) < bins]
        for place, frequency in enumerate(grid.frequencies):
            lines = [np.clip(above[:, round(2 * n * frequency / 10.0)], -3, 15) for n in harmonics]
            expected[:, place] = sum(lines) / TEETH if lines else 0.0
        np.testing.assert_allclose(grid.teeth(above[:, :bins]), expected, atol=1e-5)


@pytest.mark.parametrize(("nominal", "flutes", "teeth"), [(300.0, 2, 3), (None, 2, 1), (None, 1, 3)])
def test_where_nobody_told_the_speed_the_first_tooth_pass_alone_counts(
    nominal: float | None, flutes: int, teeth: int
):
    """Of several flutes: at half the speed the second one would be the true one's first."""
    grid = SpeedGrid(10.0, 100.0, 500.0, 22, flutes, nominal)
    place = int(np.abs(grid.frequencies - 300.0).argmin())
    above = np.zeros((1, 400), dtype=np.float32)
    for tooth in range(1, 4):
        above[0, round(tooth * flutes * grid.frequencies[place] / grid.delta_f)] = 3.0
    assert grid.teeth(above)[0, place] == pytest.approx(3.0)
    above[0, round(flutes * grid.frequencies[place] / grid.delta_f)] = 0.0
    assert grid.teeth(above)[0, place] == pytest.approx(3.0 * (teeth - 1) / teeth)


def test_far_from_what_was_set_costs_but_never_more_than_one_db():
    """The speed that was set costs nothing, one that is farther off more, and none more than 1 dB."""
    remote = SpeedGrid(10.0, 250.0, 350.0, 8, nominal=300.0).remote
    assert remote.min() < 0.01
    assert remote.max() == 1.0
    assert np.all(np.diff(remote[: remote.argmin()]) <= 0.0)
    assert not SpeedGrid(10.0, 250.0, 350.0, 8).remote.any()


def beside_another_machine(*, bites: bool) -> NDArray[np.float32]:
    """Three seconds of a bit with two flutes at 300 Hz, and of a fan whose comb at 330 Hz is stronger."""
    time = np.arange(3 * RATE) / RATE
    swell = 1.0 + 0.9 * np.cos(2 * np.pi * 600.0 * time) if bites else np.ones(len(time))
    hiss = white(3.0, RATE, 0.1, seed=5) * np.sqrt(swell)
    fan = comb(3.0, RATE, 330.0, dict.fromkeys(range(1, 13), 0.02), seed=3)
    return (hiss + fan + comb(3.0, RATE, 300.0, dict.fromkeys(range(1, 13), 0.015), seed=4)).astype(
        np.float32
    )


def test_what_cuts_is_told_from_what_only_turns():
    """A stronger comb is not taken for the spindle where the hiss swells with the teeth of another."""
    far = Ear(RATE, 255.0, 345.0, 2, 4800)
    assert speed_read(beside_another_machine(bites=False), far) == pytest.approx(330.0, rel=2e-3)
    assert speed_read(beside_another_machine(bites=True), far) == pytest.approx(300.0, rel=2e-3)


def test_what_was_set_decides_between_two_machines():
    """Of two combs that stand out alike the one at the speed that was set is the spindle's."""
    set_to = Ear.for_speed(RATE, 18_000, 2)
    assert speed_read(beside_another_machine(bites=False), set_to) == pytest.approx(300.0, rel=2e-3)
