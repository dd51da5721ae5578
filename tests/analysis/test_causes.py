"""A change is explained in words, with the figures that were heard."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.baseline import CHANNELS
from analysis.causes import explain

SHIFTS = st.lists(st.floats(-40, 40), min_size=len(CHANNELS), max_size=len(CHANNELS)).map(np.array)


def shift(**moved: float) -> NDArray[np.float64]:
    """How far the channels named have moved, dB; the others have not."""
    return np.array([moved.get(name, 0.0) for name in CHANNELS])


@pytest.mark.parametrize(
    ("channel", "sentence"),
    [
        ("spindle", "the spindle line rose 9 dB against tooth-pass"),
        ("between", "the lines between the tooth-pass harmonics rose 9 dB against them"),
        ("half", "half orders rose 9 dB against tooth-pass"),
        ("modulation", "the hiss of the cut swells once per revolution, 9 dB more than it did"),
    ],
)
def test_each_sign_of_a_loose_bit_has_its_sentence(channel: str, sentence: str):
    """What a bit that runs out of true does is said, with how much (Mobley, 14.1.3, for the half orders)."""
    said = explain(shift(**{channel: 9.2}))
    assert said.name == "loose"
    assert said.because == (sentence,)


@pytest.mark.parametrize(
    ("channel", "moved", "sentence"),
    [
        ("level", 7.0, "the cut is 7 dB louder"),
        ("level", -7.0, "the cut is 7 dB quieter"),
        ("pattern", 4.0, "the spindle's lines moved against one another by 4 dB more than they used to"),
        ("pattern", -4.0, "the spindle's lines moved against one another by 4 dB less than they used to"),
        ("colour", 5.0, "some bands of the sound lie 5 dB lower against the others than they did"),
        ("spindle", -6.0, "the spindle line fell 6 dB against tooth-pass"),
        ("modulation", -6.0, "the hiss of the cut swells once per revolution, 6 dB less than it did"),
    ],
)
def test_other_changes_are_described_and_not_explained(channel: str, moved: float, sentence: str):
    """Other channels, and signs that go the other way, are told as they were heard; the cause is unknown."""
    said = explain(shift(**{channel: moved}))
    assert said.name == "unknown"
    assert said.because == (sentence,)


def test_the_strongest_evidence_comes_first():
    """Sentences stand in the order of how far their channels moved, up or down."""
    said = explain(shift(spindle=5.0, level=-11.0, half=8.0)).because
    assert [sentence.split(" dB")[0].rsplit(" ", 1)[1] for sentence in said] == ["11", "8", "5"]


def test_signs_that_agree_make_surer():
    """One sign, two, three: each makes a loose bit likelier; the lines and the spindle line are one sign."""
    one = explain(shift(spindle=6.0)).confidence
    assert explain(shift(spindle=6.0, between=6.0)).confidence == one
    two = explain(shift(spindle=6.0, half=6.0)).confidence
    three = explain(shift(spindle=6.0, half=6.0, modulation=6.0)).confidence
    assert explain(shift()).confidence < one < two < three < 1.0


def test_nothing_that_moved_is_still_a_sentence():
    """An alarm without a channel that moved far says just that."""
    said = explain(shift())
    assert said.name == "unknown"
    assert len(said.because) == 1


@given(SHIFTS)
def test_an_explanation_is_always_one(moved: NDArray[np.float64]):
    """Whatever moved, there is a name, a confidence from 0 to 1, evidence in words, no sentence twice."""
    said = explain(moved)
    assert said.name in {"loose", "unknown"}
    assert 0.0 <= said.confidence <= 1.0
    assert said.because
    assert all(said.because)
    assert len(set(said.because)) == len(said.because) <= len(CHANNELS)


@given(SHIFTS)
def test_the_figures_are_those_that_were_heard(moved: NDArray[np.float64]):
    """Every figure in the evidence is the size of some channel's move, in whole dB."""
    figures = {f"{abs(size):.0f}" for size in moved}
    for sentence in explain(moved).because:
        if " dB" in sentence:
            assert sentence.split(" dB")[0].rsplit(" ", 1)[1] in figures
