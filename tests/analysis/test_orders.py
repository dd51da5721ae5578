"""Lines, noise among them, speed and once-per-turn modulation, against closed forms and brute force."""

import numpy as np
import pytest
from hand_made import comb, cutter, white, windows_of
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.features import Ear, FeatureReader
from analysis.orders import (
    SpeedGrid,
    TurnModulation,
    above_floor,
    line_powers,
    local_floor,
    noise_powers,
)
from analysis.spectrum import PowerSpectrum, decibels

RATE, SIZE = 48_000, 4800
SPECTRUM = PowerSpectrum(RATE, SIZE)
ORDERS = np.arange(1, 13, dtype=np.float64)


def spectra_of_noise(rows: int, seed: int = 0) -> NDArray[np.float32]:
    """Power spectra of white noise of unit variance."""
    noise = np.random.default_rng(seed).standard_normal((rows, SIZE), dtype=np.float32)
    return SPECTRUM.power(noise)


# The floor


@given(
    width=st.integers(3, 40),
    blocks=st.integers(1, 12),
    share=st.floats(0, 1),
    level=st.floats(1e-9, 1e3),
    seed=st.integers(0, 2**31),
)
def test_narrow_lines_do_not_lift_the_floor(width: int, blocks: int, share: float, level: float, seed: int):
    """Whatever stands in fewer than half of the bins of each block, a flat floor is read as it is."""
    rng = np.random.default_rng(seed)
    power = np.full((2, width * blocks), level, dtype=np.float32)
    lines = round(share * ((width - 1) // 2))
    for block in range(blocks):
        bins = block * width + rng.permutation(width)[:lines]
        power[:, bins] *= 10.0 ** rng.uniform(0, 8, lines)
    np.testing.assert_allclose(local_floor(power, width), np.float32(level), rtol=1e-6)


@pytest.mark.parametrize("width", [3, 8, 33])
def test_the_floor_follows_a_slope(width: int):
    """Between the middles of the first and the last block, a floor that rises evenly is read as it is."""
    bins = 10 * width + 2
    power = np.arange(100, 100 + bins, dtype=np.float32)[np.newaxis]
    middle = slice((width - 1) // 2 + 1, 10 * width - width // 2 - 1)
    np.testing.assert_allclose(local_floor(power, width)[:, middle], power[:, middle], rtol=1e-6)


@pytest.mark.parametrize(("bins", "width"), [(10, 100), (10, 10), (10, 0), (3, 1), (11, 4)])
def test_any_width_gives_a_floor_for_every_bin(bins: int, width: int):
    """A width beyond the spectrum's end, or below three bins, still gives a floor for each bin."""
    power = np.random.default_rng(1).exponential(size=(3, bins)).astype(np.float32)
    floor = local_floor(power, width)
    assert floor.shape == power.shape
    assert (floor >= power.min(axis=1, keepdims=True)).all()
    assert (floor <= power.max(axis=1, keepdims=True)).all()


def test_the_floor_of_noise_is_its_median():
    """The median of noise lies ln 2 below its mean: its power in a bin is distributed exponentially."""
    floor = local_floor(spectra_of_noise(300), 60)[:, 60:-60]
    assert floor.mean() == pytest.approx(np.log(2) * 4 / SIZE, rel=0.03)


# Lines


@given(order=st.integers(1, 12), place=st.floats(299.0, 311.0), amplitude=st.floats(1e-3, 1.0))
def test_a_line_keeps_its_power_wherever_it_falls(order: int, place: float, amplitude: float):
    """Three bins hold a sine's power within 0.1 dB: midway between bins 0.089 dB are outside (Hann)."""
    power = SPECTRUM.power(comb(0.1, RATE, place, {order: amplitude})[np.newaxis])
    read = line_powers(power, SPECTRUM.delta_f, np.array([place]), np.array([float(order)]))
    lost = decibels(amplitude**2) - decibels(read[0, 0])
    assert -0.01 <= lost <= 0.1


def test_a_line_beyond_the_spectrum_has_no_power():
    """A line whose three bins do not all exist reads as nothing, not as its neighbour."""
    power = np.ones((1, 101), dtype=np.float32)
    orders = np.array([0.0, 1.0, 99.0, 100.0, 1e6])
    assert line_powers(power, 10.0, np.array([10.0]), orders).tolist() == [[0.0, 3.0, 3.0, 0.0, 0.0]]


def test_each_row_has_lines_at_its_own_speed():
    """Rows of different speeds are read each at its own lines."""
    power = np.arange(2 * 400, dtype=np.float32).reshape(2, 400)
    read = line_powers(power, 1.0, np.array([10.0, 20.0]), np.array([1.0, 2.5]))
    assert read.tolist() == [[30.0, 75.0], [3 * 420.0, 3 * 450.0]]


# Noise among the lines


@pytest.mark.parametrize(
    ("frequency", "orders"),
    [(300.0, ORDERS), (300.0, ORDERS - 0.5), (450.0, ORDERS), (120.0, ORDERS), (120.0, ORDERS - 0.5)],
)
def test_noise_alone_leaves_no_line(frequency: float, orders: NDArray[np.float64]):
    """
    On white noise the power expected of each line is three bins' worth.

    Where the lines stand too close, the median of a dozen bins serves, which runs high by about 8 %.
    """
    power = spectra_of_noise(400, seed=2)
    speed = np.full(len(power), frequency)
    noise = noise_powers(power, local_floor(power, round(frequency / 10)), SPECTRUM.delta_f, speed, orders)
    np.testing.assert_allclose(noise.mean(axis=0), 3 * 4 / SIZE, rtol=0.2 if frequency < 160 else 0.12)
    assert noise.mean() == pytest.approx(3 * 4 / SIZE, rel=0.12 if frequency < 160 else 0.04)


def test_lines_are_no_noise():
    """A comb locked to the spindle, half orders and all, lifts the noise by 1.5 dB at most."""
    sound = comb(0.1, RATE, 303.0, dict.fromkeys((0.5 * n for n in range(1, 26)), 1.0))
    power = SPECTRUM.power(sound[np.newaxis])
    floor, speed = local_floor(power, 30), np.array([303.0])
    noise = noise_powers(power, floor, SPECTRUM.delta_f, speed, ORDERS)
    assert decibels(noise).max() < -20.0
    quiet = SPECTRUM.power((sound + white(0.1, RATE, 0.5, seed=3))[np.newaxis])
    noisy = noise_powers(quiet, floor, SPECTRUM.delta_f, speed, ORDERS)
    assert float(decibels(noisy.mean())) == pytest.approx(float(decibels(3 * 4 * 0.25 / SIZE)), abs=1.5)


def test_a_voice_leaves_no_excess_at_the_spindles_lines():
    """
    Lines of another pitch lie as often beside the spindle's as on them: on average they leave no excess.

    A median in the noise's place would leave nearly all of the voice.
    """
    rng = np.random.default_rng(4)
    turns = np.linspace(150, 900, 400)[:, np.newaxis] * np.arange(SIZE) / RATE
    harmonics = (np.cos(2 * np.pi * (n * turns + rng.random((400, 1)))) / n for n in range(1, 25))
    power = SPECTRUM.power(sum(harmonics).astype(np.float32))
    speed, floor = np.full(len(power), 300.0), local_floor(power, 30)
    whole = line_powers(power, SPECTRUM.delta_f, speed, ORDERS)
    excess = whole - noise_powers(power, floor, SPECTRUM.delta_f, speed, ORDERS)
    assert abs(excess.sum()) < 0.05 * whole.sum()
    over_median = whole - line_powers(floor, SPECTRUM.delta_f, speed, ORDERS) / np.log(2)
    assert over_median.sum() > 0.5 * whole.sum()


def test_whether_a_row_has_room_between_its_lines_is_its_own_affair():
    """A slow row, whose lines stand too close, leaves a fast one that came with it as it was."""
    power = spectra_of_noise(2, seed=5)
    floor, speed = local_floor(power, 20), np.array([110.0, 300.0])
    together = noise_powers(power, floor, SPECTRUM.delta_f, speed, ORDERS)
    for row in range(2):
        one = slice(row, row + 1)
        alone = noise_powers(power[one], floor[one], SPECTRUM.delta_f, speed[one], ORDERS)
        assert alone.tobytes() == together[one].tobytes()


def test_no_rows_no_lines():
    """An empty batch gives empty answers of the right width."""
    power, speed = np.empty((0, 200), dtype=np.float32), np.empty(0)
    assert line_powers(power, 10.0, speed, ORDERS).shape == (0, 12)
    assert noise_powers(power, power, 10.0, speed, ORDERS).shape == (0, 12)


# Speed


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
    speed, prominence = grid.best(scores)
    assert speed[0] == pytest.approx(grid.frequencies[44], rel=3e-5)
    assert speed[1] == pytest.approx(grid.frequencies[2], rel=1e-5)
    assert prominence.tolist() == [9.0, 9.0, 0.0]
    assert 250.0 <= speed[2] <= 350.0


def test_above_floor_is_a_ratio_in_decibels():
    """Ten times the floor is 10 dB; a floor of nothing divides by nothing."""
    power = np.float32([[1.0, 10.0, 0.0]])
    assert above_floor(power, np.float32([[1.0, 1.0, 0.0]]))[0, :2].tolist() == [0.0, 10.0]
    assert np.isfinite(above_floor(power, np.zeros((1, 3), dtype=np.float32))).all()


# Modulation


def swelling(depth: float, frequency: float, rows: int, seed: int) -> NDArray[np.complex64]:
    """Transforms of noise whose power swells as 1 + m cos(2 pi f t)."""
    rng = np.random.default_rng(seed)
    time = np.arange(SIZE) / RATE + rng.uniform(0, 1, (rows, 1))
    power = 1 + depth * np.cos(2 * np.pi * frequency * time)
    return SPECTRUM.transform((np.sqrt(power) * rng.standard_normal((rows, SIZE))).astype(np.float32))


@pytest.mark.parametrize(("frequency", "kept"), [(200.0, 1.0), (330.0, 1.0), (333.0, 0.95), (455.0, 0.86)])
@pytest.mark.parametrize("depth", [0.5, 0.75, 1.0])
def test_depth_of_a_swell(depth: float, frequency: float, kept: float):
    """
    Noise whose power swells as 1 + m cos(2 pi f t) has the depth m.

    Midway between two bins it reads lower by the scalloping of the squared window, 1 / 7 at most.
    """
    hiss = TurnModulation(RATE, SIZE, 2000.0, 9000.0)
    read = hiss.depth(swelling(depth, frequency, 160, seed=8), np.full(160, frequency))
    assert float(np.median(read)) == pytest.approx(kept * depth, abs=0.06)


def test_depth_grows_with_the_swell():
    """The deeper the swell, the greater the depth that is read; none reads as what noise has by chance."""
    hiss, speed = TurnModulation(RATE, SIZE, 2000.0, 9000.0), np.full(96, 300.0)
    read = [hiss.depth(swelling(m, 300.0, 96, seed=9), speed).mean() for m in (0, 0.1, 0.2, 0.4, 0.6, 0.8, 1)]
    assert np.all(np.diff(read) > 0)
    assert read[0] < 0.15


def test_a_swell_at_another_rate_is_not_the_spindles():
    """A swell that comes 1.5 times a turn reads no deeper than chance."""
    hiss, speed = TurnModulation(RATE, SIZE, 2000.0, 9000.0), np.full(96, 300.0)
    assert hiss.depth(swelling(1.0, 450.0, 96, seed=10), speed).mean() < 0.15


@pytest.mark.parametrize("rows", [1, 15, 16, 17, 40])
def test_depth_of_a_row_is_its_own(rows: int):
    """Each row's depth is the same bytes alone as in any batch."""
    hiss = TurnModulation(RATE, SIZE, 2000.0, 9000.0)
    spectra, speed = swelling(0.4, 300.0, rows, seed=11), np.linspace(250, 350, rows)
    together = hiss.depth(spectra, speed)
    alone = [hiss.depth(spectra[i : i + 1], speed[i : i + 1]).tobytes() for i in range(rows)]
    assert b"".join(alone) == together.tobytes()


def test_silence_has_no_depth():
    """Zeros have no swell, and divide by nothing."""
    hiss = TurnModulation(RATE, SIZE, 2000.0, 9000.0)
    assert hiss.depth(np.zeros((1, SIZE // 2 + 1), dtype=np.complex64), np.array([300.0])).tolist() == [0.0]
