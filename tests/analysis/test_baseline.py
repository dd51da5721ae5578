"""What normal is, against numpy's medians; what is refused; and that it stays as it was learned."""

import dataclasses

import numpy as np
import pytest
from hand_made import comb, cutter, white, windows_of
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.baseline import CHANNELS, LEAST_SCALE, Baseline, Sample, Unfit, channels, learn, sample
from analysis.features import GROUPS, Ear, FeatureReader
from analysis.robust import MAD_TO_DEVIATION

PATTERN, COLOUR = CHANNELS.index("pattern"), CHANNELS.index("colour")
LINES, BANDS = 12, 10
RNG_SEEDS = st.integers(0, 2**31)
NORMAL = Sample(
    plain=np.array([-10.0, -8.0, -15.0, -12.0, -20.0]),
    lines=np.linspace(-30.0, -52.0, LINES),
    floors=np.full(LINES, -75.0),
    colour=np.linspace(-30.0, -50.0, BANDS),
    teeth=-25.0,
    speed=300.0,
)


def changed(**moved: float | NDArray[np.float64]) -> Sample:
    """The normal sample, with fields raised by so much."""
    return dataclasses.replace(NORMAL, **{name: getattr(NORMAL, name) + by for name, by in moved.items()})


def cuts(rows: int, scatter: float, seed: int) -> list[Sample]:
    """Samples of a cut that scatter, each number by itself."""
    rng = np.random.default_rng(seed)
    return [
        changed(
            plain=scatter * rng.standard_normal(5),
            lines=scatter * rng.standard_normal(LINES),
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


# Channels


def test_what_is_normal_has_moved_nowhere():
    """The normal sample itself has its plain numbers, no pattern and no lost colour."""
    assert channels(NORMAL, NORMAL).tolist() == [*NORMAL.plain, 0.0, 0.0]
    assert len(CHANNELS) == len(LEAST_SCALE) == 7


@given(st.floats(-20, 20), st.floats(-20, 20))
def test_louder_is_not_another_pattern(gain: float, raised: float):
    """A change that all lines share moves no line against another; so for a rise of all bands together."""
    moved = channels(changed(lines=gain, floors=gain, colour=raised), NORMAL)
    assert moved[PATTERN] == pytest.approx(0.0, abs=1e-9)
    assert moved[COLOUR] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("count", "by"), [(1, 6.0), (3, 6.0), (5, -4.0), (5, 10.0)])
def test_pattern_is_the_mean_move_against_the_others(count: int, by: float):
    """When k of m lines move by d dB, the pattern moves by d k / m."""
    moved = np.where(np.arange(LINES) < count, by, 0.0)
    assert channels(changed(lines=moved), NORMAL)[PATTERN] == pytest.approx(abs(by) * count / LINES)


def test_one_line_alone_cannot_move_the_pattern_far():
    """However far one line moves, it counts for 15 dB at most."""
    moved = [channels(changed(lines=np.eye(LINES)[0] * by), NORMAL)[PATTERN] for by in (10.0, 15.0, 40.0)]
    assert moved == pytest.approx([10.0 / LINES, 15.0 / LINES, 15.0 / LINES])


@given(st.lists(st.floats(-60, 0), min_size=LINES, max_size=LINES))
def test_a_line_that_noise_hides_has_not_moved(below: list[float]):
    """Where noise covers the lines now, whatever lies below it moves no pattern."""
    covered = dataclasses.replace(NORMAL, lines=np.array(below) - 20.0, floors=np.full(LINES, -20.0))
    assert channels(covered, NORMAL)[PATTERN] == 0.0


def test_colour_is_twice_the_mean_fall():
    """When one of b bands falls by d dB, the colour moves by 2 d / b; when it rises, not at all."""
    one = np.eye(BANDS)[3]
    assert channels(changed(colour=-8.0 * one), NORMAL)[COLOUR] == pytest.approx(16.0 / BANDS)
    assert channels(changed(colour=8.0 * one), NORMAL)[COLOUR] == 0.0


@given(st.floats(-30, 0))
def test_a_quieter_cut_has_not_lost_colour(fall: float):
    """A fall that all bands share is a lighter cut."""
    assert channels(changed(colour=fall), NORMAL)[COLOUR] == pytest.approx(0.0, abs=1e-9)


# Learning


@settings(max_examples=30)
@given(rows=st.integers(20, 80), scatter=st.floats(0.1, 3.0), seed=RNG_SEEDS)
def test_centres_are_medians(rows: int, scatter: float, seed: int):
    """Against numpy: normal is each number's median, the centre each channel's."""
    heard = cuts(rows, scatter, seed)
    known = learned(heard)
    for field in dataclasses.fields(Sample):
        expected = np.median([getattr(one, field.name) for one in heard], axis=0)
        np.testing.assert_allclose(getattr(known.normal, field.name), expected)
    table = np.array([channels(one, known.normal) for one in heard])
    np.testing.assert_allclose(known.centre, np.median(table, axis=0))
    assert known.rows == rows


@settings(max_examples=30)
@given(rows=st.integers(20, 80), scatter=st.floats(0.1, 3.0), seed=RNG_SEEDS)
def test_scales_are_not_below_the_median_deviation(rows: int, scatter: float, seed: int):
    """No channel scatters less than its median absolute deviation, x 1.4826, nor than a cut ever does."""
    heard = cuts(rows, scatter, seed)
    known = learned(heard)
    table = np.array([channels(one, known.normal) for one in heard])
    deviation = MAD_TO_DEVIATION * np.median(np.abs(table - np.median(table, axis=0)), axis=0)
    assert np.all(known.scale >= deviation - 1e-9)
    assert np.all(known.scale >= LEAST_SCALE)


def test_scales_of_normal_values_are_their_standard_deviation():
    """Of many normal values the scale is the standard deviation."""
    known = learned(cuts(1500, 2.5, seed=1))
    assert known.scale[:5] == pytest.approx([2.5] * 5, rel=0.1)


def test_a_line_that_comes_up_now_and_then_scatters():
    """A channel that is at its least most of the time, and 10 dB up every sixth row, is no steady one."""
    heard = [changed(plain=np.array([10.0 * (i % 6 == 0), 0, 0, 0, 0])) for i in range(60)]
    assert learned(heard).scale[0] > 5.0


@settings(max_examples=30)
@given(rows=st.integers(1, 4), by=st.floats(5, 40), seed=RNG_SEEDS)
def test_a_knock_does_not_move_what_is_normal(rows: int, by: float, seed: int):
    """A knock of 0.2 s in 3 s leaves the centres within a fraction of the scatter, and the scatter small."""
    heard = cuts(60, 1.0, seed)
    knocked = [
        dataclasses.replace(one, plain=one.plain + by, lines=one.lines + by, colour=one.colour + by)
        if 20 <= i < 20 + rows
        else one
        for i, one in enumerate(heard)
    ]
    quiet, loud = learned(heard), learned(knocked)
    np.testing.assert_allclose(loud.centre, quiet.centre, atol=0.5)
    np.testing.assert_allclose(loud.normal.lines, quiet.normal.lines, atol=0.5)
    assert np.all(loud.scale < 3.0 * quiet.scale)


@pytest.mark.parametrize("scatter", [12.0, 30.0])
def test_an_unsteady_sound_is_refused_with_its_figure(scatter: float):
    """What scatters like no cut does is no baseline, and the reason tells by how much."""
    rng = np.random.default_rng(3)
    heard = [changed(plain=np.array([0, 0, 0, 0, scatter * rng.standard_normal()])) for _ in range(80)]
    refused = learn(heard)
    assert isinstance(refused, Unfit)
    figure = float(refused.because.split(" dB")[0].rsplit(" ", 1)[1])
    assert figure == pytest.approx(scatter, rel=0.3)


def test_a_sound_that_comes_and_goes_is_refused():
    """Half the rows in the cut and half of them in the air are no steady cut."""
    heard = [changed(plain=np.array([0, 0, 0, 0, -25.0 * (i // 5 % 2)])) for i in range(60)]
    assert isinstance(learn(heard), Unfit)


# Frozen


def test_a_baseline_is_frozen():
    """Neither can its parts be replaced, nor does it change with the samples that it was learned from."""
    heard = cuts(40, 1.0, seed=4)
    known = learned(heard)
    before = (known.centre.tobytes(), known.scale.tobytes(), known.normal.lines.tobytes())
    with pytest.raises(dataclasses.FrozenInstanceError):
        known.rows = 3  # type: ignore[misc]
    for one in heard:
        one.plain[:] = one.lines[:] = one.colour[:] = 99.0
    assert (known.centre.tobytes(), known.scale.tobytes(), known.normal.lines.tobytes()) == before


def test_the_samples_are_left_alone():
    """Learning reads; it changes nothing of what was heard."""
    heard = cuts(40, 1.0, seed=5)
    before = [one.plain.tobytes() + one.lines.tobytes() + one.colour.tobytes() for one in heard]
    learn(heard)
    assert [one.plain.tobytes() + one.lines.tobytes() + one.colour.tobytes() for one in heard] == before


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
    known = Baseline(60, np.zeros(7), np.ones(7), NORMAL)
    scatter = np.median(runs, axis=1).std()
    assert 0.95 * scatter < known.error(correlation)[0] < 1.4 * scatter


# From rows to samples


def test_a_sample_is_a_row():
    """A sample holds the row's numbers, and its groups as they were given: with the air taken off, say."""
    ear = Ear.for_speed(16_000, 18_000, 2)
    sound = 0.1 * comb(1.0, 16_000, 300.0, cutter(2, 0.5, lines=12)) + white(1.0, 16_000, 0.02, seed=7)
    rows = FeatureReader(ear).read(windows_of(sound, ear.size, ear.hop))
    one = sample(rows, 5, rows.groups[5])
    plain = [rows.spindle[5], rows.between[5], rows.half[5], rows.modulation[5], rows.level[5]]
    assert one.plain == pytest.approx(plain, abs=1e-4)
    assert (one.level, one.teeth, one.speed) == pytest.approx((rows.level[5], rows.tooth[5], rows.speed[5]))
    assert one.lines.tolist() == rows.lines[5].tolist()
    quieter = rows.groups[5].copy()
    quieter[GROUPS.index("spindle")] /= 10
    assert sample(rows, 5, quieter).plain[0] == pytest.approx(one.plain[0] - 10.0, abs=1e-3)
