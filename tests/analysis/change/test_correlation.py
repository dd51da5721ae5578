"""How rows resemble their neighbours: by overlap in closed form, and as estimated."""

import numpy as np
import pytest

from analysis.change import overlap_correlation, serial_correlation
from analysis.spectrum import PowerSpectrum, hann
from analysis.windows import Windows


def autoregression(correlation: float, rows: int, channels: int, seed: int = 0) -> np.ndarray:
    """Rows that each keep ``correlation`` of the one before, of unit variance."""
    rng = np.random.default_rng(seed)
    x = np.empty((rows, channels))
    x[0] = rng.standard_normal(channels)
    for i in range(1, rows):
        x[i] = correlation * x[i - 1] + np.sqrt(1 - correlation**2) * rng.standard_normal(channels)
    return x


def test_hann_overlaps():
    """Powers correlate by .1667² at half overlap, .6592² at 3/4 (roots: Harris 1978, as transcribed)."""
    assert overlap_correlation(hann(4096), 2048) == pytest.approx([0.1667**2], abs=2e-5)
    assert overlap_correlation(hann(4096), 1024)[:2] == pytest.approx([0.6592**2, 0.1667**2], abs=1e-4)


def test_no_overlap_no_correlation():
    """Windows that lie side by side share nothing."""
    assert overlap_correlation(hann(64), 64).tolist() == []


def test_hann_overlaps_in_a_wide_band():
    """Sums of sin⁴cos⁴ over half the window and of sin⁸ over all of it are as 3 to 70 (closed form)."""
    assert overlap_correlation(hann(4096), 2048, wide=True) == pytest.approx([3 / 70], abs=1e-6)


@pytest.mark.parametrize("overlap", [2, 4])
def test_the_overlap_shows_in_real_rows(overlap: int):
    """White noise: one bin's powers and the whole spectrum's correlate as the closed forms say."""
    hop = 256 // overlap
    sound = np.random.default_rng(5).standard_normal(hop * 40_000, dtype=np.float32)
    power = PowerSpectrum(rate=48_000, size=256).power(Windows(256, hop).feed(sound))
    for rows, wide in ((power[:, 40], False), (power.sum(axis=1), True)):
        expected = overlap_correlation(hann(256), hop, wide=wide)[0]
        assert serial_correlation(rows) == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.6, 0.9])
def test_an_autoregression_s_correlation_is_found(correlation: float):
    """20 000 rows give the correlation to a few hundredths."""
    assert serial_correlation(autoregression(correlation, 20_000, 1)) == pytest.approx(
        [correlation], abs=0.03
    )


@pytest.mark.parametrize("correlation", [0.3, 0.5])
def test_few_rows_do_not_bias_it(correlation: float):
    """Over 4000 baselines of 40 rows the mean estimate is right to .02, where the plain one is .06 low."""
    rows = autoregression(correlation, 40, 4000)
    centred = rows - rows.mean(axis=0)
    plain = np.sum(centred[1:] * centred[:-1], axis=0) / np.sum(centred**2, axis=0)
    assert plain.mean() < correlation - 0.04
    assert serial_correlation(rows).mean() == pytest.approx(correlation, abs=0.02)


def test_channels_are_estimated_one_by_one():
    """Each column is what it would be alone; negative correlation counts as none, and no spread as none."""
    rows = autoregression(0.5, 200, 3)
    rows[:, 1] *= (-1.0) ** np.arange(200)
    rows[:, 2] = 7.0
    found = serial_correlation(rows)
    assert found[0] == pytest.approx(serial_correlation(rows[:, 0]), rel=1e-12)
    assert found[1] == 0.0
    assert found[2] < 0.01


def test_too_few_rows_are_refused():
    """Seven rows tell nothing of how they correlate."""
    with pytest.raises(ValueError, match="7 rows are too few"):
        serial_correlation(np.zeros((7, 2)))


def test_no_hop_is_refused():
    """The hop is at least a sample."""
    with pytest.raises(ValueError, match="hop=0 must"):
        overlap_correlation(hann(8), 0)
