"""``chipsong mics --check``: whether a microphone is fit."""

from collections.abc import Callable

import numpy as np
import pytest
from contract import Ended
from numpy.typing import NDArray

from monitor.mics import verdict
from monitor.testing import FakeClock, FakeMicrophone

RATE = 8000


def sine(peak: float) -> NDArray[np.float32]:
    """Return 4 s of a tone."""
    return (peak * np.sin(2 * np.pi * 1000 * np.arange(4 * RATE) / RATE + 0.1)).astype(np.float32)


@pytest.mark.parametrize(("peak", "level"), [(0.5, -6), (0.1, -20), (0.01, -40)])
def test_a_full_scale_sine_is_0_dbfs(peak: float, level: int):
    """Levels are those of AES17: a sine at full scale has 0 dBFS, at a tenth of it -20 dBFS."""
    text, fit = verdict("mic", sine(peak))
    assert text.startswith(f"mic: level {level} dBFS, peak {level} dBFS, clipped 0.00 %\nFit to listen.")
    assert fit


@pytest.mark.parametrize(
    ("samples", "said"),
    [
        (np.clip(sine(3.0), -1, 1), "clips"),
        (np.zeros(RATE, dtype=np.float32), "all samples are the same"),
        (sine(2e-5), "almost nothing is heard"),
        (np.full(RATE, np.nan, dtype=np.float32), "not finite"),
    ],
)
def test_an_unfit_microphone_says_why(samples: NDArray[np.float32], said: str):
    """Clipping, digital silence, next to nothing and nonsense are not fit, each with what to do."""
    text, fit = verdict("mic", samples)
    assert not fit
    assert "NOT FIT: " in text
    assert said in text


@pytest.fixture
def hears(monkeypatch: pytest.MonkeyPatch) -> Callable[..., FakeClock]:
    """Give a way to say what the microphone hears; the clock tells for how long it was listened to."""

    def put(samples: NDArray[np.float32], gaps: int = 0) -> FakeClock:
        clock = FakeClock()
        fake = FakeMicrophone(samples, RATE, gaps={0: gaps}, clock=clock)
        monkeypatch.setattr("monitor.mics.Microphone", lambda _: fake)
        return clock

    return put


def test_it_listens_for_as_long_as_told(chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]):
    """--for says how many seconds; a microphone that is fit is status 0."""
    clock = hears(sine(0.5))
    ended = chipsong("mics", "--check", "--for", "2")
    assert (ended.status, ended.err) == (0, "")
    assert clock.monotonic() == pytest.approx(2.0, abs=0.2)


def test_an_unfit_microphone_is_status_1(chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]):
    """A microphone that is not fit is told in words, with status 1."""
    hears(np.zeros(4 * RATE, dtype=np.float32))
    ended = chipsong("mics", "--check")
    assert (ended.status, ended.err) == (1, "")
    assert "NOT FIT" in ended.out


def test_a_microphone_may_need_two_seconds_to_wake(
    chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]
):
    """Nothing for two seconds, as of a sound system that slept, is waited for."""
    hears(sine(0.5), gaps=4)
    assert chipsong("mics", "--check").status == 0


def test_a_microphone_that_gives_nothing_is_one_line(
    chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]
):
    """Where nothing arrives it does not wait for ever: status 1 and one line."""
    clock = hears(sine(0.5), gaps=10_000)
    ended = chipsong("mics", "--check")
    assert ended == Ended(
        1, "", "chipsong: nothing arrives from fake microphone: is it plugged in and not muted?\n"
    )
    assert clock.monotonic() < 5.0
