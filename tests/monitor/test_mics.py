"""``chipsong mics --check``: whether a microphone is fit."""

from collections.abc import Callable

import numpy as np
import pytest
from contract import Ended
from numpy.typing import NDArray

from monitor.testing import FakeClock, FakeMicrophone

RATE = 8000


def sine(peak: float) -> NDArray[np.float32]:
    """Return 4 s of a tone."""
    return (peak * np.sin(2 * np.pi * 1000 * np.arange(4 * RATE) / RATE + 0.1)).astype(np.float32)


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
    clock = hears(sine(0.3))
    ended = chipsong("mics", "--check", "--for", "2")
    assert (ended.status, ended.err) == (0, "")
    assert clock.monotonic() == pytest.approx(2.0, abs=0.2)


def test_what_was_found_is_one_screen_with_one_verdict(
    chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]
):
    """What to do meanwhile, the levels, one verdict with what to change, and what was not tested."""
    hears(sine(0.7))
    said = chipsong("mics", "--check", "--for", "3").out
    assert said.startswith("Listening to fake microphone for 3 s. Keep quiet, clap loudly once")
    assert "level        -3 dBFS in the mean, -3 dBFS in the quietest tenth" in said
    assert "\nFIT, WITH A CAUTION, as far as it was tested\n  - only 3 dB of headroom" in said
    assert "\nNot tested:\n  - automatic gain: " in said
    assert len(said.splitlines()) < 24
    assert max(map(len, said.splitlines()[1:])) < 80


def test_a_spindle_that_is_told_is_to_run(chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]):
    """With --rpm the person is asked to let it run; a bit that is not on the shelf is one line."""
    hears(sine(0.3))
    assert "Let the spindle run" in chipsong("mics", "--check", "--rpm", "18000", "--flutes", "2").out
    assert chipsong("mics", "--check", "--bit", "nobody's").status == 1


def test_an_unfit_microphone_is_status_1(chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]):
    """A microphone that is not fit is told in words, with status 1."""
    hears(np.zeros(4 * RATE, dtype=np.float32))
    ended = chipsong("mics", "--check")
    assert (ended.status, ended.err) == (1, "")
    assert "NOT FIT\n  - all samples are the same" in ended.out


def test_a_gate_that_leaves_a_clap_alone_is_unfit(
    chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]
):
    """Nothing but a clap is no quiet: it is not fit, and the clap was no test."""
    hears(np.concatenate([np.zeros(2 * RATE), sine(0.3)[:3200], np.zeros(2 * RATE)]).astype(np.float32))
    ended = chipsong("mics", "--check", "--for", "4")
    assert (ended.status, ended.err) == (1, "")
    assert "own gain     not tested: no short loud sound came between steady quiet" in ended.out
    assert "\nNOT FIT\n  - for 3.5 s of 4.1 s nothing is heard" in ended.out
    assert max(map(len, ended.out.splitlines()[1:])) < 80


def test_a_microphone_may_need_two_seconds_to_wake(
    chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]
):
    """Nothing for two seconds, as of a sound system that slept, is waited for."""
    hears(sine(0.3), gaps=4)
    assert chipsong("mics", "--check").status == 0


def test_a_microphone_that_gives_nothing_is_one_line(
    chipsong: Callable[..., Ended], hears: Callable[..., FakeClock]
):
    """Where nothing arrives it does not wait for ever: status 1 and one line."""
    clock = hears(sine(0.5), gaps=10_000)
    ended = chipsong("mics", "--check")
    assert ended.status == 1
    assert ended.err == "chipsong: nothing arrives from fake microphone: is it plugged in and not muted?\n"
    assert clock.monotonic() < 5.0


def test_a_microphone_that_is_named_is_to_be_checked(chipsong: Callable[..., Ended]):
    """To name one and get a list of all would leave open whether it was listened to."""
    ended = chipsong("mics", "--device", "foo")
    assert ended.status == 2
    assert "give --check, too" in ended.err


@pytest.mark.parametrize(
    "words", [("--rpm", "18000"), ("--flutes", "2"), ("--bit", "x"), ("--for", "8"), ("--device", "USB")]
)
def test_what_is_for_listening_is_not_ignored_without_it(
    chipsong: Callable[..., Ended], words: tuple[str, ...]
):
    """Whoever forgot --check is told, and does not take a list for an answer."""
    ended = chipsong("mics", *words)
    assert (ended.status, ended.out) == (2, "")
    assert f"{words[0]} is for listening to one: give --check, too" in ended.err
