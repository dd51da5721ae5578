"""The modulation that is mixed into real recordings is the one that is told."""

import numpy as np
import pytest
import soundfile
from hearing import real

RATE, TURN = 16000, 25.0


@pytest.mark.parametrize("depth", [0.05, 0.6])
def test_modulation(depth):
    """The envelope swells once per turn by the depth; before the begin, or at depth 0, nothing changes."""
    sound = np.ones(2 * RATE, dtype=np.float32)
    loud = real.modulated(sound, RATE, TURN, depth, 1.0)
    np.testing.assert_array_equal(loud[:RATE], 1.0)
    np.testing.assert_array_equal(real.modulated(sound, RATE, TURN, 0.0, 1.0), sound)
    lines = np.abs(np.fft.rfft(loud[RATE:] - 1.0)) * 2.0 / RATE
    assert lines[25] == pytest.approx(depth, rel=1e-4)
    assert np.delete(lines, 25).max() < 1e-4


def test_delay():
    """An alarm counts from the begin of the modulation on, within ten seconds; earlier ones are its own."""
    tried = real.Tried("any", 0.2, 10.0, (4.0, 11.5, 13.0))
    assert tried.delay == 1.5
    assert tried.early == 1
    assert real.Tried("any", 0.2, 10.0, (4.0, 20.5)).delay is None


def test_folder(monkeypatch, tmp_path):
    """Recordings are looked for where the user says, and nowhere else."""
    monkeypatch.delenv("CHIPSONG_RECORDINGS", raising=False)
    assert real.folder() is None
    monkeypatch.setenv("CHIPSONG_RECORDINGS", str(tmp_path))
    assert real.folder() == tmp_path


def test_every_recording_is_tried_at_every_depth(tmp_path):
    """Untouched as well; other files are passed over."""
    for name in ("one_30Hz.flac", "other_50Hz.flac", "note.wav"):
        soundfile.write(tmp_path / name, np.zeros(8000), 8000)
    tried = [(path.stem, depth) for path, depth in real.tries(tmp_path)]
    assert tried == [(name, depth) for name in ("one_30Hz", "other_50Hz") for depth in (0.0, *real.DEPTHS)]


def test_what_is_before_and_after_is_the_same_sound():
    """A recording is heard twice untouched, then once with the modulation, on end."""
    once = (0.1 * np.random.default_rng(3).standard_normal(RATE)).astype(np.float32)
    sound, begin = real.thrice(once, RATE, TURN, 0.5)
    assert begin == 2.0
    np.testing.assert_array_equal(sound[: 2 * RATE], np.concatenate([once, once]))
    np.testing.assert_allclose(sound[2 * RATE :], real.modulated(once, RATE, TURN, 0.5, 0.0), atol=1e-6)
