"""A monitor that has stopped hearing says so soon, and says when it hears again."""

import numpy as np
import pytest
from hand_made import comb, cutter, white, windows_of
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.features import Ear, FeatureReader
from analysis.health import Health, trouble

RATE = 16_000
EAR = Ear.for_speed(RATE, 18_000, 2)
SOUND = 0.05 * comb(4.0, RATE, 300.0, cutter(2, lines=12)) + white(4.0, RATE, 0.02, seed=1)


def judge(sound: NDArray[np.float32], ear: Ear = EAR) -> tuple[Health, list[tuple[float, bool, str]]]:
    """Follow a sound; return the health at its end, and when it changed: seconds, deaf, reason."""
    rows, health, changes = (
        FeatureReader(ear).read(windows_of(sound, ear.size, ear.hop)),
        Health(ear.seconds),
        [],
    )
    for i in range(len(rows)):
        health.row(trouble(float(rows.peak[i]), float(rows.spread[i]), float(rows.clipped[i])))
        if health.changed:
            changes.append(((i * ear.hop + ear.size) / ear.rate, health.deaf, health.reason))
    return health, changes


def muted(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """Exact zeros."""
    return np.zeros_like(sound)


def stuck(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """One value, not zero."""
    return np.full_like(sound, 0.25)


def broken(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """Not a number here and there."""
    sound = sound.copy()
    sound[:: RATE // 20] = np.nan
    return sound


def huge(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """Numbers that are finite, and no sound."""
    return np.where(np.arange(len(sound)) % 700 == 0, np.float32(1e30), sound)


def overdriven(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """Far too loud, cut off at full scale."""
    return np.clip(50 * sound, -1, 1)


def faint(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """The noise of a microphone that hears nothing, some steps of 24 bits."""
    return np.float32(1e-4) * sound


def offset(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """The same on top of a constant, as cheap converters add one."""
    return np.float32(0.02) + faint(sound)


def dropping_out(sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """Zeros for half of the time, in turn with sound: no stretch of either is long."""
    phase = np.arange(len(sound)) % round(0.5 * RATE)
    return np.where(phase < 0.3 * RATE, np.float32(0), sound)


TROUBLES = [muted, stuck, broken, huge, overdriven, faint, offset, dropping_out]


@pytest.mark.parametrize("spoil", TROUBLES)
def test_deaf_within_two_seconds_and_hearing_again(spoil):
    """Whatever makes the sound unusable, that is said within 2 s; so is that it is usable again."""
    _, changes = judge(np.concatenate([SOUND, spoil(SOUND), SOUND]))
    assert [deaf for _, deaf, _ in changes][:1] + [deaf for _, deaf, _ in changes][-1:] == [True, False]
    assert 4.0 < changes[0][0] <= 6.0
    assert 8.0 < changes[-1][0] <= 10.0
    assert changes[0][2]


@pytest.mark.parametrize("spoil", TROUBLES)
def test_deaf_from_the_start(spoil):
    """A monitor that never heard anything says so within 2 s, too."""
    health, changes = judge(spoil(SOUND))
    assert changes[0][0] <= 2.0
    assert health.reason


@pytest.mark.parametrize("spoil", [muted, stuck, broken, huge, overdriven, faint, offset])
def test_deaf_once(spoil):
    """As long as nothing usable is heard, that is said once."""
    health, changes = judge(np.concatenate([SOUND, spoil(SOUND), spoil(SOUND)]))
    assert [deaf for _, deaf, _ in changes] == [True]
    assert health.deaf
    assert not health.usable


@pytest.mark.parametrize("rate", [8000, 48_000])
def test_slow_shafts_are_no_slower_to_be_deaf(rate: int):
    """Where windows last half a second, zeros are still called deaf within 2 s."""
    ear = Ear.for_speed(rate, 900, 2)
    _, changes = judge(np.zeros(3 * rate, dtype=np.float32), ear)
    assert changes[0][0] <= 2.0


def test_a_click_does_not_deafen():
    """One window of trouble is not worth a word; its row is not used, though."""
    sound = SOUND.copy()
    sound[RATE : RATE + 300] = 1.0
    _, changes = judge(sound)
    assert changes == []
    health = Health(0.05)
    health.row("a click")
    assert (health.usable, health.deaf, health.reason) == (False, False, "a click")


def test_a_good_sound_is_not_called_deaf():
    """A cut, a quiet room, a lone tone: nothing is said."""
    for sound in (SOUND, white(4.0, RATE, 1e-3, seed=2), comb(4.0, RATE, 200.0, {1: 0.9})):
        assert judge(sound)[1] == []


@pytest.mark.parametrize(
    ("peak", "spread", "clipped", "word"),
    [
        (np.nan, 0.0, 0.0, "finite"),
        (np.inf, np.inf, 0.0, "finite"),
        (0.0, 0.0, 0.0, "same"),
        (1.0, 2.0, 0.2, "20 %"),
        (5e-5, 1e-4, 0.0, "-86 dBFS"),
        (0.5, 1.0, 0.0, ""),
        (1.0, 2.0, 0.001, ""),
    ],
)
def test_trouble_in_words(peak: float, spread: float, clipped: float, word: str):
    """What is wrong is said in words, with the figure that shows it; nothing is said of good sound."""
    said = trouble(peak, spread, clipped)
    assert word in said
    assert bool(said) == bool(word)


@given(
    st.floats(allow_nan=True, allow_infinity=True, width=32),
    st.floats(allow_nan=True, allow_infinity=True, width=32),
    st.floats(0, 1),
)
def test_what_is_not_a_number_is_never_good(peak: float, spread: float, clipped: float):
    """A peak that is no finite number is trouble whatever the other figures."""
    if not np.isfinite(peak):
        assert trouble(peak, spread, clipped)


@given(st.lists(st.booleans(), min_size=1, max_size=300), st.sampled_from([0.04, 0.05, 0.125]))
def test_the_rule_by_brute_force(rows: list[bool], seconds: float):
    """Deaf by the seconds lost in the last 1.5 s; heard again by the last 0.5 s all being good."""
    health, deaf, since = Health(seconds), False, 0
    for i, usable in enumerate(rows):
        health.row("" if usable else "trouble")
        recent = rows[max(since, i + 1 - int(np.ceil(1.5 / seconds))) : i + 1]
        latest = rows[max(since, i + 1 - int(np.ceil(0.5 / seconds))) : i + 1]
        enough = (
            len(latest) * seconds >= 0.5 and all(latest) if deaf else recent.count(False) * seconds >= 0.5
        )
        assert health.changed == enough
        if enough:
            deaf, since = not deaf, i + 1
        assert health.deaf == deaf


def test_a_lost_source_deafens_at_once():
    """When the source itself says that nothing arrives there is no patience; hearing again takes as ever."""
    health = Health(0.05)
    health.row("")
    health.lost("unplugged")
    assert (health.deaf, health.changed, health.usable, health.reason) == (True, True, False, "unplugged")
    health.lost("unplugged")
    assert not health.changed
    changed = []
    for _ in range(12):
        health.row("")
        changed.append(health.changed)
    assert changed.index(True) == 9
    assert not health.deaf
