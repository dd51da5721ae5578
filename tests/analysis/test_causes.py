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
        ("spindle", "the spindle line rose 9 dB against the noise of the cut"),
        ("between", "the lines between the tooth-pass harmonics rose 9 dB against the noise"),
        ("half", "half orders rose 9 dB against the noise of the cut"),
        ("modulation", "the hiss of the cut swells once per revolution, 9 dB more than it did"),
        ("rocking", "the hiss of the cut swells every second revolution, 9 dB more than it did"),
    ],
)
def test_each_sign_of_a_loose_bit_has_its_sentence(channel: str, sentence: str):
    """What a bit that runs out of true does is said, with how much (Mobley, 14.1.3, for the half orders)."""
    said = explain(shift(**{channel: 9.2}))
    assert said.name == "loose"
    chipped = "half orders did not come with it: a chipped cutting edge sounds like that, too"
    assert said.because == ((sentence,) if channel in ("half", "rocking") else (sentence, chipped))


def test_of_a_bit_of_which_no_good_sound_is_known_no_change_is_told():
    """Nobody heard it otherwise: it is beside what a tight bit does."""
    said = explain(shift(rocking=22.0, modulation=5.0), known=False).because
    assert said[:2] == (
        "the hiss of the cut swells every second revolution, 22 dB more than a tight bit's",
        "the hiss of the cut swells once per revolution, 5 dB more than a tight bit's",
    )


def test_lost_colour_is_described_and_not_explained():
    """A sound of another colour is told as it was heard; its cause is unknown."""
    said = explain(shift(colour=5.0))
    assert said.name == "unknown"
    assert said.because == ("some bands of the sound lie 5 dB lower against the others than they did",)


@given(st.lists(st.floats(-40, 2.4), min_size=len(CHANNELS), max_size=len(CHANNELS)).map(np.array))
def test_a_fall_is_no_sign(moved: NDArray[np.float64]):
    """What fell, however far, or hardly rose is not told: another cut may have less of anything."""
    said = explain(moved)
    assert said.name == "unknown"
    assert said.because == ("a small change has lasted long",)


@given(SHIFTS, st.integers(0, len(CHANNELS) - 1), st.floats(0, 40))
def test_a_fall_takes_nothing_from_what_rose(moved: NDArray[np.float64], channel: int, fall: float):
    """A channel that fell further changes neither the cause nor what is said of the others."""
    moved[channel] = -abs(moved[channel])
    further = moved - fall * np.eye(len(CHANNELS))[channel]
    assert explain(further) == explain(moved)


def test_the_strongest_evidence_comes_first():
    """Sentences stand in the order of how far their channels rose; what fell is not among them."""
    said = explain(shift(spindle=5.0, modulation=-11.0, rocking=8.0, half=6.0)).because
    assert [sentence.split(" dB")[0].rsplit(" ", 1)[1] for sentence in said] == ["8", "6", "5"]


def test_signs_that_agree_make_surer():
    """
    One sign, two, three: each makes a loose bit likelier.

    The spindle line and the lines between are one sign; half orders, in lines and in the swell, are one.
    """
    one = explain(shift(spindle=6.0)).confidence
    assert explain(shift(spindle=6.0, between=6.0)).confidence == one
    assert explain(shift(half=6.0, rocking=6.0)).confidence == one
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
    """Every figure in the evidence is how far some channel rose, in whole dB."""
    figures = {f"{size:.0f}" for size in moved if size > 0}
    for sentence in explain(moved).because:
        if " dB" in sentence:
            assert sentence.split(" dB")[0].rsplit(" ", 1)[1] in figures
