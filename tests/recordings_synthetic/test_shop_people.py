"""What people make: talk and music."""

import shutil

import numpy as np
import pytest
from listened import (
    RATE,
    beginnings,
    between,
    chance,
    lines,
    loudness,
    share_of_power,
    size,
    stretch,
    strongest,
)

from analysis.errors import SoundError
from recordings_synthetic.shop import ShopSound, add, talk
from recordings_synthetic.shop.music import SCALE, Band, Tune
from recordings_synthetic.shop.talk import Speaker, Talk, sentence, spoken

needs_espeak = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="needs Debian's espeak-ng")
SLOW = Speaker("en-us+m3", 120, 40, 1.0)


def test_sentences_are_invented_and_many():
    """There are hundreds of them, and each ends as a sentence does."""
    said = {sentence(chance(seed)) for seed in range(600)}
    assert len(said) > 200
    assert all(words[-1] in ".?" for words in said)


def test_talk_without_its_program_says_what_to_do(monkeypatch):
    """Where espeak-ng is missing, the error names the package and the kind that needs nothing."""
    monkeypatch.setattr(shutil, "which", lambda _: None)
    monkeypatch.setattr(talk, "PROGRAM", "espeak-ng")
    talk._synthesised.cache_clear()  # noqa: SLF001 - what was spoken before must not hide the lack
    with pytest.raises(SoundError, match=r"apt-get install espeak-ng.*'speech'"):
        add(ShopSound("talk", begin=0.0), np.zeros(RATE, np.float32), RATE)


def test_a_program_that_says_nothing_is_an_error(monkeypatch):
    """When what should speak gives no sound, that is an error in one line, and not silence."""
    monkeypatch.setattr(talk, "PROGRAM", "false")
    with pytest.raises(SoundError, match=r"false could not speak \(exit status 1\).*by hand") as caught:
        spoken("It is not we who say this.", SLOW, RATE)
    assert "\n" not in str(caught.value)


@needs_espeak
def test_a_slower_speaker_takes_longer_and_a_higher_pitch_is_higher():
    """Speed and pitch are heard: half the words a minute take much longer; the voice's lowest line rises."""
    text = "We counted the seedling trays."
    slow, fast = (spoken(text, Speaker("en-us+m3", speed, 50, 1.0), RATE) for speed in (100, 200))
    assert len(slow) > 1.4 * len(fast)
    low, high = (spoken(text, Speaker("en-us+m3", 150, pitch, 1.0), RATE) for pitch in (10, 90))
    assert strongest(high, 60.0, 400.0) > strongest(low, 60.0, 400.0)


@needs_espeak
@pytest.mark.parametrize("rate", [16000, 44100, 96000])
def test_talk_lasts_as_long_at_any_rate(rate):
    """A sentence takes the same time whatever the sample rate."""
    at_22050 = spoken("Hang on a moment.", SLOW, 22050)
    assert len(spoken("Hang on a moment.", SLOW, rate)) / rate == pytest.approx(
        len(at_22050) / 22050, abs=1e-3
    )


@needs_espeak
def test_people_talk_in_turns_with_pauses():
    """Talk sounds for some of the time, with breaks, mostly between 100 Hz and 5 kHz."""
    sound = Talk((SLOW, Speaker("en-gb+f2", 170, 60, 0.8))).play(stretch(30.0), chance())
    loud = loudness(sound, 0.02) > 0.02 * np.abs(sound).max()
    assert 0.3 < loud.mean() < 0.9
    assert len(beginnings(sound, 0.02 * np.abs(sound).max(), 0.15)) > 4
    assert share_of_power(sound, 100.0, 5000.0) > 0.9


def test_music_keeps_its_beat():
    """Loudness repeats with the beat: its autocorrelation peaks at 60 / tempo."""
    sound = Tune(tempo=100.0).play(stretch(24.0), chance())
    swell = loudness(sound, 0.01)
    swell = np.maximum(np.diff(swell), 0.0) - np.maximum(np.diff(swell), 0.0).mean()
    lags = np.correlate(swell, swell, "full")[len(swell) - 1 :]
    assert 20 + np.argmax(lags[20:140]) in {30, 60, 120}  # half beats, beats, two beats
    assert lags[60] > 0.3 * lags[0]


def test_music_is_in_its_key():
    """Its strongest lines lie on the notes of its scale, within a quarter of a semitone."""
    sound = Tune(key=55.0, vibrato=(5.5, 0.0)).play(stretch(20.0), chance())
    frequency, height = lines(sound)
    inside = (frequency > 150.0) & (frequency < 900.0)
    peaks = inside[1:-1] & (height[1:-1] > height[:-2]) & (height[1:-1] > height[2:])
    best = np.flatnonzero(peaks)[np.argsort(height[1:-1][peaks])[-12:]] + 1
    semitones = 12.0 * np.log2(frequency[best] / 55.0)
    notes = np.array([*SCALE, 12])
    away = [np.abs(notes - semitone).min() for semitone in np.mod(semitones, 12.0)]
    assert max(away) < 0.25


def test_a_tune_has_vibrato():
    """The pitch of the tune swings by its vibrato, as often as it states."""
    band_ = Band(Tune(vibrato=(6.0, 0.5)), RATE, chance())
    voice = band_._tune_over(0)  # noqa: SLF001 - the tune alone cannot be heard through the others
    notes = np.flatnonzero(np.abs(voice) > 0)
    piece = voice[notes[0] : notes[0] + RATE // 4]
    assert size(piece) > 0.0
    phase = np.unwrap(np.angle(_analytic(piece)))
    swing = np.diff(phase)[600:-600] * RATE / 2.0 / np.pi
    smooth = np.convolve(swing, np.hanning(400) / np.hanning(400).sum(), "valid")
    assert smooth.max() / smooth.min() == pytest.approx(2.0 ** (1.0 / 12.0), rel=0.02)


def _analytic(sound):
    """Return the analytic signal of the fundamental: positive frequencies around the strongest line only."""
    spectrum = np.fft.fft(sound)
    frequency = np.fft.fftfreq(len(sound), 1.0 / RATE)
    pitch = strongest(sound, 200.0, 1600.0)
    spectrum[(frequency < 0.7 * pitch) | (frequency > 1.4 * pitch)] = 0.0
    return np.fft.ifft(spectrum)


def test_music_comes_from_a_small_box():
    """The loudspeaker gives little below 100 Hz and above 10 kHz, and no more than it can."""
    sound = Tune().play(stretch(16.0), chance())
    assert share_of_power(sound, 0.0, 80.0) < 0.05
    assert share_of_power(sound, 10000.0, 16000.0) < 0.02
    assert np.abs(sound).max() <= 1.0


def test_music_changes_its_chords():
    """Each bar has another chord than the one before, unless the tune says so."""
    tune = Tune(tempo=120.0, chords=(0, 3))
    sound = tune.play(stretch(4.0), chance())
    first, second = between(sound, 0.1, 1.9), between(sound, 2.1, 3.9)
    fourth = 220.0 * 2.0 ** (SCALE[3] / 12.0)
    heights = []
    for piece in (first, second):
        frequency, height = lines(piece)
        heights.append(height[np.abs(frequency - fourth) < 1.5].max())
    assert heights[1] > 3.0 * heights[0]
