"""Power spectra against other libraries, published constants, and their own promises."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.spectrum import (
    Bands,
    BandSums,
    PowerSpectrum,
    a_weighting,
    band_power,
    coherent_gain,
    decibels,
    equivalent_noise_bandwidth,
    hann,
    scalloping_loss,
    third_octave_edges,
)

SIZES = [62, 63, 1024, 4096, 4800]


def band_levels(power: NDArray[np.float32], delta_f: float, bands: Bands) -> NDArray[np.float32]:
    """The level in each band, dBFS."""
    return decibels(BandSums(delta_f, power.shape[1], bands.lower, bands.upper).powers(power))


def noise(rows: int, size: int, seed: int = 0) -> NDArray[np.float32]:
    """White noise of unit variance."""
    return np.random.default_rng(seed).standard_normal((rows, size), dtype=np.float32)


def sine(rate: int, size: int, frequency: float, amplitude: float = 1.0) -> NDArray[np.float32]:
    """One window of a sine."""
    time = np.arange(size) / rate
    return (amplitude * np.sin(2 * np.pi * frequency * time + 0.3)).astype(np.float32)[np.newaxis]


# The window


@pytest.mark.parametrize("size", [64, 1024, 4800])
def test_hann_constants(size: int):
    """Noise bandwidth 1.5 bins, scalloping 1.4236 dB, coherent gain 0.5 (Harris 1978, as transcribed)."""
    window = hann(size)
    assert window.dtype == np.float32
    assert equivalent_noise_bandwidth(window) == pytest.approx(1.5, abs=1e-6)
    assert coherent_gain(window) == pytest.approx(0.5, abs=1e-7)
    # 1.4236 is the limit for a long window; it is reached to 4 digits soon.
    assert scalloping_loss(window) == pytest.approx(1.4236, abs=2e-3 if size == 64 else 5e-5)


@pytest.mark.parametrize("size", [5, 64, 4096])
def test_hann_agrees_with_scipy(size: int):
    """The window is the periodic one, as scipy.signal makes it."""
    from scipy.signal import get_window  # noqa: PLC0415  # about 1 s, for this test alone

    np.testing.assert_allclose(hann(size), get_window("hann", size), rtol=0, atol=6e-8)


# Power spectra against other libraries


@pytest.mark.slow
@pytest.mark.parametrize("size", [1024, 4800])
def test_agrees_with_librosa(size: int):
    """librosa.stft(center=False), scaled alike, gives the same powers to 1e-6 of the largest."""
    import librosa  # noqa: PLC0415  # seconds, for this test alone

    sound = noise(1, 5 * size)[0]
    theirs = np.abs(librosa.stft(sound, n_fft=size, hop_length=size // 2, center=False)).T ** 2
    theirs *= 4 / (size * np.sum(hann(size).astype(float) ** 2))
    theirs[:, [0, -1]] /= 2
    ours = PowerSpectrum(48_000, size).power(
        np.lib.stride_tricks.sliding_window_view(sound, size)[:: size // 2]
    )
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-6 * theirs.max())


@pytest.mark.parametrize("size", [1024, 4800])
def test_agrees_with_short_time_fft(size: int):
    """scipy.signal.ShortTimeFFT, one-sided and scaled as a power density, agrees with ours bin by bin."""
    from scipy.signal import ShortTimeFFT  # noqa: PLC0415  # about 1 s, for this test alone

    rate, hop = 48_000, size // 2
    sound = noise(1, 5 * size)[0]
    taps = hann(size).astype(float)
    reference = ShortTimeFFT(taps, hop, rate, fft_mode="onesided2X", scale_to="psd")
    # Its slice p is centred on sample p * hop: the first that lies within the sound is p = 1.
    theirs = reference.spectrogram(sound.astype(float))[:, 1:10].T
    # A density per Hz becomes power in a bin; twice the mean square is our power.
    theirs = 2 * theirs * (rate / size)
    ours = PowerSpectrum(rate, size).power(np.lib.stride_tricks.sliding_window_view(sound, size)[::hop])
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-6 * theirs.max())


# The level convention


@pytest.mark.parametrize("size", [1024, 4096, 4800])
def test_full_scale_sine_is_0_dbfs(size: int):
    """A full-scale sine on a bin: three bins sum to 1, 0 dBFS (AES17); the middle one reads -1.76 dB."""
    spectrum = PowerSpectrum(48_000, size)
    power = spectrum.power(sine(48_000, size, 100 * spectrum.delta_f))[0]
    assert power[99:102].sum() == pytest.approx(1.0, rel=1e-5)
    assert power[100] == pytest.approx(1 / 1.5, rel=1e-5)
    assert power.sum() == pytest.approx(1.0, rel=1e-5)


def test_midway_between_bins_a_sine_keeps_its_power():
    """Midway between two bins the peak reads lower by the scalloping loss, the main lobe's sum does not."""
    spectrum = PowerSpectrum(48_000, 4096)
    power = spectrum.power(sine(48_000, 4096, 400.5 * spectrum.delta_f))[0]
    assert power[398:404].sum() == pytest.approx(1.0, abs=2e-3)
    assert decibels(power[400] * 1.5) == pytest.approx(-1.4236, abs=5e-3)


def test_full_scale_square_is_3_db_more():
    """A full-scale square wave reads +3.01 dBFS (AES17)."""
    square = np.tile(np.repeat(np.float32([1, -1]), 24), 100)[np.newaxis]
    assert decibels(PowerSpectrum(48_000, 4800).power(square).sum()) == pytest.approx(3.0103, abs=1e-3)


@pytest.mark.parametrize("size", SIZES)
def test_parseval(size: int):
    """The bins of a row sum to twice the mean square of the windowed samples, per unit of the window's."""
    rows = noise(3, size)
    taps = hann(size).astype(float)
    expected = 2 * np.sum((rows * taps) ** 2, axis=1) / np.sum(taps**2)
    np.testing.assert_allclose(PowerSpectrum(8000, size).power(rows).sum(axis=1), expected, rtol=2e-5)


@given(gain=st.floats(1e-3, 1e3), seed=st.integers(0, 1000))
def test_power_goes_with_the_square(gain: float, seed: int):
    """Sound g times as large has g² times the power, in every bin."""
    spectrum, rows = PowerSpectrum(8000, 128), noise(2, 128, seed)
    scaled = spectrum.power((gain * rows).astype(np.float32))
    np.testing.assert_allclose(scaled, gain**2 * spectrum.power(rows), rtol=1e-3, atol=1e-7 * gain**2)


def test_offset_counts_twice_its_mean_square():
    """A constant is not a sine: 0.5 has the power 2 · 0.25, all of it in the lowest two bins."""
    power = PowerSpectrum(8000, 256).power(np.full((1, 256), 0.5, dtype=np.float32))[0]
    assert power[:2].sum() == pytest.approx(0.5, rel=1e-5)
    assert np.all(power[2:] < 1e-12)


def test_the_spectrum_knows_its_axis():
    """Bins lie rate / size apart from 0 to the Nyquist frequency."""
    spectrum = PowerSpectrum(rate=48_000, size=4800)
    assert spectrum.delta_f == 10.0
    assert spectrum.frequencies[[0, 1, -1]].tolist() == [0.0, 10.0, 24_000.0]
    assert len(spectrum.frequencies) == spectrum.power(noise(1, 4800)).shape[1]


# Each row alone, to the last bit


@settings(max_examples=40, deadline=None)
@given(
    size=st.sampled_from(SIZES), rows=st.integers(1, 40), seed=st.integers(0, 2**31), scale=st.floats(1e-4, 1)
)
def test_a_row_does_not_depend_on_its_neighbours(size: int, rows: int, seed: int, scale: float):
    """Powers, band powers and levels of a row are the same bytes in any batch, at any place in it."""
    spectrum = PowerSpectrum(48_000, size)
    bands = third_octave_edges(1000, 16_000)
    windows = np.float32(scale) * noise(rows, size, seed)
    power = spectrum.power(windows)
    summed = band_power(power, spectrum.delta_f, 990.0, 12_345.6)
    levels = band_levels(power, spectrum.delta_f, bands)
    for i in range(rows):
        alone = spectrum.power(windows[i : i + 1])
        assert alone.tobytes() == power[i].tobytes()
        assert band_power(alone, spectrum.delta_f, 990.0, 12_345.6).tobytes() == summed[i].tobytes()
        assert band_levels(alone, spectrum.delta_f, bands).tobytes() == levels[i].tobytes()
        assert decibels(alone).tobytes() == decibels(power)[i].tobytes()


def test_a_bad_row_spoils_no_other():
    """NaN or infinity in one window leaves every other row as it was, and its own not finite."""
    spectrum, rows = PowerSpectrum(8000, 256), noise(20, 256)
    good = spectrum.power(rows)
    rows[3, 0], rows[7, 100] = np.inf, np.nan
    power = spectrum.power(rows)
    assert not np.isfinite(power[[3, 7]]).any()
    others = np.delete(np.arange(20), [3, 7])
    assert power[others].tobytes() == good[others].tobytes()


def test_the_input_is_left_alone():
    """Windows may be read-only views with overlapping rows; they are not changed."""
    sound = noise(1, 4096)[0]
    before = sound.copy()
    rows = np.lib.stride_tricks.sliding_window_view(sound, 1024)[::256]
    power = PowerSpectrum(8000, 1024).power(rows)
    assert sound.tobytes() == before.tobytes()
    assert power.tobytes() == PowerSpectrum(8000, 1024).power(rows.copy()).tobytes()


def test_no_windows_no_rows():
    """An empty batch gives an empty batch of the right width."""
    power = PowerSpectrum(8000, 256).power(np.empty((0, 256), dtype=np.float32))
    assert power.shape == (0, 129)
    assert band_power(power, 31.25, 100, 200).shape == (0,)


@pytest.mark.parametrize("shape", [(256,), (2, 255), (1, 1, 256)])
def test_other_shapes_are_refused(shape: tuple[int, ...]):
    """The error names the shape that came and the one that was due."""
    with pytest.raises(ValueError, match=r"shape \(.*must have the shape \(k, 256\)"):
        PowerSpectrum(8000, 256).power(np.zeros(shape, dtype=np.float32))


@pytest.mark.parametrize(("rate", "size"), [(0, 256), (-1, 256), (8000, 1)])
def test_impossible_spectra_are_refused(rate: int, size: int):
    """The error names the value that is wrong."""
    with pytest.raises(ValueError, match=r"(rate|size)=-?\d must"):
        PowerSpectrum(rate, size)


# Levels and bands


def test_decibels():
    """Ten times the logarithm, with a floor that does not move with the loudest value."""
    assert decibels([1.0, 2.0, 1e-3, 0.0, -1.0]).tolist() == pytest.approx(
        [0.0, 3.0103, -30.0, -120.0, -120.0]
    )
    assert decibels([1e9, 1e-11])[1] == pytest.approx(-110.0)
    assert decibels(0.0, floor=1e-20) == pytest.approx(-200.0)
    assert np.isnan(decibels(np.nan))


@given(edges=st.lists(st.floats(0, 4000), min_size=2, max_size=8).map(sorted))
def test_bands_that_adjoin_lose_nothing(edges: list[float]):
    """The powers of adjoining bands sum to the power of the band that they make up."""
    power = PowerSpectrum(8000, 256).power(noise(2, 256))
    parts = sum(band_power(power, 31.25, low, high) for low, high in itertools.pairwise(edges))
    np.testing.assert_allclose(parts, band_power(power, 31.25, edges[0], edges[-1]), rtol=1e-9, atol=1e-15)


def test_a_bin_counts_for_the_part_that_is_covered():
    """A bin reaches half a bin to either side of its centre; the whole spectrum is the sum of its bins."""
    power = np.float32([[1, 10, 100, 1000]])
    assert band_power(power, 10.0, 5.0, 15.0) == pytest.approx([10.0])
    assert band_power(power, 10.0, 10.0, 17.5) == pytest.approx([5.0 + 25.0])
    assert band_power(power, 10.0, 11.0, 12.0) == pytest.approx([1.0])
    assert band_power(power, 10.0, -1000.0, 1000.0) == pytest.approx([1111.0])
    assert band_power(power, 10.0, 500.0, 1000.0) == pytest.approx([0.0])
    assert band_power(power, 10.0, 7.0, 7.0) == pytest.approx([0.0])


def test_a_band_upside_down_is_refused():
    """The lower edge comes first."""
    with pytest.raises(ValueError, match=r"low=200 must not exceed high=100"):
        band_power(np.ones((1, 4)), 10.0, 200, 100)


def test_third_octave_edges():
    """G = 10^0.3, centres 1000 G^(x/3), edges a sixth of G to either side (IEC 61260-1, transcribed)."""
    bands = third_octave_edges(1000, 8000)
    assert bands.lower[0] == pytest.approx(891.251, abs=5e-4)
    assert bands.upper[0] == pytest.approx(1122.018, abs=5e-4)
    assert bands.centres[-1] == pytest.approx(7943.28, abs=5e-3)
    assert len(bands.centres) == 10


def test_third_octaves_adjoin():
    """From the nominal 31.5 Hz to 16 kHz there are 28 bands, each beginning where the one before ends."""
    bands = third_octave_edges(31.5, 16_000)
    assert len(bands.centres) == 28
    np.testing.assert_allclose(bands.upper[:-1], bands.lower[1:], rtol=1e-12)


@given(st.floats(25, 20_000))
def test_a_frequency_lies_in_its_band(frequency: float):
    """The band that is found for a frequency holds it."""
    centres, lower, upper = third_octave_edges(frequency, frequency)
    assert len(centres) == 1
    assert lower[0] * (1 - 1e-12) <= frequency <= upper[0] * (1 + 1e-12)


def test_third_octave_levels_of_a_sine():
    """A sine of a tenth of full scale reads -20 dBFS in its band, and far less two bands away."""
    spectrum = PowerSpectrum(48_000, 4800)
    bands = third_octave_edges(250, 4000)
    levels = band_levels(spectrum.power(sine(48_000, 4800, 1000, 0.1)), spectrum.delta_f, bands)[0]
    at = int(np.argmin(np.abs(bands.centres - 1000)))
    assert levels[at] == pytest.approx(-20.0, abs=0.01)
    assert levels[at - 2] < -80
    assert levels[at + 2] < -80


def test_third_octave_levels_of_white_noise_rise_10_db_a_decade():
    """White noise has power in proportion to the bandwidth: 1 dB a third octave, 10 dB a decade."""
    spectrum = PowerSpectrum(48_000, 4800)
    bands = third_octave_edges(1000, 10_000)
    mean = spectrum.power(noise(400, 4800)).mean(axis=0, keepdims=True)
    levels = band_levels(mean, spectrum.delta_f, bands)[0]
    assert levels[-1] - levels[0] == pytest.approx(10.0, abs=0.2)


@pytest.mark.parametrize(("low", "high"), [(0, 100), (-1, 100), (200, 100), (100, np.inf)])
def test_impossible_bands_are_refused(low: float, high: float):
    """The error names both frequencies."""
    with pytest.raises(ValueError, match=r"low=.* and high=.* must be positive"):
        third_octave_edges(low, high)


def test_a_weighting():
    """The weighting at the exact mid-band frequencies, 31.5 Hz to 16 kHz (IEC 61672-1, transcribed)."""
    table = """-39.4 -34.6 -30.2 -26.2 -22.5 -19.1 -16.1 -13.4 -10.9 -8.6 -6.6 -4.8 -3.2 -1.9 -.8 0 .6 1.0 1.2
    1.3 1.2 1.0 .5 -.1 -1.1 -2.5 -4.3 -6.6"""
    centres = third_octave_edges(31.5, 16_000).centres
    np.testing.assert_allclose(a_weighting(centres), [float(v) for v in table.split()], rtol=0, atol=0.0501)
    assert a_weighting(0.0) == -np.inf


def test_bands_are_a_tuple():
    """Bands unpack into centres, lower and upper edges."""
    bands = Bands(np.array([2.0]), np.array([1.0]), np.array([3.0]))
    centres, lower, upper = bands
    assert (centres[0], lower[0], upper[0]) == (2.0, 1.0, 3.0)
