"""The tone: what is in it, and that it comes out of a loudspeaker of the real audio stack."""

import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from sound_server import SINK

from monitor.actions.kind import ActionError
from monitor.actions.message import rehearsal
from monitor.actions.player import warble
from monitor.actions.tone import Tone

TEST = rehearsal("alarm")


def share(sound: np.ndarray, rate: int, low: float, high: float) -> float:
    """Return which share of a sound's power lies between two frequencies in Hz (Parseval)."""
    power = np.abs(np.fft.rfft(sound)) ** 2
    at = np.fft.rfftfreq(len(sound), 1 / rate)
    return float(power[(at >= low) & (at <= high)].sum() / power.sum())


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_it_reaches_ears_and_ear_defenders(rate: int):
    """Half of its power lies below 1.5 kHz, where ear defenders let most through, half at 2 to 4 kHz."""
    sound = warble(rate, 3.0)
    assert share(sound, rate, 650, 1500) == pytest.approx(0.5, abs=0.02)
    assert share(sound, rate, 2000, 4000) == pytest.approx(0.5, abs=0.02)


def test_it_swings_slowly():
    """The lower line goes from 1300 to 700 Hz and back twice a second (ISO 7731: 0.2 to 5 per second)."""
    rate = 48_000
    sound = warble(rate, 2.0)
    heard = []
    for middle in np.arange(0.125, 1.9, 0.125):  # the middles and the ends of each swing
        piece = sound[round((middle - 0.02) * rate) : round((middle + 0.02) * rate)] * np.hanning(1920)
        power = np.abs(np.fft.rfft(piece, 48_000))
        heard.append(float(power[:1500].argmax()))
    expected = [700 + 600 * 2 * abs((2 * middle) % 1.0 - 0.5) for middle in np.arange(0.125, 1.9, 0.125)]
    np.testing.assert_allclose(heard, expected, atol=40)


@given(st.integers(8000, 96_000), st.floats(0.01, 0.3))
def test_it_is_loud_and_clips_nowhere(rate, seconds):
    """Its peak is just below full scale, its length as wanted, and it begins and ends at nothing."""
    sound = warble(rate, seconds)
    assert len(sound) == max(1, round(rate * seconds))
    assert sound.dtype == np.float32
    assert np.abs(sound).max() <= 0.95
    assert sound[0] == sound[-1] == 0.0
    assert seconds < 0.1 or np.abs(sound).max() > 0.9


def test_a_loudspeaker_that_is_not_there_is_told():
    """One that no device is called fails, in one line."""
    tone = Tone(0.2, "no such loudspeaker")
    with pytest.raises(ActionError, match=r"failed with status 1: cannot play: .*"):
        tone.prepare()
    with pytest.raises(ActionError, match=r"failed with status 1: cannot play: .*"):
        tone.fire(TEST, 20.0)
    tone.close()


def test_other_files_in_the_folder_are_not_taken_for_modules(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A person's own calendar.py beside the job is not what Python's calendar is: it is never run."""
    for name in ("calendar", "random", "wave"):
        (tmp_path / f"{name}.py").write_text("import this_is_not_there\n")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ActionError, match=r"failed with status 1: cannot play: .*") as caught:
        Tone(0.2, "no such loudspeaker").prepare()
    assert "this_is_not_there" not in str(caught.value)


@pytest.mark.sound
def test_the_process_that_waits_ends_when_it_is_not_needed(
    sound_server: dict[str, str], monkeypatch: pytest.MonkeyPatch
):
    """What `prepare` started is ended by `close`."""
    for name, value in sound_server.items():
        monkeypatch.setenv(name, value)
    tone = Tone(0.2)
    tone.prepare()
    player = tone._player  # noqa: SLF001 - nobody else knows of it
    assert player is not None
    tone.close()
    assert not player.runs


@pytest.mark.sound
def test_it_comes_out_of_the_loudspeaker(
    sound_server: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """What is recorded where it is played holds the warble, and it is told on which device."""
    for name, value in sound_server.items():
        monkeypatch.setenv(name, value)
    out = tmp_path / "heard.wav"
    record = ["parecord", f"--device={SINK}.monitor", "--rate=48000", "--channels=1", str(out)]
    tone = Tone(1.0)
    tone.prepare()
    with subprocess.Popen(record) as recording:
        time.sleep(0.4)
        said = tone.fire(TEST, 20.0)
        time.sleep(0.4)
        recording.terminate()
    tone.close()
    assert said.startswith("played on ")
    heard, rate = soundfile.read(out)
    loud = heard[np.abs(heard) > 0.01]
    assert len(loud) > 0.8 * rate
    assert share(heard, rate, 650, 1500) == pytest.approx(0.5, abs=0.05)
    assert share(heard, rate, 2000, 4000) == pytest.approx(0.5, abs=0.05)
