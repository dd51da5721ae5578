"""Rows of features: what they tell of known sounds, and that nothing but the sound decides them."""

import dataclasses

import numpy as np
import pytest
from hand_made import comb, cutter, in_blocks, white, windows_of
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.features import ABSENT, COLUMNS, GROUPS, Ear, FeatureReader, Rows, Smoother, relative
from analysis.spectrum import decibels
from analysis.windows import Windows

RATE = 48_000
EAR = Ear.for_speed(RATE, 18_000, 2)
NOT_FINITE_BY_DESIGN = {"peak"}


def rows_of(sound: NDArray[np.float32], ear: Ear = EAR) -> Rows:
    """Read all windows of a sound at once."""
    return FeatureReader(ear).read(windows_of(sound, ear.size, ear.hop))


def cut_sound(frequency: float, flutes: int, rate: int, seconds: float = 1.0) -> NDArray[np.float32]:
    """A quiet cut in some noise."""
    peak = comb(seconds, rate, frequency, cutter(flutes), seed=1)
    return 0.05 * peak + white(seconds, rate, 0.02, seed=2)


def bytes_of(parts: list[Rows]) -> dict[str, bytes]:
    """Every field of rows that follow one another, as bytes."""
    return {
        field.name: b"".join(np.ascontiguousarray(getattr(rows, field.name)).tobytes() for rows in parts)
        for field in dataclasses.fields(Rows)
    }


# The ear


@given(rate=st.sampled_from([8000, 16_000, 44_100, 48_000, 96_000]), speed=st.floats(300, 40_000))
def test_every_line_that_is_looked_for_can_be_heard(rate: int, speed: float):
    """Lines of the comb and orders looked at lie below the Nyquist frequency even at the fastest speed."""
    ear = Ear.for_speed(rate, speed, 2)
    highest = ear.grid.lines * ear.high
    assert highest <= rate / 2
    assert ear.lines[-1] * ear.high <= rate / 2
    assert ear.bands.upper[-1] <= rate / 2
    assert ear.low < speed / 60 < ear.high


@pytest.mark.parametrize(
    ("speed", "seconds", "hops"), [(18_000, 0.1, 2), (8000, 0.225, 4), (900, 0.5, 4), (60_000, 0.08, 2)]
)
def test_windows_hold_thirty_turns_within_bounds(speed: float, seconds: float, hops: int):
    """A window lasts about 30 turns, from 0.08 to 0.5 s; a long one is hopped over by quarters."""
    ear = Ear.for_speed(RATE, speed, 2)
    assert ear.size / RATE == pytest.approx(seconds, rel=0.12)
    assert ear.hop == ear.size // hops
    assert ear.seconds == ear.hop / RATE
    assert ear.correlation == pytest.approx(np.exp(-1 / ear.smooth))


# Known sounds

# Harmonics of tooth-pass, far weaker than the first, as every cut has them.
WEAK = dict.fromkeys(range(4, 25, 2), 0.002)


@pytest.mark.parametrize(
    ("lines", "spindle", "between"),
    [
        # z = 2, chip load 0.1, tooth imbalance 0.02, force proportional to chip (own closed form).
        ({1: 0.0200, 2: 0.04246}, 0.0200 / 0.04246, 0.0),
        ({1: 0.0061, 2: 0.0278, 3: 0.0047, 5: 0.0028}, 0.0061 / 0.0278, np.hypot(0.0047, 0.0028) / 0.0278),
        ({2: 0.04246}, 0.0, 0.0),
    ],
    ids=["full slot", "60 degrees of immersion", "no runout"],
)
def test_runout_is_read_in_decibels(lines: dict[float, float], spindle: float, between: float):
    """Amplitudes of the spindle line and of the lines between come out as their dB against tooth-pass."""
    sound = comb(1.0, RATE, 301.0, lines | WEAK) + white(1.0, RATE, 1e-3, seed=3)
    rows = rows_of(sound)
    # The weak harmonics, which tell the speed, belong to tooth-pass.
    less = lines[2] / np.hypot(lines[2], np.sqrt(len(WEAK)) * 0.002)
    wanted = [max(ABSENT, 20 * np.log10(max(less * ratio, 1e-9))) for ratio in (spindle, between)]
    assert np.median(rows.spindle[4:]) == pytest.approx(wanted[0], abs=0.2)
    assert np.median(rows.between[4:]) == pytest.approx(wanted[1], abs=0.2)


def test_half_orders_are_read_in_decibels():
    """
    Half orders half as strong as the full ones come out 6 dB below them.

    So looseness sounds: Mobley, An Introduction to Predictive Maintenance, 14.1.3.
    """
    full = dict.fromkeys((2.0, 4.0, 6.0), 0.04)
    half = dict.fromkeys((0.5, 1.5, 2.5), 0.02)
    rows = rows_of(comb(1.0, RATE, 301.0, WEAK | full | half) + white(1.0, RATE, 1e-3, seed=3))
    assert np.median(rows.half[4:]) == pytest.approx(-6.02, abs=0.2)
    assert np.median(rows.spindle[4:]) == ABSENT


def test_one_edge_has_no_lines_between():
    """With one flute every line is tooth-pass: there is no runout to be heard, however the sound is."""
    ear = Ear.for_speed(RATE, 18_000, 1)
    rows = rows_of(comb(0.5, RATE, 300.0, dict.fromkeys(range(1, 12), 0.05)), ear)
    assert rows.spindle.tolist() == rows.between.tolist() == [ABSENT] * len(rows)


def test_levels_are_those_of_the_sound():
    """Level, tooth-pass and each line are dBFS: a full-scale sine is 0 dBFS (AES17)."""
    lines = {2.0: 0.1, 4.0: 0.05, 6.0: 0.02}
    rows = rows_of(comb(1.0, RATE, 300.0, lines))
    power = sum(amplitude**2 for amplitude in lines.values())
    assert np.median(rows.level) == pytest.approx(decibels(power), abs=0.05)
    assert np.median(rows.tooth[4:]) == pytest.approx(decibels(power), abs=0.1)
    assert np.median(rows.lines[4:, 3]) == pytest.approx(decibels(0.05**2), abs=0.1)


def test_noise_has_no_lines():
    """In noise alone spindle, between and half orders are far below what a comb would show."""
    rows = rows_of(white(2.0, RATE, 0.1, seed=4))
    assert np.median(rows.spindle) == pytest.approx(ABSENT, abs=6)
    assert np.median(rows.noise) == pytest.approx(decibels(12 * 3 * 4 / EAR.size * 0.01), abs=0.5)


@pytest.mark.parametrize("depth", [0.4, 0.9])
def test_a_hiss_that_swells_once_a_turn(depth: float):
    """Hiss whose power swells by m once a turn reads 20 lg m in modulation."""
    time = np.arange(2 * RATE) / RATE
    hiss = white(2.0, RATE, 0.1, seed=5) * np.sqrt(1 + depth * np.cos(2 * np.pi * 300.0 * time))
    sound = (hiss + comb(2.0, RATE, 300.0, {2: 0.3, 4: 0.2, 6: 0.1})).astype(np.float32)
    assert np.median(rows_of(sound).modulation) == pytest.approx(20 * np.log10(depth), abs=1.5)


def test_health_figures():
    """Clipped share, peak and spread are counted from the samples of the window."""
    window = np.zeros((1, EAR.size), dtype=np.float32)
    window[0, :48], window[0, 48:50] = 1.0, (-0.25, 0.9985)
    rows = FeatureReader(EAR).read(window)
    assert rows.clipped[0] == pytest.approx(48 / EAR.size)
    assert (rows.peak[0], rows.spread[0]) == (1.0, 1.25)


def test_a_table_has_a_column_for_each_number():
    """The table holds the scalar features in the order of their names."""
    rows = rows_of(cut_sound(300.0, 2, RATE))
    table = rows.table()
    assert table.shape == (len(rows), len(COLUMNS))
    assert table.dtype == np.float32
    assert table[:, COLUMNS.index("tooth")].tobytes() == rows.tooth.tobytes()
    assert not set(COLUMNS) & {"groups", "lines", "floors", "colour"}


# Metamorphic properties


@settings(max_examples=6, deadline=None)
@given(gain=st.floats(0.02, 10.0))
def test_a_gain_moves_levels_and_nothing_else(gain: float):
    """Sound g times as large has levels 20 lg g higher; what is relative stays."""
    sound = cut_sound(303.0, 2, RATE)
    plain, scaled = rows_of(sound), rows_of(np.float32(gain) * sound)
    for name in ("spindle", "between", "half", "modulation", "prominence"):
        np.testing.assert_allclose(getattr(scaled, name), getattr(plain, name), atol=0.02, err_msg=name)
    for name in ("level", "tooth", "noise", "lines", "floors", "colour"):
        moved = getattr(scaled, name) - getattr(plain, name)
        np.testing.assert_allclose(moved, 20 * np.log10(gain), atol=0.02, err_msg=name)
    np.testing.assert_allclose(scaled.speed, plain.speed, rtol=1e-4)


def test_an_offset_changes_nothing_but_peak_and_spread():
    """A constant added to the samples, as cheap converters do, is not heard."""
    sound = cut_sound(303.0, 2, RATE)
    plain, shifted = rows_of(sound), rows_of(sound + np.float32(0.05))
    for name in ("spindle", "between", "modulation", "level", "tooth", "lines"):
        np.testing.assert_allclose(getattr(shifted, name), getattr(plain, name), atol=0.05, err_msg=name)


def test_the_sound_is_left_alone():
    """Samples are read, not written: read-only windows do, and hold the same bytes afterwards."""
    sound = cut_sound(300.0, 2, RATE)
    before = sound.tobytes()
    windows = windows_of(sound, EAR.size, EAR.hop)
    windows.flags.writeable = False
    FeatureReader(EAR).read(windows)
    assert sound.tobytes() == before


@pytest.mark.parametrize("layout", ["stereo", "reversed", "copied", "fortran"])
def test_how_samples_lie_in_memory_does_not_matter(layout: str):
    """A channel of a stereo sound, a reversed view, a copy, columns first: all give the same rows."""
    sound = cut_sound(300.0, 2, RATE)
    windows = windows_of(sound, EAR.size, EAR.hop)
    expected = bytes_of([FeatureReader(EAR).read(windows)])
    if layout == "stereo":
        windows = windows_of(np.stack([sound, sound], axis=1)[:, 0], EAR.size, EAR.hop)
    elif layout == "reversed":
        windows = windows_of(sound[::-1].copy()[::-1], EAR.size, EAR.hop)
    elif layout == "copied":
        windows = windows.copy()
    else:
        windows = np.asfortranarray(windows)
    assert bytes_of([FeatureReader(EAR).read(windows)]) == expected


# Each row alone, to the last bit

EARS = {
    "18 000 rpm": EAR,
    "slow shaft": Ear.for_speed(44_100, 900, 4),
    "slow sampling": Ear.for_speed(8000, 24_000, 3),
    "speed unknown": Ear(RATE, 100.0, 500.0, 2, 4800),
    "one flute": Ear.for_speed(RATE, 8000, 1),
}


@settings(max_examples=8, deadline=None)
@given(name=st.sampled_from(sorted(EARS)), sizes=st.lists(st.integers(1, 12_000), min_size=2, max_size=8))
def test_rows_do_not_depend_on_the_blocks(name: str, sizes: list[int]):
    """However the sound is cut into blocks, every number of every row has the same bytes."""
    ear = EARS[name]
    middle = 0.5 * (ear.low + ear.high)
    seconds = 12 * ear.size / ear.rate
    changing = comb(seconds / 2, ear.rate, 0.5 * (ear.low + middle), cutter(ear.flutes, lines=8))
    noise = white(seconds / 2, ear.rate, 0.3, seed=6)
    sound = np.concatenate([noise, changing + noise, noise[: ear.size // 3]])
    whole = bytes_of([rows_of(sound, ear)])
    reader, windows = FeatureReader(ear), Windows(ear.size, ear.hop)
    completed = (windows.feed(block) for block in in_blocks(sound, sizes))
    parts = [reader.read(some) for some in completed if len(some)]
    assert bytes_of(parts) == whole


@pytest.mark.parametrize("name", sorted(EARS))
def test_one_row_at_a_time_is_the_whole(name: str):
    """Windows read one by one, as when hearing live, give the bytes of all at once."""
    ear = EARS[name]
    sound = cut_sound(0.5 * (ear.low + ear.high), ear.flutes, ear.rate, 40 * ear.size / ear.rate / 4)
    windows = windows_of(sound, ear.size, ear.hop)
    reader = FeatureReader(ear)
    singles = [reader.read(windows[i : i + 1]) for i in range(len(windows))]
    assert bytes_of(singles) == bytes_of([rows_of(sound, ear)])


# What cannot be heard


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e7, -3e38])
def test_a_wild_sample_is_said_and_forgotten(value: float):
    """A sample that no converter gives makes its windows' peak NaN, and leaves every other number finite."""
    sound = cut_sound(300.0, 2, RATE, seconds=2.0)
    good = rows_of(sound)
    sound[RATE // 2] = value
    bad = rows_of(sound)
    hit = windows_of(sound, EAR.size, EAR.hop)
    hit = ~(np.abs(hit) < 1e6).all(axis=1)
    assert hit.sum() == 2
    assert np.isnan(bad.peak).tolist() == hit.tolist()
    for field in dataclasses.fields(Rows):
        if field.name not in NOT_FINITE_BY_DESIGN:
            assert np.isfinite(getattr(bad, field.name)).all(), field.name
    np.testing.assert_allclose(bad.spindle[-5:], good.spindle[-5:], atol=0.01)
    np.testing.assert_allclose(bad.speed[-5:], good.speed[-5:], rtol=1e-4)


def test_silence_gives_numbers():
    """Zeros give finite rows: no speed stands out, no line is there."""
    rows = rows_of(np.zeros(RATE, dtype=np.float32))
    for field in dataclasses.fields(Rows):
        assert np.isfinite(getattr(rows, field.name)).all(), field.name
    assert rows.prominence.max() == 0.0
    assert rows.spindle.tolist() == [ABSENT] * len(rows)


def test_no_windows_no_rows():
    """An empty batch gives no rows, and does not disturb those that follow."""
    sound = cut_sound(300.0, 2, RATE)
    windows = windows_of(sound, EAR.size, EAR.hop)
    reader = FeatureReader(EAR)
    parts = [
        reader.read(windows[:0]),
        reader.read(windows[:7]),
        reader.read(windows[7:7]),
        reader.read(windows[7:]),
    ]
    assert [len(rows) for rows in parts] == [0, 7, 0, len(windows) - 7]
    assert bytes_of(parts) == bytes_of([rows_of(sound)])


# Tools


def test_relative_is_against_tooth_pass_with_its_noise():
    """Powers of 1 and 9 in tooth-pass and noise: a line of 5 is 3 dB below them; less than none is absent."""
    groups = np.float32([1.0, 9.0, 5.0, 10.0, -1.0])
    assert dict(zip(GROUPS[2:], relative(groups).tolist(), strict=True)) == pytest.approx(
        {"spindle": -3.0103, "between": 0.0, "half": ABSENT}, abs=1e-4
    )
    assert relative(np.float32([-5.0, 9.0, 9.0, 0.0, 0.0]))[0] == pytest.approx(0.0)


@given(memory=st.floats(0.5, 50), rows=st.lists(st.floats(-100, 100, width=32), min_size=1, max_size=40))
def test_smoothing_forgets_exponentially(memory: float, rows: list[float]):
    """Each row counts e^(-age / memory) of what the newest does; all before the first was like the first."""
    keep = np.exp(-1 / memory)
    expected = [
        (1 - keep) * sum(keep ** (n - i) * rows[i] for i in range(n + 1)) + keep ** (n + 1) * rows[0]
        for n in range(len(rows))
    ]
    smoothed = Smoother(memory).smooth(np.float32(rows)[:, np.newaxis])[:, 0]
    np.testing.assert_allclose(smoothed, expected, atol=1e-3)


def test_smoothing_may_begin_with_what_was_before():
    """Given a start, the first row is smoothed with it."""
    smoother = Smoother(1 / np.log(2), np.zeros(1, dtype=np.float32))
    assert smoother.smooth(np.float32([[8.0], [8.0]])).ravel().tolist() == pytest.approx([4.0, 6.0])
