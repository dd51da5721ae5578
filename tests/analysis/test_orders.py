"""Lines, noise among them, speed and once-per-turn modulation, against closed forms and brute force."""

import math

import numpy as np
import pytest
from hand_made import comb, white
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.orders import (
    TurnModulation,
    above_floor,
    between_lines,
    foreign_tones,
    line_powers,
    local_floor,
    noise_powers,
    squared,
)
from analysis.spectrum import PowerSpectrum, decibels

RATE, SIZE = 48_000, 4800
SPECTRUM = PowerSpectrum(RATE, SIZE)
ORDERS = np.arange(1, 13, dtype=np.float64)


def foreign(
    power: NDArray[np.float32], delta_f: float, frequency: NDArray[np.float64]
) -> NDArray[np.float32]:
    """How much of what sounds between the lines is tones, dB."""
    return foreign_tones(between_lines(power, delta_f, frequency))


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
    assert foreign(power, 10.0, speed).shape == (0,)


@settings(max_examples=30)
@given(frequency=st.floats(250, 700), first=st.sampled_from([0.5, 1.0]), seed=st.integers(0, 2**31))
def test_noise_is_the_mean_of_what_lies_between_a_line_and_its_neighbours(
    frequency: float, first: float, seed: int
):
    """By brute force: from two bins above a line to three below the next, half an order to either side."""
    power = np.random.default_rng(seed).exponential(size=(1, SIZE // 2 + 1)).astype(np.float32)
    orders = np.arange(first, 12)
    expected = []
    for order in orders:
        low, line, high = (round(frequency * (order + by) / SPECTRUM.delta_f) for by in (-0.5, 0.0, 0.5))
        beside = np.concatenate([power[0, low + 3 : line - 2], power[0, line + 3 : high - 2]])
        expected.append(3.0 * beside.mean(dtype=np.float64))
    read = noise_powers(power, power, SPECTRUM.delta_f, np.array([frequency]), orders)
    np.testing.assert_allclose(read[0], expected, rtol=1e-4)


# Tones between the lines


@settings(max_examples=30)
@given(frequency=st.floats(240, 900), seed=st.integers(0, 2**31))
def test_foreign_tones_are_the_mean_over_the_median_of_each_gap(frequency: float, seed: int):
    """By brute force: eight bins in the middle of each gap between orders 0.5, 1, ..., 4.5, gap by gap."""
    power = np.random.default_rng(seed).exponential(size=(1, SIZE // 2 + 1)).astype(np.float32)
    ratios = []
    for gap in range(1, 9):
        places = [0.5 * frequency * (gap + 0.2 + 0.6 * i / 7) / SPECTRUM.delta_f for i in range(8)]
        # Halfway between two bins either is right.
        assume(all(abs(place % 1.0 - 0.5) > 1e-9 for place in places))
        found = [float(power[0, round(place)]) for place in places]
        ratios.append(np.mean(found) / np.median(found))
    read = foreign(power, SPECTRUM.delta_f, np.array([frequency]))
    assert read.tolist() == pytest.approx([10 * np.log10(np.mean(ratios)) - 1.45], abs=1e-4)


@pytest.mark.parametrize("frequency", [250.0, 301.7, 500.0])
def test_noise_has_no_foreign_tones(frequency: float):
    """White noise reads 0 dB, however loud it is."""
    power = spectra_of_noise(400, seed=20)
    read = foreign(power, SPECTRUM.delta_f, np.full(len(power), frequency))
    assert read.mean() == pytest.approx(0.0, abs=0.4)
    louder = foreign(np.float32(1e3) * power, SPECTRUM.delta_f, np.full(len(power), frequency))
    np.testing.assert_allclose(louder, read, atol=1e-4)


def test_noise_that_slopes_has_no_foreign_tones():
    """Noise that falls off by 12 dB an octave, as rooms and collectors do, reads as white noise does."""
    power = spectra_of_noise(400, seed=21)
    power[:, 1:] *= np.arange(1, power.shape[1], dtype=np.float32) ** -4
    read = foreign(power, SPECTRUM.delta_f, np.full(len(power), 300.0))
    assert read.mean() == pytest.approx(0.0, abs=0.6)


def mean_foreign(lines: dict[float, float], *, rows: int = 60) -> float:
    """What is read of a comb of 301 Hz in noise, mean over some rows, dB."""
    sound = comb(0.1 * rows, RATE, 301.0, lines) + white(0.1 * rows, RATE, 0.1, seed=22)
    power = SPECTRUM.power(sound.reshape(rows, SIZE))
    return float(foreign(power, SPECTRUM.delta_f, np.full(rows, 301.0)).mean())


@settings(max_examples=10, deadline=None)
@given(strength=st.floats(0.0, 0.3))
def test_what_turns_with_the_spindle_is_not_foreign(strength: float):
    """Whole and half orders, up to 40 dB above the noise about them, move the reading by less than 1 dB."""
    assert abs(mean_foreign({0.5 * n: strength for n in range(1, 40)}) - mean_foreign({1.0: 0.0})) < 1.0


@settings(max_examples=20, deadline=None)
@given(gap=st.integers(1, 8), share=st.floats(0.25, 0.75))
def test_one_tone_between_orders_is_heard_whichever_gap_it_is_in(gap: int, share: float):
    """A tone in the middle of any gap, clear of the noise, reads 3 dB and more, between two bins too."""
    assert mean_foreign({0.5 * (gap + share): 0.07}) > 3.0


def test_foreign_tones_grow_with_their_strength():
    """The louder the tones between the orders, the more is read."""
    read = [mean_foreign({1.25: a, 2.3: a, 3.7: a}) for a in (0.0, 0.02, 0.05, 0.1, 0.3)]
    assert np.all(np.diff(read) > 0.5)


def test_each_row_tells_its_own_foreign_tones():
    """A row reads the same bytes alone as among others; one without room between its lines is below noise."""
    power, speed = spectra_of_noise(3, seed=23), np.array([300.0, 110.0, 420.0])
    together = foreign(power, SPECTRUM.delta_f, speed)
    alone = [foreign(power[i : i + 1], SPECTRUM.delta_f, speed[i : i + 1]).tobytes() for i in range(3)]
    assert b"".join(alone) == together.tobytes()
    assert together[1] == pytest.approx(-1.45)


def test_no_sound_is_no_foreign_tone():
    """Zeros give a finite reading far below that of any tone."""
    read = foreign(np.zeros((1, 400), dtype=np.float32), 10.0, np.array([300.0]))
    assert np.isfinite(read).all()
    assert read[0] <= 0.0


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


HISS = TurnModulation(RATE, SIZE, 2000.0, 9000.0)
TURNS = np.array([1.0, 0.5, 1.5])


def swell_of(spectra: NDArray[np.complex64]) -> NDArray[np.float32]:
    """The power spectrum of the hiss's swell."""
    return squared(HISS.envelope(spectra))


def mean_powers(depth: float, at: float, *, read_at: float = 300.0, seed: int = 9) -> NDArray[np.float64]:
    """Squared depth at ``read_at`` and beside it, mean over rows of noise that swells at ``at``."""
    read = HISS.depths(swell_of(swelling(depth, at, 160, seed)), np.full(160, read_at), TURNS[:1])
    return read.mean(axis=0, dtype=np.float64)[:, 0]


@pytest.mark.parametrize(("frequency", "kept"), [(200.0, 1.0), (330.0, 1.0), (333.0, 0.95), (455.0, 0.86)])
@pytest.mark.parametrize("depth", [0.5, 0.75, 1.0])
def test_depth_of_a_swell(depth: float, frequency: float, kept: float):
    """
    Noise whose power swells as 1 + m cos(2 pi f t) has the squared depth m squared, less that beside it.

    Midway between two bins it reads lower by the scalloping of the squared window, 1 / 7 at most.
    """
    at, beside = mean_powers(depth, frequency, read_at=frequency, seed=8)
    assert np.sqrt(at - beside) == pytest.approx(kept * depth, abs=0.06)


@pytest.mark.parametrize("order", TURNS)
def test_each_order_has_its_own_swell(order: float):
    """What swells at one of the orders asked for is read there, and at the others no more than chance."""
    read = HISS.depths(swell_of(swelling(0.8, order * 300.0, 160, seed=14)), np.full(160, 300.0), TURNS).mean(
        axis=0
    )
    deep = np.sqrt(np.maximum(read[0] - read[1], 0.0))
    assert deep[order == TURNS] == pytest.approx(0.8, abs=0.06)
    assert deep[order != TURNS].max() < 0.15


def test_swell_and_what_is_beside_it_by_brute_force():
    """
    Against the slow way: the envelope's line k is the product of all bins of the band that are k apart.

    The bin nearest to the frequency, and the mean of those 4 to 9 bins away, of each order.
    """
    spectra = swelling(0.5, 300.0, 3, seed=12)
    expected = np.empty((3, 2, 3))
    for place, row in enumerate(spectra.astype(np.complex128)):
        band = row[200:900]
        squares = np.array([4 * abs(np.vdot(np.roll(band, k), band)) ** 2 for k in range(60)])
        for order, nearest in enumerate((30, 15, 45)):
            beside = [squares[nearest + by] for by in range(-9, 10) if abs(by) >= 4]
            expected[place, :, order] = np.array([squares[nearest], np.mean(beside)]) / (squares[0] / 4)
    np.testing.assert_allclose(HISS.depths(swell_of(spectra), np.full(3, 300.0), TURNS), expected, rtol=1e-3)


def test_the_reading_grows_with_the_swell():
    """The deeper the swell, the more is read at its frequency; beside it there is as much as chance makes."""
    read = np.array([mean_powers(m, 300.0) for m in (0, 0.1, 0.2, 0.4, 0.6, 0.8, 1)])
    assert np.all(np.diff(read[:, 0]) > 0)
    assert read[:, 1].max() < 0.15**2
    assert read[0, 0] < 0.15**2


@pytest.mark.parametrize("frequency", [200.0, 305.0, 451.7])
def test_a_steady_hiss_swells_as_much_at_one_frequency_as_beside_it(frequency: float):
    """Chance makes of a steady hiss as much at each order as beside it, on the average: no bias is left."""
    read = HISS.depths(swell_of(swelling(0.0, 1.0, 1200, seed=15)), np.full(1200, frequency), TURNS)
    at, beside = read.mean(axis=0, dtype=np.float64)
    # A bin of noise scatters as much as its mean is: four of 1200 rows' errors are 12 %.
    np.testing.assert_allclose(at / beside, 1.0, atol=0.12)


def test_a_swell_at_another_rate_is_not_the_spindles():
    """A full swell that comes 1.5 times a turn reads no more at the spindle's frequency than chance does."""
    at, beside = mean_powers(1.0, 450.0, seed=10)
    assert at < 0.03
    assert at < 1.5 * beside


def test_a_swell_near_the_spindles_raises_what_is_beside():
    """A swell of 60 Hz more than the spindle's, as a voice or another machine makes, counts as beside."""
    at, beside = mean_powers(1.0, 360.0, seed=13)
    assert beside > 3.0 * mean_powers(0.0, 360.0, seed=13)[1]
    assert at < beside


@pytest.mark.parametrize("rows", [0, 1, 15, 16, 17, 40])
def test_depth_of_a_row_is_its_own(rows: int):
    """Each row's depths are the same bytes alone as in any batch, an empty one included."""
    spectra, speed = swelling(0.4, 300.0, rows, seed=11), np.linspace(250, 350, rows)
    together = HISS.depths(swell_of(spectra), speed, TURNS)
    assert together.shape == (rows, 2, 3)
    alone = [
        HISS.depths(swell_of(spectra[i : i + 1]), speed[i : i + 1], TURNS).tobytes() for i in range(rows)
    ]
    assert b"".join(alone) == together.tobytes()


def test_which_orders_are_asked_for_together_does_not_matter():
    """An order reads the same bytes alone as among others, in any order."""
    spectra, speed = swelling(0.4, 300.0, 5, seed=16), np.linspace(250, 350, 5)
    together = HISS.depths(swell_of(spectra), speed, TURNS)
    assert HISS.depths(swell_of(spectra), speed, TURNS[::-1]).tobytes() == together[:, :, ::-1].tobytes()
    for place in range(3):
        alone = HISS.depths(swell_of(spectra), speed, TURNS[place : place + 1])
        assert alone.tobytes() == together[:, :, place : place + 1].tobytes()


HOP = SIZE // 2


def goes_on(frequency: float, seed: int, rows: int = 400, hop: int = HOP) -> NDArray[np.complex64]:
    """Envelopes of windows, a hop apart, of noise that swells by 0.8 at a frequency all along."""
    rng = np.random.default_rng(seed)
    count = SIZE + hop * (rows - 1)
    power = 1 + 0.8 * np.cos(2 * np.pi * frequency * np.arange(count) / RATE)
    sound = (np.sqrt(power) * rng.standard_normal(count)).astype(np.float32)
    return HISS.envelope(SPECTRUM.transform(np.lib.stride_tricks.sliding_window_view(sound, SIZE)[::hop]))


def in_step(envelope: NDArray[np.complex64], orders: NDArray[np.float64] = TURNS[1:2]) -> NDArray[np.float32]:
    """What is in step with a spindle of 300 Hz, of all windows but the first."""
    speed = np.full(len(envelope) - 1, 300.0)
    return HISS.in_step(envelope[1:], envelope[:-1], HOP, speed, orders)[:, 0]


@pytest.mark.parametrize("off", [-5.0, -3.0, -1.0, 0.0, 0.5, 2.0, 4.0])
def test_what_swells_out_of_step_counts_for_less(off: float):
    """
    From window to window a swell that is off by some Hz turns by that times the hop: its cosine is left.

    By the shift theorem of Fourier's transform. One between two bins reads up to a seventh shallower anyway.
    """
    found = in_step(goes_on(150.0 + off, seed=21)).mean(dtype=np.float64)
    turned = math.cos(2.0 * math.pi * off * HOP / RATE)
    kept = 1.0 if abs(off) <= 2.0 else 0.8
    assert found == pytest.approx(kept * 0.64 * turned, abs=0.09)


@pytest.mark.parametrize("overlap", [2, 4])
def test_chance_is_as_much_in_step_beside(overlap: int):
    """Of a steady hiss what is in step is what is so some bins beside, however much windows overlap."""
    hop = SIZE // overlap
    envelope = goes_on(4321.0, seed=22, rows=1200, hop=hop)
    speed = np.full(len(envelope) - 1, 300.0)
    found, beside = HISS.in_step(envelope[1:], envelope[:-1], hop, speed, TURNS[1:2])[:, :, 0].T
    whole = HISS.depths(squared(envelope[1:]), speed, TURNS[1:2]).mean(axis=0, dtype=np.float64)[1, 0]
    assert found.mean(dtype=np.float64) - beside.mean(dtype=np.float64) == pytest.approx(
        0.0, abs=0.05 * whole
    )


def knock(at: float, speed: float) -> NDArray[np.float32]:
    """What of a knock at some share of a window is in step with a spindle, and beside, shape (2, 2)."""
    sound = np.zeros(SIZE + HOP, dtype=np.float32)
    first = round(at * SIZE)
    sound[first : first + 24] = np.random.default_rng(1).standard_normal(24)
    windows = np.lib.stride_tricks.sliding_window_view(sound, SIZE)[::HOP]
    before, now = HISS.envelope(SPECTRUM.transform(windows))
    return HISS.in_step(now[np.newaxis], before[np.newaxis], HOP, np.array([speed]), TURNS[1:])[0]


@given(at=st.floats(0.55, 0.95), speed=st.floats(220.0, 330.0))
def test_a_knock_is_as_much_in_step_beside(at: float, speed: float):
    """What sounds for a moment is in step at whatever frequency: of it hardly anything is left."""
    assert knock(at, 300.0)[0].min() > 2.0, "deeper than any swell, where orders lie in the middle of a bin"
    found, beside = knock(at, speed)
    np.testing.assert_allclose(found, beside, atol=0.15)


@pytest.mark.parametrize("rows", [2, 5, 40])
def test_what_is_in_step_of_a_row_is_its_own(rows: int):
    """Each row's is the same bytes alone as in any batch."""
    envelope, speed = goes_on(150.0, seed=23, rows=rows), np.linspace(250.0, 350.0, rows)[1:]
    together = HISS.in_step(envelope[1:], envelope[:-1], HOP, speed, TURNS)
    alone = [
        HISS.in_step(envelope[i + 1 : i + 2], envelope[i : i + 1], HOP, speed[i : i + 1], TURNS).tobytes()
        for i in range(rows - 1)
    ]
    assert b"".join(alone) == together.tobytes()


def test_silence_has_no_depth():
    """Zeros have no swell, and divide by nothing."""
    silence = np.zeros((1, SIZE // 2 + 1), dtype=np.complex64)
    assert HISS.depths(swell_of(silence), np.array([300.0]), TURNS).tolist() == [[[0.0] * 3] * 2]
