"""The ratio of a spindle's true speed to the one that was set is learned from what is heard to cut."""

import numpy as np
import pytest
from hand_made import biting, comb, cutter, white, windows_of
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.events import Alarm
from analysis.features import Ear, FeatureReader
from analysis.listener import COLUMNS, Listener
from analysis.locate import Nowhere
from analysis.pace import UNKNOWN, Learned
from analysis.presence import Phase
from analysis.speed import SpeedGrid
from analysis.true_speed import HeardSpeed, TrueSpeed
from analysis.which_bit import WhichBit

SECONDS = 0.05
SET = (200.0, 300.0, 390.0)


def grid_of(nominal: float) -> SpeedGrid:
    """Return the speeds that are tried about one that was set, Hz."""
    return SpeedGrid(10.0, 0.85 * nominal, 1.15 * nominal, 30, 2, nominal)


def cut(true: TrueSpeed, nominal: float, frequency: float, seconds: float) -> None:
    """Let a bit be heard to cut, read as exactly as in the noise of a shop."""
    rows = round(seconds / SECONDS)
    scatter = np.random.default_rng(rows).normal(0.0, 1e-3, rows)
    true.hear(nominal, frequency * (1.0 + scatter))


def likeliest(loses: NDArray[np.float32], grid: SpeedGrid) -> float:
    """Return the speed that loses least, Hz."""
    return float(grid.frequencies[loses.argmin()])


def test_before_anything_cut_only_what_was_set_tells():
    """Nothing more is known than that a spindle is seldom far from what was set."""
    grid = grid_of(300.0)
    assert np.array_equal(TrueSpeed(SECONDS).unlikely(grid), grid.remote)


def test_where_nobody_told_a_speed_none_is_unlikely():
    """A ratio to nothing is none."""
    true = TrueSpeed(SECONDS)
    cut(true, 300.0, 310.0, 20.0)
    assert not true.unlikely(SpeedGrid(10.0, 100.0, 500.0, 8)).any()


def heard_at(*spells: tuple[float, float]) -> HeardSpeed:
    """Let a bit cut at some speeds, Hz, for so many seconds each."""
    heard = HeardSpeed(SECONDS)
    for frequency, seconds in spells:
        for scatter in np.random.default_rng(1).normal(0.0, 1e-3, round(seconds / SECONDS)):
            heard.hear(frequency * (1.0 + scatter))
    return heard


def test_a_spindle_that_has_stood_may_turn_at_any_speed():
    """After 2 s in which none is heard nothing is known, for another bit may be in it; in the air it is."""
    heard = heard_at((300.0, 60.0))
    still = round(2.0 / SECONDS)
    assert not any(heard.row(Phase.OFF, 300.0) for _ in range(still - 2))
    assert not any(heard.row(Phase.AIR, 150.0) for _ in range(10 * still))
    assert heard.speed == pytest.approx(300.0, rel=0.004)
    assert sum(heard.row(Phase.OFF, 150.0) for _ in range(2 * still)) == 1
    assert heard.speed is None
    assert not any(heard.row(Phase.CUT, 150.0) for _ in range(2 * still))
    assert heard.speed == pytest.approx(150.0, rel=0.004)


@given(st.floats(120.0, 400.0))
def test_what_has_cut_is_not_taken_for_a_part_of_it(frequency: float):
    """Half, a third and twice the speed that was heard lose 4 dB; it, and all others, nothing."""
    grid = SpeedGrid(10.0, 100.0, 500.0, 22, 2)
    loses = heard_at((frequency, 10.0)).unlikely(grid)
    times = grid.frequencies / frequency
    part = np.abs(np.log(times)[:, np.newaxis] - np.log([1 / 3, 1 / 2, 2.0, 3.0])).min(axis=1)
    assert (loses[part < 0.008] == 4.0).all()
    assert not loses[part > 0.016].any()


@pytest.mark.parametrize("spells", [[(300.0, 1.0)], [(300.0, 6.0), (250.0, 6.0), (210.0, 6.0)], []])
def test_a_speed_that_is_not_clear_tells_nothing(spells: list[tuple[float, float]]):
    """Too short, or one of several that cut for as long, or none at all."""
    heard = heard_at(*spells)
    assert heard.speed is None
    assert not heard.unlikely(SpeedGrid(10.0, 100.0, 500.0, 22, 2)).any()


@given(ratio=st.floats(0.88, 1.12), nominal=st.sampled_from(SET))
def test_what_two_settings_agree_in_is_expected_of_the_third(ratio: float, nominal: float):
    """Whatever the ratio: the likeliest speed is right within 0.5 %, and one 3 % off loses 1.5 dB."""
    true, grid = TrueSpeed(SECONDS), grid_of(nominal)
    for other in SET:
        if other != nominal:
            cut(true, other, ratio * other, 20.0)
    loses = true.unlikely(grid)
    assert likeliest(loses, grid) == pytest.approx(ratio * nominal, rel=5e-3)
    assert loses.min() == pytest.approx(0.0, abs=0.05)
    aside = np.abs(np.log(grid.frequencies / (ratio * nominal))) > 0.03
    assert loses[aside].min() > 1.5


def test_the_longer_it_was_heard_the_more_it_tells():
    """A speed that is far off loses more with every second, and never more than 3 dB."""
    lost = []
    for seconds in (0.5, 2.0, 10.0, 1000.0):
        true, grid = TrueSpeed(SECONDS), grid_of(300.0)
        cut(true, 200.0, 204.0, seconds)
        cut(true, 390.0, 398.0, seconds)
        lost.append(float(true.unlikely(grid)[-1]))
    assert np.all(np.diff(lost) >= 0.0)
    assert lost[0] < 2.2
    assert lost[-1] == pytest.approx(3.0, abs=0.01)


@given(stranger=st.floats(0.9, 1.1), seconds=st.floats(20.0, 500.0))
def test_another_machine_is_outvoted_by_what_the_settings_agree_in(stranger: float, seconds: float):
    """A saw that is heard for far longer, at a speed of its own, is at another ratio to each setting."""
    true, grid = TrueSpeed(SECONDS), grid_of(390.0)
    for nominal in (270.0, 300.0):
        cut(true, nominal, 1.02 * nominal, 20.0)
        cut(true, nominal, stranger * 285.0, seconds / 5.0)
    loses = true.unlikely(grid)
    assert likeliest(loses, grid) == pytest.approx(1.02 * 390.0, rel=5e-3)


def test_a_speed_that_was_overridden_leaves_both_ratios_likely():
    """Someone who turns the speed down for a while is not held to what was before."""
    true, grid = TrueSpeed(SECONDS), grid_of(300.0)
    for _ in range(10):
        cut(true, 300.0, 300.0, 3.0)
        cut(true, 300.0, 270.0, 3.0)
    loses = true.unlikely(grid)
    at = [loses[np.abs(grid.frequencies - frequency).argmin()] for frequency in (270.0, 300.0, 285.0)]
    assert max(at[:2]) < 1.1
    assert at[2] > max(at[:2]) + 0.5


@given(ratio=st.floats(0.88, 1.12))
def test_what_two_settings_agree_in_is_told_to_the_next_run(ratio: float):
    """It is right within 0.2 %, though for a while something else was heard at each."""
    true = TrueSpeed(SECONDS)
    for nominal in SET[:2]:
        cut(true, nominal, ratio * nominal, 20.0)
        cut(true, nominal, 230.0, 5.0)
    assert true.ratio == pytest.approx(ratio, rel=2e-3)


@pytest.mark.parametrize("before", [None, 1.03])
def test_a_short_cut_or_one_at_many_speeds_tells_the_next_run_nothing(before: float | None):
    """Then what past runs told still holds."""
    short, many = TrueSpeed(SECONDS, before), TrueSpeed(SECONDS, before)
    cut(short, 300.0, 310.0, 5.0)
    for frequency in np.linspace(265.0, 335.0, 50):
        cut(many, 300.0, float(frequency), 2.0)
    assert short.ratio == many.ratio == before


@given(ratio=st.floats(0.9, 1.1))
def test_past_runs_are_reckoned_with_from_the_first_second(ratio: float):
    """A speed within 1 % of it loses least; the run itself soon tells more, if it is another one now."""
    true, grid = TrueSpeed(SECONDS, ratio), grid_of(300.0)
    loses = true.unlikely(grid)
    assert likeliest(loses, grid) == pytest.approx(300.0 * ratio, rel=1e-2)
    assert loses.max() < 2.5
    cut(true, 300.0, 300.0 * (2.0 - ratio), 60.0)
    cut(true, 390.0, 390.0 * (2.0 - ratio), 60.0)
    assert likeliest(true.unlikely(grid), grid) == pytest.approx(300.0 * (2.0 - ratio), rel=5e-3)


@pytest.mark.parametrize("dial", [0.9, 0.95, 1.1])
@pytest.mark.parametrize("noise", [0.003, 0.03])
def test_a_spindle_that_turns_otherwise_than_ever_is_heard_all_the_same(dial: float, noise: float):
    """Someone turned the dial: a comb that stands out is read within 0.1 %, unlikely as its speed was."""
    true, ear = TrueSpeed(SECONDS), Ear.for_speed(48_000, 18_000.0, 2)
    for nominal in (200.0, 250.0, 300.0):
        cut(true, nominal, nominal, 1000.0)
    reader = FeatureReader(ear)
    reader.expect(true.unlikely(ear.grid))
    sound = comb(0.6, 48_000, dial * 300.0, cutter(2, 0.2), seed=3) + white(0.6, 48_000, noise, seed=4)
    rows = reader.read(windows_of(sound, ear.size, ear.hop))
    assert rows.speed[-1] == pytest.approx(dial * 300.0, rel=1e-3)


def test_it_is_learned_from_what_bites_alone():
    """What hisses in step with its teeth teaches how fast it turns; a comb in a steady hiss hardly does."""
    bits = {1: 18_000.0, 2: 15_000.0}
    ears = {number: Ear.for_speed(48_000, speed, 2) for number, speed in bits.items()}
    lose = {}
    for bites in (0.0, 0.9):
        which, reader = WhichBit({number: [ear] for number, ear in ears.items()}), FeatureReader(ears[1])
        sound = biting(3.0, 48_000, 306.0, 2, bites)
        which.read(reader.read(windows_of(sound, ears[1].size, ears[1].hop)), ears[1])
        which.learn()
        lose[bites] = which.unlikely(ears[1])
    grid = ears[1].grid
    there = np.abs(grid.frequencies - 306.0).argmin()
    assert lose[0.9][there] == pytest.approx(0.0, abs=0.1)
    assert lose[0.9][-1] > grid.remote[-1] + 0.6
    assert lose[0.0][-1] < grid.remote[-1] + 0.3


def test_what_a_run_learned_is_told_and_the_next_one_begins_with_it():
    """A listener tells how fast the spindle turned; one that was told so finds a faint one at once."""
    bit = Bit("6 mm", diameter=6.0, flutes=2, speed=18_000.0)
    before = Listener(48_000, {0: bit, 1: bit}, Nowhere())
    assert before.learned == UNKNOWN
    before.hear(biting(20.0, 48_000, 306.0, 2, 0.9))
    assert before.learned.turns == pytest.approx(1.02, rel=2e-3)

    class Told(Nowhere):
        learned = Learned(turns=1.02)

    after = Listener(48_000, {0: bit, 1: bit}, Told())
    faint = 0.004 * comb(2.0, 48_000, 306.0, cutter(2, 0.2), seed=5) + white(2.0, 48_000, 0.05, seed=6)
    right = {}
    for name, listener in (("told", after), ("not", Listener(48_000, {0: bit, 1: bit}, Nowhere()))):
        speed = listener.hear(faint).table[:, COLUMNS.index("speed")]
        right[name] = np.mean(np.abs(speed / 306.0 - 1.0) < 0.01)
    assert right["told"] > right["not"]
    assert after.learned == Learned(turns=1.02)


def cutting(frequency: float, seconds: float, seed: int) -> NDArray[np.float32]:
    """A tight bit of two flutes that cuts: its lines, and a hiss that swells with its teeth and each turn."""
    turns = 2.0 * np.pi * frequency * np.arange(round(24_000 * seconds)) / 24_000
    swell = 1.0 + 0.7 * np.cos(2.0 * turns) + 0.15 * np.cos(turns)
    lines = 0.03 * comb(seconds, 24_000, frequency, cutter(2, 0.25), seed)
    return (lines + white(seconds, 24_000, 0.05, seed) * np.sqrt(swell)).astype(np.float32)


def idling(frequency: float, seed: int) -> NDArray[np.float32]:
    """Three seconds of it in the air."""
    return 0.003 * comb(3.0, 24_000, frequency, cutter(2, 0.5), seed) + white(3.0, 24_000, 0.004, seed)


@pytest.mark.slow
@pytest.mark.parametrize("size", [24_000, 7001])
def test_half_the_speed_after_a_stop_is_no_loose_bit(size: int):
    """Where nobody told a speed, what turned before the spindle stood does not tell what turns after it."""
    parts = [idling(400.0, 1), cutting(400.0, 20.0, 2), idling(400.0, 3), white(4.0, 24_000, 0.0008, 4)]
    parts += [idling(200.0, 5), cutting(200.0, 8.0, 6)]
    sound, events = np.concatenate(parts), []
    listener = Listener(24_000, {0: Bit("bit", 6.0, 2)}, Nowhere())
    for first in range(0, len(sound), size):
        events += listener.hear(sound[first : first + size]).events
    assert not [event for event in events if isinstance(event, Alarm)]
    assert listener.speed == pytest.approx(200.0, rel=2e-3)
