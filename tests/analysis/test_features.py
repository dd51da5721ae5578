"""Rows of features: what they tell of known sounds, and that nothing but the sound decides them."""

import dataclasses

import numpy as np
import pytest
from hand_made import comb, cutter, in_blocks, white, windows_of
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.features import ABSENT, COLUMNS, Ear, FeatureReader, Rows, Smoother, standing
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
    """
    A window lasts about 30 turns, from 0.08 to 0.5 s; a long one is hopped over by quarters.

    Lines and swells are smoothed over 0.6 of a window, which tells how rows resemble one another.
    """
    ear = Ear.for_speed(RATE, speed, 2)
    assert ear.size / RATE == pytest.approx(seconds, rel=0.12)
    assert ear.hop == ear.size // hops
    assert ear.seconds == ear.hop / RATE
    assert ear.smooth == pytest.approx(0.6 * hops, rel=1e-3)
    assert ear.correlation == pytest.approx(np.exp(-1 / (0.6 * hops)), rel=1e-3)


# Known sounds

# Harmonics of tooth-pass, far weaker than the first, as every cut has them.
WEAK = dict.fromkeys(range(4, 25, 2), 0.002)


# Power that noise of the standard deviation 0.01 has in three bins of a window, full-scale sine 1.
SIGMA = 0.01
HIDES = 3 * 4 * SIGMA**2 / EAR.size


def above_noise(amplitude: float) -> float:
    """How far a line of this amplitude and the noise with it stand above such noise, dB (own closed form)."""
    return float(10 * np.log10(1 + amplitude**2 / HIDES))


def in_noise(lines: dict[float, float], seed: int = 3) -> Rows:
    """Rows of two seconds of a comb of 301 Hz in such noise."""
    return rows_of(comb(2.0, RATE, 301.0, WEAK | lines) + white(2.0, RATE, SIGMA, seed))


@pytest.mark.parametrize(
    ("spindle", "between"),
    # Chip load 0.1, two teeth, tooth imbalance 0.02: full slot, 60 degrees of immersion (own closed form).
    [(0.0200, 0.0), (0.0061, 0.0028), (0.01, 0.02), (0.0, 0.01)],
    ids=["full slot", "60 degrees of immersion", "much between", "none on the spindle"],
)
def test_lines_are_read_as_they_stand_out_of_the_noise(spindle: float, between: float):
    """The spindle line and the lines between are dB above what noise alone has in three bins."""
    rows = in_noise({1: spindle, 2: 0.04, 3: between, 5: between})
    assert np.median(rows.spindle[4:]) == pytest.approx(above_noise(spindle), abs=1.0 if spindle else 2.5)
    assert np.median(rows.between[4:]) == pytest.approx(above_noise(between), abs=1.0 if between else 2.5)


@pytest.mark.parametrize("teeth", [0.02, 0.05, 0.2])
def test_louder_teeth_do_not_hide_runout(teeth: float):
    """Lines stand against the noise, not against tooth-pass: a heavier chip leaves them where they are."""
    rows = in_noise({1: 0.01, 2: teeth, 4: teeth / 2})
    assert np.median(rows.spindle[4:]) == pytest.approx(above_noise(0.01), abs=1.2)


def test_half_orders_are_read_as_they_stand_out_of_the_noise():
    """
    Half orders come out as dB above the noise, and move no other number.

    So looseness sounds: Mobley, An Introduction to Predictive Maintenance, 14.1.3.
    """
    teeth = dict.fromkeys((2.0, 4.0, 6.0), 0.04)
    plain, loose = in_noise(teeth), in_noise(teeth | dict.fromkeys((0.5, 1.5, 2.5), 0.01))
    assert np.median(loose.half[4:]) == pytest.approx(above_noise(0.01), abs=1.0)
    assert np.median(plain.half[4:]) < 3.0
    for name in ("spindle", "between"):
        assert np.median(getattr(loose, name)[4:]) == pytest.approx(
            np.median(getattr(plain, name)[4:]), abs=1.0
        )


@pytest.mark.parametrize("order", [0.5, 1.5, 2.5, 3.5])
def test_one_foreign_tone_is_no_half_order(order: float):
    """
    One tone on one half order, 46 dB above the noise, moves them less than 3 dB; two weaker ones are heard.

    The best of the three that are left is what moves: by chance it is higher than the second of four.
    """
    teeth = {2: 0.04, 4: 0.02}
    other = 2.5 if order == 0.5 else 0.5
    none, one, two = (
        np.median(in_noise(teeth | lines).half[4:])
        for lines in ({}, {order: 0.1}, {order: 0.01, other: 0.01})
    )
    assert one < none + 3.0
    assert two > none + 10.0


@pytest.mark.parametrize("order", [3.0, 5.0, 7.0])
def test_one_foreign_tone_is_no_line_between(order: float):
    """One tone that hits one line between, 46 dB above the noise, moves them by less than 3 dB."""
    none, one = (np.median(in_noise({2: 0.04} | lines).between[4:]) for lines in ({}, {order: 0.1}))
    assert one < none + 3.0


def test_one_edge_has_no_lines_between():
    """With one flute every line is tooth-pass: there is no runout to be heard, but half orders there are."""
    ear = Ear.for_speed(RATE, 18_000, 1)
    lines = dict.fromkeys(range(1, 12), 0.05) | {0.5: 0.02, 1.5: 0.02}
    rows = rows_of(comb(0.5, RATE, 300.0, lines) + white(0.5, RATE, SIGMA, seed=3), ear)
    assert rows.spindle.tolist() == rows.between.tolist() == [0.0] * len(rows)
    assert np.median(rows.half) > 15.0


@settings(max_examples=8, deadline=None)
@given(
    hiss=st.floats(0.01, 1.0),
    runout=st.floats(0.0, 0.4),
    half=st.floats(0.0, 0.3),
    depth=st.floats(0.0, 0.9),
    seed=st.integers(0, 2**31),
)
def test_noise_from_elsewhere_raises_no_sign(
    *, hiss: float, runout: float, half: float, depth: float, seed: int
):
    """
    Broadband noise over a cut, however loud, makes nothing look loose: it only hides.

    What is hidden reads as noise alone does, whose medians over two seconds scatter by 0.6 dB (spindle) and
    0.4 dB (the others) about 0: five deviations are left to chance.
    """
    lines = cutter(2, runout) | {n + 0.5: half for n in range(4)}
    time = np.arange(2 * RATE) / RATE
    own = white(2.0, RATE, 0.03, seed) * np.sqrt(1 + depth * np.cos(2 * np.pi * 301.0 * time))
    cut = (0.05 * comb(2.0, RATE, 301.0, lines, seed) + own).astype(np.float32)
    plain, covered = rows_of(cut), rows_of(cut + white(2.0, RATE, hiss, seed + 1))
    chances = {"spindle": 3.0, "between": 2.0, "half": 2.0, "modulation": 3.0, "rocking": 3.0}
    for name, chance in chances.items():
        before, after = (np.median(getattr(rows, name)[4:]) for rows in (plain, covered))
        nothing = ABSENT if name in {"modulation", "rocking"} else 0.0
        assert after < max(before, nothing) + chance, name


def test_levels_are_those_of_the_sound():
    """Level, tooth-pass and the lines that tell are dBFS: a full-scale sine is 0 dBFS (AES17)."""
    teeth, once = {2.0: 0.1, 4.0: 0.05, 6.0: 0.02}, 0.03
    rows = rows_of(comb(1.0, RATE, 300.0, {1.0: once, **teeth}))
    power = sum(amplitude**2 for amplitude in teeth.values())
    assert np.median(rows.level) == pytest.approx(decibels(power + once**2), abs=0.05)
    assert np.median(rows.tooth[4:]) == pytest.approx(decibels(power), abs=0.1)
    assert np.median(decibels(rows.tells[4:, 0])) == pytest.approx(decibels(once**2), abs=0.1)


def test_noise_has_no_lines():
    """In noise alone nothing stands out: the best of a few lines by chance alone, tones nowhere."""
    rows = rows_of(white(2.0, RATE, 0.1, seed=4))
    assert np.median(rows.spindle) == pytest.approx(0.0, abs=2.5)
    assert np.median(rows.between) == pytest.approx(1.0, abs=2.0)
    assert np.median(rows.half) == pytest.approx(1.0, abs=2.0)
    assert np.median(rows.foreign) == pytest.approx(0.0, abs=1.0)
    assert np.median(rows.modulation) < -15.0
    assert np.median(rows.rocking) < -15.0
    assert np.median(rows.noise) == pytest.approx(decibels(12 * 3 * 4 / EAR.size * 0.01), abs=0.5)


def test_hiss_is_the_level_of_its_band():
    """White noise of deviation s has the power 2 s squared, and of that the share band / Nyquist there."""
    share = (EAR.modulation.high - EAR.modulation.low) / (RATE / 2)
    rows = rows_of(white(2.0, RATE, 0.1, seed=14) + comb(2.0, RATE, 300.0, {2: 0.5}))
    assert np.median(rows.hiss) == pytest.approx(decibels(2 * 0.1**2 * share), abs=0.2)


@pytest.mark.parametrize("order", [0.78, 1.25, 2.7])
def test_a_tone_beside_the_lines_is_foreign(order: float):
    """A tone between two orders shows in ``foreign``; the bit's own lines, loud as they are, do not."""
    lines = {n: 0.05 * a for n, a in cutter(2, 0.3).items()} | dict.fromkeys((0.5, 1.5, 2.5, 3.5), 0.01)
    own, other = in_noise(lines), in_noise(lines | {order: 0.05})
    assert np.median(own.foreign[4:]) < 2.0
    assert np.median(other.foreign[4:]) > np.median(own.foreign[4:]) + 5.0


def test_what_tells_is_what_stands():
    """The numbers of a row are those that ``standing`` makes of its ``tells`` and ``hides``."""
    rows = rows_of(cut_sound(300.0, 3, RATE), Ear.for_speed(RATE, 18_000, 3))
    read = standing(rows.tells, rows.hides, len(Ear.for_speed(RATE, 18_000, 3).telling))
    assert read.tobytes() == np.stack([rows.spindle, rows.between, rows.half], axis=1).tobytes()


@pytest.mark.parametrize(
    ("flutes", "lines"), [(1, []), (2, [1, 3, 5, 7, 9]), (3, [1, 2, 4, 5, 7]), (4, [1, 2, 3, 5, 6])]
)
def test_lines_that_tell_are_the_first_that_are_no_teeths(flutes: int, lines: list[int]):
    """The spindle line and the four after it that are no tooth-pass harmonics; four half orders."""
    ear = Ear.for_speed(RATE, 18_000, flutes)
    assert ear.lines[ear.telling].tolist() == lines
    assert ear.halves.tolist() == [0.5, 1.5, 2.5, 3.5]


def swelling_hiss(depths: dict[float, float]) -> NDArray[np.float32]:
    """Two seconds of a cut at 300 Hz whose hiss swells at some orders (order: depth)."""
    time = np.arange(2 * RATE) / RATE
    power = 1 + sum(depth * np.cos(2 * np.pi * order * 300.0 * time) for order, depth in depths.items())
    hiss = white(2.0, RATE, 0.1, seed=5) * np.sqrt(power)
    return (hiss + comb(2.0, RATE, 300.0, {2: 0.3, 4: 0.2, 6: 0.1})).astype(np.float32)


@pytest.mark.parametrize("depth", [0.4, 0.9])
def test_a_hiss_that_swells_once_a_turn(depth: float):
    """Hiss whose power swells by m once a turn reads 20 lg m in modulation: the chance part is taken off."""
    rows = rows_of(swelling_hiss({1: depth}))
    assert np.median(rows.modulation) == pytest.approx(20 * np.log10(depth), abs=1.5)
    assert np.median(rows.rocking) < -15.0


@pytest.mark.parametrize(("half", "three_halves"), [(0.5, 0.5), (0.6, 0.3)])
def test_a_hiss_that_swells_every_second_turn(half: float, three_halves: float):
    """
    Rocking is the mean, in dB, of how deep the hiss swells at orders 0.5 and 1.5.

    So looseness shows as half orders do in lines: Mobley, An Introduction to Predictive Maintenance, 14.1.3.
    """
    rows = rows_of(swelling_hiss({0.5: half, 1.5: three_halves}))
    expected = 0.5 * (20 * np.log10(half) + 20 * np.log10(three_halves))
    assert np.median(rows.rocking) == pytest.approx(expected, abs=1.5)
    assert np.median(rows.modulation) < -12.0


@pytest.mark.parametrize("order", [0.5, 1.5])
def test_a_swell_at_one_half_order_is_half_as_much_rocking(order: float):
    """A swell that something else makes at one of both orders counts by half: the other is absent."""
    one, both = (
        np.median(rows_of(swelling_hiss(depths)).rocking) for depths in ({order: 0.5}, {0.5: 0.5, 1.5: 0.5})
    )
    absent = np.median(rows_of(swelling_hiss({1: 0.5})).rocking)
    assert one == pytest.approx((both + absent) / 2, abs=1.5)


@pytest.mark.parametrize("seed", [0, 1])
def test_steady_hiss_swells_by_chance_alone(seed: int):
    """
    Of steady hiss, smoothed, about half of the rows swell less at an order than beside it: they read absent.

    Nothing is found in noise that was not beside it as well, so no more than chance would is left.
    """
    rows = rows_of(white(20.0, RATE, 0.1, seed=30 + seed))
    absent = (rows.modulation == np.float32(ABSENT)).mean()
    assert 0.4 < absent < 0.8
    assert rows.modulation.min() == rows.rocking.min() == np.float32(ABSENT)


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
    assert not set(COLUMNS) & {"tells", "hides", "colour"}


# Metamorphic properties


@settings(max_examples=6, deadline=None)
@given(gain=st.floats(0.02, 10.0))
def test_a_gain_moves_levels_and_nothing_else(gain: float):
    """Sound g times as large has levels 20 lg g higher; what is relative stays."""
    sound = cut_sound(303.0, 2, RATE)
    plain, scaled = rows_of(sound), rows_of(np.float32(gain) * sound)
    for name in ("spindle", "between", "half", "modulation", "rocking", "foreign", "prominence"):
        np.testing.assert_allclose(getattr(scaled, name), getattr(plain, name), atol=0.02, err_msg=name)
    for name in ("level", "tooth", "noise", "hiss", "colour"):
        moved = getattr(scaled, name) - getattr(plain, name)
        np.testing.assert_allclose(moved, 20 * np.log10(gain), atol=0.02, err_msg=name)
    np.testing.assert_allclose(scaled.speed, plain.speed, rtol=1e-4)


def test_an_offset_changes_nothing_but_peak_and_spread():
    """A constant added to the samples, as cheap converters do, is not heard."""
    sound = cut_sound(303.0, 2, RATE)
    plain, shifted = rows_of(sound), rows_of(sound + np.float32(0.05))
    for name in ("spindle", "between", "modulation", "rocking", "level", "tooth"):
        np.testing.assert_allclose(getattr(shifted, name), getattr(plain, name), atol=0.05, err_msg=name)
    np.testing.assert_allclose(decibels(shifted.tells), decibels(plain.tells), atol=0.05)


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
    assert rows.spindle.max() <= 0.0
    assert rows.foreign.max() <= 0.0
    assert rows.modulation.tolist() == rows.rocking.tolist() == [ABSENT] * len(rows)


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


@given(
    powers=st.lists(st.tuples(st.floats(0, 1e3), st.floats(1e-6, 1e3)), min_size=1, max_size=9),
    at=st.integers(0, 5),
)
def test_standing_by_brute_force(powers: list[tuple[float, float]], at: int):
    """The first line's ratio; the second greatest of the others' and of the half orders'; 1/4 at least."""
    lines = min(at, len(powers))
    ratios = [max(tell / hide, 0.25) for tell, hide in powers]
    groups = (ratios[:1], ratios[1:lines], ratios[lines:]) if lines else ([], [], ratios)
    second = [sorted(group)[-2:][0] if group else 1.0 for group in groups]
    tells, hides = np.float32(powers).T
    np.testing.assert_allclose(standing(tells, hides, lines), 10 * np.log10(second), atol=1e-3)


@given(st.integers(0, 2**31))
def test_which_half_order_is_strong_does_not_matter(seed: int):
    """Neither the order of the lines between nor that of the half orders changes what stands out."""
    rng = np.random.default_rng(seed)
    tells, hides = rng.exponential(size=(2, 9)).astype(np.float32)
    order = np.concatenate([[0], 1 + rng.permutation(4), 5 + rng.permutation(4)])
    assert standing(tells[order], hides[order], 5).tobytes() == standing(tells, hides, 5).tobytes()


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
