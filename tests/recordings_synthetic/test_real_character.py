"""
Is simulated sound like real sound of a rotating machine? In two respects, against real recordings.

The recordings are phone recordings of an induction motor (see ``tests/analysis/test_real_recordings.py``);
they are not part of this repository, and the test is skipped where there is no folder of them.
A motor is no router: colour and tones differ and are not compared. What any steadily running machine has in
common is compared: how far peaks stand out, and how much the level of a tenth of a second wanders. A single
flute cuts in blows, is peakier than any motor, and is left out. The bounds were set with these numbers seen.
"""

import os
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from simulated import late

from analysis.cutting import Bit
from recordings_synthetic import Straight, steady

BESIDE = Path(__file__).resolve().parents[3] / "shared" / "recordings"
FOLDER = Path(os.environ.get("CHIPSONG_RECORDINGS") or BESIDE)
FILES = sorted(FOLDER.glob("*.flac")) if FOLDER.is_dir() else []

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not FILES, reason=f"no recordings in {FOLDER}: set CHIPSONG_RECORDINGS to their folder"
    ),
]


def crest(samples: NDArray[np.floating], rate: int) -> float:
    """Return how far peaks stand out, dB: the median over half seconds, so that a knock does not count."""
    pieces = np.asarray(samples[: len(samples) // (rate // 2) * (rate // 2)], dtype=np.float64)
    pieces = pieces.reshape(-1, rate // 2)
    peaks, sizes = np.abs(pieces).max(axis=1), np.sqrt(np.mean(pieces**2, axis=1))
    return float(np.median(20.0 * np.log10(peaks / sizes)))


def wander(samples: NDArray[np.floating], rate: int) -> float:
    """Return by how many dB the level of a tenth of a second differs from the next one's, in the median."""
    pieces = np.asarray(samples[: len(samples) // (rate // 10) * (rate // 10)], dtype=np.float64)
    levels = 10.0 * np.log10(np.mean(pieces.reshape(-1, rate // 10) ** 2, axis=1))
    return float(np.median(np.abs(np.diff(levels))))


@pytest.fixture(scope="module")
def real() -> list[tuple[float, float]]:
    """Crest and wander of each real recording, without its first and last two seconds."""
    found = []
    for path in FILES:
        samples, rate = soundfile.read(path, dtype="float32")
        middle = samples[2 * rate : -2 * rate]
        found.append((crest(middle, rate), wander(middle, rate)))
    return found


@pytest.mark.parametrize("flutes", [2, 3])
def test_a_simulated_cut_is_about_as_even_and_as_peaky_as_real_machines(real, flutes):
    """Peaks stand out within 1.5 dB of the real range; the level wanders half as much to twice."""
    cut = Straight(seconds=16.0, cut_from=4.0)
    made = steady(Bit("any", 6.0, flutes, 18000.0), seed=8, rate=44100, cut=cut)
    crests, wanders = (np.array(column) for column in zip(*real, strict=True))
    idle, sound = made.samples[2 * made.rate : 4 * made.rate - 50], late(made)
    for heard in (idle, sound):
        assert crests.min() - 1.5 < crest(heard, made.rate) < crests.max() + 1.5
    assert wanders.min() / 2.0 < wander(sound, made.rate) < 2.0 * wanders.max()
