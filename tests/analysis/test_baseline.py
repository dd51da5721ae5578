"""What normal is, against numpy's medians; what is refused; and that it stays as it was learned."""

import dataclasses

import numpy as np
import pytest
from hand_made import comb, cutter, white, windows_of
from hypothesis import given, settings
from hypothesis import strategies as st
from moments import TIGHT
from numpy.typing import NDArray

from analysis.air import Telling
from analysis.baseline import CHANNELS, SIGNS, TRUE_ENOUGH, Baseline, Sample, Unfit, channels, learn, sample
from analysis.features import Ear, FeatureReader, Rows
from analysis.robust import MAD_TO_DEVIATION

COLOUR = CHANNELS.index("colour")
BANDS = 10
RNG_SEEDS = st.integers(0, 2**31)
NORMAL = dataclasses.replace(TIGHT, plain=np.array([10.0, 8.0, 5.0, -8.0, -16.0]), noise=-60.0, foreign=0.5)
MOVES = st.lists(st.floats(-30, 30), min_size=SIGNS, max_size=SIGNS).map(np.array)


def changed(**moved: float | NDArray[np.float64]) -> Sample:
    """The normal sample, with fields raised by so much."""
    return dataclasses.replace(NORMAL, **{name: getattr(NORMAL, name) + by for name, by in moved.items()})


def cuts(rows: int, scatter: float, seed: int) -> list[Sample]:
    """Samples of a cut that scatter, each number by itself."""
    rng = np.random.default_rng(seed)
    return [
        changed(
            plain=scatter * rng.standard_normal(SIGNS),
            level=scatter * rng.standard_normal(),
            colour=scatter * rng.standard_normal(BANDS),
            teeth=scatter * rng.standard_normal(),
        )
        for _ in range(rows)
    ]


def learned(heard: list[Sample]) -> Baseline:
    """The baseline of what must be fit for one."""
    known = learn(heard)
    assert isinstance(known, Baseline)
    return known


def moved(heard: list[Sample], known: Baseline) -> NDArray[np.float64]:
    """How far each sample is from normal, shape (rows, len(CHANNELS))."""
    return np.array([channels(one, known.normal) for one in heard])


def learned_from(heard: list[Sample], known: Baseline) -> NDArray[np.float64]:
    """The same, where a row that has less of a sign than a tight bit may have counts as that."""
    return moved([dataclasses.replace(one, plain=np.maximum(one.plain, TRUE_ENOUGH)) for one in heard], known)


# Between what bounds each channel scatters, dB.
LEAST_SCALE = [4.0, 2.5, 2.5, 2.5, 2.0, 0.5]
MOST_SCALE = [8.0, 5.0, 5.0, 5.0, 5.0, 2.0]


# Channels


def test_channels_are_the_signs_of_a_loose_bit_and_colour():
    """Five signs, in the order in which a sample holds them, then the colour."""
    assert CHANNELS == ("spindle", "between", "half", "modulation", "rocking", "colour")
    assert SIGNS == len(TRUE_ENOUGH) == 5


def test_what_is_normal_has_moved_nowhere():
    """The normal sample itself has moved in no channel."""
    assert channels(NORMAL, NORMAL).tolist() == [0.0] * len(CHANNELS)


@given(MOVES)
def test_a_channel_is_the_shift_against_normal(by: NDArray[np.float64]):
    """Spindle, between, half, modulation and rocking are what the row has above the normal, dB."""
    assert channels(changed(plain=by), NORMAL)[:SIGNS] == pytest.approx(by, abs=1e-9)


@given(MOVES, MOVES)
def test_a_rise_to_what_a_tight_bit_has_is_no_sign(below: NDArray[np.float64], by: NDArray[np.float64]):
    """By brute force: what is normal counts as at least what a tight bit has now and then."""
    normal = dataclasses.replace(NORMAL, plain=TRUE_ENOUGH + below)
    now = dataclasses.replace(NORMAL, plain=TRUE_ENOUGH + by)
    expected = [b - max(n, 0.0) for n, b in zip(below, by, strict=True)]
    assert channels(now, normal)[:SIGNS] == pytest.approx(expected, abs=1e-9)


@given(MOVES, MOVES)
def test_nothing_below_true_enough_is_a_rise(below: NDArray[np.float64], now: NDArray[np.float64]):
    """However little was normal, a row that has no more than a tight bit may have rose in no channel."""
    normal = dataclasses.replace(NORMAL, plain=TRUE_ENOUGH - abs(below))
    row = dataclasses.replace(NORMAL, plain=TRUE_ENOUGH - abs(now))
    assert channels(row, normal)[:SIGNS].max() <= 0.0


@given(st.floats(0, 20), st.floats(-20, 20))
def test_louder_has_not_lost_colour(raised: float, level: float):
    """A rise of all bands together, or of the level, moves no channel."""
    moved = channels(changed(colour=raised, level=level, hiss=level, teeth=level), NORMAL)
    assert moved == pytest.approx([0.0] * len(CHANNELS), abs=1e-9)


def test_colour_is_twice_the_mean_fall_where_others_rise():
    """Where one of b bands falls by d dB it moves by 2 d / b, up to 3 times what others rise past 1 dB."""
    one, other = np.eye(BANDS)[3:5]
    for rise, counts in ((8.0, 8.0), (4.0, 8.0), (3.0, 6.0), (1.0, 0.0)):
        moved = channels(changed(colour=rise * other - 8.0 * one), NORMAL)
        assert moved[COLOUR] == pytest.approx(2.0 * counts / BANDS)


@given(st.lists(st.floats(0, 30), min_size=BANDS, max_size=BANDS).map(np.array), st.sampled_from([-1.0, 1.0]))
def test_what_the_shop_switches_on_or_off_changes_no_colour(by: NDArray[np.float64], way: float):
    """Bands that only rise, or only fall, are what has begun or stopped beside the machine."""
    assert channels(changed(colour=way * by), NORMAL)[COLOUR] == 0.0


@given(st.floats(-30, 0))
def test_a_quieter_cut_has_not_lost_colour(fall: float):
    """A fall that all bands share is a lighter cut."""
    assert channels(changed(colour=fall), NORMAL)[COLOUR] == pytest.approx(0.0, abs=1e-9)


# Learning


@settings(max_examples=30)
@given(rows=st.integers(20, 80), scatter=st.floats(0.1, 3.0), seed=RNG_SEEDS)
def test_centres_are_medians(rows: int, scatter: float, seed: int):
    """Against numpy: normal is each number's median, the centre that of how far each channel is from it."""
    heard = cuts(rows, scatter, seed)
    known = learned(heard)
    for field in dataclasses.fields(Sample):
        expected = np.median([getattr(one, field.name) for one in heard], axis=0)
        np.testing.assert_allclose(getattr(known.normal, field.name), expected)
    np.testing.assert_allclose(known.centre, np.median(learned_from(heard, known), axis=0), atol=1e-9)
    assert known.rows == rows


@settings(max_examples=30)
@given(rows=st.integers(20, 80), scatter=st.floats(0.1, 5.0), seed=RNG_SEEDS)
def test_scales_are_the_median_deviation_within_bounds(rows: int, scatter: float, seed: int):
    """
    Against numpy: the median absolute deviation, x 1.4826, or the upper tenth's, whichever is more.

    Each channel scatters by a least and a most, however the first seconds happened to be.
    """
    heard = [dataclasses.replace(one, level=-20.0) for one in cuts(rows, scatter, seed)]
    known = learned(heard)
    table = learned_from(heard, known)
    centre = np.median(table, axis=0)
    deviation = MAD_TO_DEVIATION * np.median(np.abs(table - centre), axis=0)
    upward = (np.quantile(table, 0.9, axis=0) - centre) / 1.2816
    wanted = np.clip(np.maximum(deviation, upward), LEAST_SCALE, MOST_SCALE)
    np.testing.assert_allclose(known.scale, wanted, atol=1e-9)


@pytest.mark.parametrize(("scatter", "scale"), [(1e-6, LEAST_SCALE), (15.0, MOST_SCALE)])
def test_scales_are_bounded(scatter: float, scale: list[float]):
    """A cut that hardly scatters has the least scales; one that scatters wildly the greatest."""
    steady = [dataclasses.replace(one, level=-20.0) for one in cuts(200, scatter, seed=1)]
    assert learned(steady).scale.tolist() == scale


@settings(max_examples=30)
@given(rows=st.integers(20, 80), seed=RNG_SEEDS)
def test_what_scatters_below_a_tight_bits_signs_is_chance(rows: int, seed: int):
    """However signs scatter where a tight bit is surely heard, they widen no scale."""
    rng = np.random.default_rng(seed)
    heard = [changed(plain=TRUE_ENOUGH - NORMAL.plain - 20.0 * rng.random(SIGNS)) for _ in range(rows)]
    known = learned(heard)
    assert known.scale.tolist() == LEAST_SCALE
    np.testing.assert_allclose(known.centre, 0.0, atol=1e-9)


@pytest.mark.parametrize("channel", range(SIGNS))
def test_a_sign_that_comes_up_now_and_then_scatters(channel: int):
    """Signs that are absent most of the time and up every sixth row are no steady ones."""
    up = 7.0 * np.eye(SIGNS)[channel]
    heard = [changed(plain=up * (i % 6 == 0)) for i in range(60)]
    expected = np.append(np.maximum(up / 1.2816, LEAST_SCALE[:SIGNS]), LEAST_SCALE[COLOUR])
    np.testing.assert_allclose(learned(heard).scale, np.minimum(expected, MOST_SCALE))


@given(MOVES, st.integers(0, 3))
def test_a_flute_makes_a_baseline_of_its_own(by: NDArray[np.float64], knocked: int):
    """What is normal of a bit with a single flute says so: a truth of all its rows, not a mean of numbers."""
    for single in (False, True):
        heard = [dataclasses.replace(changed(plain=by * (i == knocked)), single=single) for i in range(30)]
        assert bool(learned(heard).normal.single) is single


@settings(max_examples=30)
@given(rows=st.integers(1, 4), by=st.floats(5, 40), seed=RNG_SEEDS)
def test_a_knock_does_not_become_normal(rows: int, by: float, seed: int):
    """A knock of 0.2 s in 3 s leaves what is normal within half the scatter, and the scales small."""
    heard = cuts(60, 1.0, seed)
    knocked = [
        dataclasses.replace(one, plain=one.plain + by, level=one.level + by, colour=one.colour + by)
        if 20 <= i < 20 + rows
        else one
        for i, one in enumerate(heard)
    ]
    quiet, loud = learned(heard), learned(knocked)
    np.testing.assert_allclose(loud.centre, quiet.centre, atol=0.5)
    np.testing.assert_allclose(loud.normal.plain, quiet.normal.plain, atol=0.5)
    assert np.all(loud.scale < 2.0 * quiet.scale)


@pytest.mark.parametrize("scatter", [12.0, 30.0])
def test_an_unsteady_sound_is_refused_with_its_figure(scatter: float):
    """What scatters like no cut does is no baseline, and the reason tells by how much."""
    rng = np.random.default_rng(3)
    refused = learn([changed(level=scatter * rng.standard_normal()) for _ in range(80)])
    assert isinstance(refused, Unfit)
    figure = float(refused.because.split(" dB")[0].rsplit(" ", 1)[1])
    assert figure == pytest.approx(scatter, rel=0.3)


def test_a_sound_that_comes_and_goes_is_refused():
    """Half the rows in the cut and half of them in the air are no steady cut."""
    assert isinstance(learn([changed(level=-25.0 * (i // 5 % 2)) for i in range(60)]), Unfit)


# Frozen


def test_a_baseline_is_frozen():
    """Neither can its parts be replaced, nor does it change with the samples that it was learned from."""
    heard = cuts(40, 1.0, seed=4)
    known = learned(heard)
    before = (known.centre.tobytes(), known.scale.tobytes(), known.normal.plain.tobytes())
    with pytest.raises(dataclasses.FrozenInstanceError):
        known.rows = 3  # type: ignore[misc]
    for one in heard:
        one.plain[:] = one.colour[:] = 99.0
    assert (known.centre.tobytes(), known.scale.tobytes(), known.normal.plain.tobytes()) == before


def test_the_samples_are_left_alone():
    """Learning reads; it changes nothing of what was heard."""
    heard = cuts(40, 1.0, seed=5)
    before = [one.plain.tobytes() + one.colour.tobytes() for one in heard]
    learn(heard)
    assert [one.plain.tobytes() + one.colour.tobytes() for one in heard] == before


@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.9])
def test_the_error_of_a_centre(correlation: float):
    """
    Medians of 60 simulated rows of AR(1) values scatter by what ``error`` tells, or somewhat less.

    A median knows 64 % (2 / pi) of what a mean does, and n correlated rows as much as n (1 - r) / (1 + r).
    Both at once is too careful by a quarter where rows resemble one another much.
    """
    rng = np.random.default_rng(6)
    runs = np.empty((3000, 60))
    runs[:, 0] = rng.standard_normal(3000)
    for i in range(1, 60):
        fresh = rng.standard_normal(3000)
        runs[:, i] = correlation * runs[:, i - 1] + np.sqrt(1 - correlation**2) * fresh
    scales = np.arange(1.0, 1.0 + len(CHANNELS))
    known = Baseline(60, NORMAL, np.zeros(len(CHANNELS)), scales)
    scatter = np.median(runs, axis=1).std()
    assert 0.95 * scatter < known.error(correlation)[0] < 1.4 * scatter
    np.testing.assert_allclose(known.error(correlation), scales * known.error(correlation)[0])


# From rows to samples


def heard_in(ear: Ear) -> tuple[Rows, Telling]:
    """Rows of a second of a cut, and what tells in the fifth."""
    lines = cutter(ear.flutes, 0.5, lines=12)
    sound = 0.1 * comb(1.0, 16_000, 300.0, lines) + white(1.0, 16_000, 0.02, seed=7)
    rows = FeatureReader(ear).read(windows_of(sound, ear.size, ear.hop))
    hiss = float(10 ** (rows.hiss[5] / 10))
    swell = np.array([rows.modulation[5], rows.rocking[5]])
    return rows, Telling(rows.tells[5], rows.hides[5], hiss, swell, 0.8)


@pytest.mark.parametrize("flutes", [1, 2, 3])
def test_a_sample_is_a_row(flutes: int):
    """A sample holds the row's numbers; the spindle's own line is order 1 whatever the bit."""
    ear = Ear.for_speed(16_000, 18_000, flutes)
    rows, heard = heard_in(ear)
    one = sample(rows, 5, heard, len(ear.telling))
    plain = [getattr(rows, name)[5] for name in CHANNELS[:SIGNS]]
    assert one.plain == pytest.approx(plain, abs=1e-4)
    row = (rows.level[5], rows.hiss[5], rows.tooth[5], rows.speed[5], rows.foreign[5])
    assert (one.level, one.hiss, one.teeth, one.speed, one.foreign) == row
    assert one.noise == pytest.approx(10 * np.log10(rows.hides[5].sum()), abs=1e-4)
    assert one.own == 0.8
    assert one.single is (flutes == 1)
    assert one.colour.tolist() == rows.colour[5].tolist()


def test_a_sample_has_lost_the_air():
    """What tells is taken as it is given, with the air taken off, say; the rest is the row's."""
    ear = Ear.for_speed(16_000, 18_000, 2)
    rows, heard = heard_in(ear)
    one, fewer = (
        sample(rows, 5, told, len(ear.telling))
        for told in (heard, heard._replace(lines=heard.lines / np.float32(10), swell=heard.swell + 3.0))
    )
    assert fewer.plain[0] == pytest.approx(one.plain[0] - 10.0, abs=1e-3)
    assert fewer.plain[3:] == pytest.approx(one.plain[3:] + 3.0)
    assert fewer.level == one.level
