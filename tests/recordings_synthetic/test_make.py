"""The shipped examples."""

import numpy as np
import pytest
import soundfile

from analysis.program import read
from recordings_synthetic import Truth, make

CASES = {case.name: case for case in make.CASES}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """All examples, made anew."""
    folder = tmp_path_factory.mktemp("examples")
    make.make(folder)
    return folder


def test_everything_that_is_made_is_shipped(made):
    """The package holds each file that the generator writes, and together they are small."""
    names = {path.name for path in made.iterdir()}
    assert names == {path.name for path in make.HERE.iterdir() if path.suffix in {".ngc", ".json", ".flac"}}
    assert sum((make.HERE / name).stat().st_size for name in names) < 2_500_000


@pytest.mark.parametrize("name", sorted(CASES))
def test_shipped_text_is_the_generators(made, name):
    """Programs are the same to the letter; truths to a microsecond, and they say that they are invented."""
    assert (make.HERE / f"{name}.ngc").read_bytes() == (made / f"{name}.ngc").read_bytes()
    shipped, anew = (Truth.from_json((where / f"{name}.json").read_text()) for where in (make.HERE, made))
    np.testing.assert_allclose(shipped.begin, anew.begin, atol=2e-6)
    assert (shipped.onset, shipped.onset_line, shipped.spoiled) == (anew.onset, anew.onset_line, anew.spoiled)
    assert '"invented": true' in (make.HERE / f"{name}.json").read_text()


@pytest.mark.parametrize("name", sorted(CASES))
def test_shipped_sound_is_the_generators(made, name):
    """Recordings differ by no more than two of their 16 bits' steps, whatever rounds where they are made."""
    shipped, anew = (soundfile.read(where / f"{name}.flac", dtype="int16")[0] for where in (make.HERE, made))
    assert len(shipped) == len(anew)
    assert np.abs(shipped.astype(int) - anew.astype(int)).max() <= 2


@pytest.mark.parametrize("name", sorted(CASES))
def test_shipped_sound_is_short_and_clean(name):
    """Each recording is mono, at most 15 s, and does not clip."""
    samples, rate = soundfile.read(make.HERE / f"{name}.flac")
    assert samples.ndim == 1
    assert rate == make.RATE
    assert len(samples) <= 15.0 * rate
    assert 0.1 < np.abs(samples).max() < 0.99


@pytest.mark.parametrize("name", sorted(CASES))
def test_truth_and_program_belong_together(name):
    """The truth has a row for each move of the program beside it."""
    program = read((make.HERE / f"{name}.ngc").read_text())
    truth = Truth.from_json((make.HERE / f"{name}.json").read_text())
    np.testing.assert_array_equal(truth.file_line, program.moves.file_line)
    assert (truth.onset is not None) == (CASES[name].fault is not None)


def test_the_slip_leaves_time_to_learn_and_to_hear():
    """At least 5 s are cut before the slip, and the cut goes on for about 4 s after it."""
    truth = Truth.from_json((make.HERE / "slip_outline.json").read_text())
    cut = np.flatnonzero(truth.cutting)
    assert truth.onset - truth.begin[cut[0]] >= 5.0
    assert 3.5 <= truth.end[cut[-1]] - truth.onset <= 5.0
