"""Whole recordings: sound and truth together."""

import numpy as np
import pytest
from simulated import BIT, RATE, SEED, cut_with, late, level, peak_near, swell

from analysis.cutting import tooth_pass_frequency
from analysis.program import cutting, find_parts, read
from recordings_synthetic import (
    Gantry,
    Microphone,
    Shop,
    ShopSound,
    Slip,
    Spindle,
    Straight,
    Truth,
    record,
    steady,
)
from recordings_synthetic.job import BITS, seedling_trays

SLIP = Slip(at=5.0, severity=0.5)
SLIGHT = Slip(at=5.0, severity=0.15)


@pytest.fixture(scope="module")
def plain():
    """A straight slot without a fault, with a moderate and with a slight slip at 5 s."""
    return {slip: cut_with(slip) for slip in (None, SLIP, SLIGHT)}


def test_the_same_seed_gives_the_same_samples(outline, healthy):
    """The same arguments give the same recording to the byte; another seed gives another."""
    again = record(outline, BITS, seed=SEED, rate=RATE)
    other = record(outline, BITS, seed=SEED + 1, rate=RATE)
    assert again.samples.tobytes() == healthy.samples.tobytes()
    assert again.truth.to_json() == healthy.truth.to_json()
    assert other.samples.tobytes() != healthy.samples.tobytes()


@pytest.mark.parametrize("rate", [8000, 22050, 44100, 48000])
def test_samples_are_sound(rate):
    """At any sample rate samples are float32, finite and below full scale, and last as long as asked."""
    made = steady(BIT, seed=1, rate=rate, cut=Straight(seconds=4.0, cut_from=2.0), fault=Slip(at=2.5))
    assert made.samples.dtype == np.float32
    assert np.isfinite(made.samples).all()
    assert 0.05 < np.abs(made.samples).max() < 1.0
    assert len(made.samples) / rate == pytest.approx(4.0, abs=0.002)


def test_the_onset_is_where_the_sound_begins_to_differ(healthy, slipped):
    """Up to the true onset the samples are those of the healthy run; within 5 ms after it they differ."""
    different = np.flatnonzero(healthy.samples != slipped.samples)
    first = different[0] / RATE
    assert slipped.truth.onset <= first < slipped.truth.onset + 0.005


def test_the_truth_names_the_line_and_the_part(outline, slipped, slipped_line):
    """A slip given by its line has its onset in that line, and the part cut after it is spoiled."""
    truth = slipped.truth
    during = (truth.begin <= truth.onset) & (truth.onset <= truth.end)
    assert slipped_line in truth.file_line[during]
    assert truth.onset_line == slipped_line
    assert truth.spoiled == tuple(part.name for part in find_parts(outline))


def test_a_healthy_run_has_no_onset(healthy):
    """Without a slip there is no onset and nothing is spoiled."""
    assert (healthy.truth.onset, healthy.truth.onset_line, healthy.truth.spoiled) == (None, None, ())


def test_a_slip_in_the_air_is_heard_from_the_next_cut(outline, healthy):
    """A bit that slips before it cuts has its onset where it first meets the wood."""
    early = record(outline, BITS, seed=SEED, rate=RATE, fault=Slip(at=0.5)).truth
    first = np.flatnonzero(healthy.truth.cutting)[0]
    assert healthy.truth.begin[first] <= early.onset <= healthy.truth.end[first]


def test_a_part_cut_before_the_slip_or_with_the_next_bit_is_not_spoiled():
    """Only what the loose bit cut is spoiled: not what was done before, not what the next bit does."""
    holes = [f"G0 X{x} Y20\nG1 Z-3 F600\nX{x + 8} F2400\nY28\nX{x}\nY20\nG0 Z5" for x in (20, 60, 100)]
    text = "G21 G90\nT1 M6\nS18000 M3\nG4 P1\nG0 Z5\n{}\n{}\nM5\nT2 M6\nS18000 M3\nG4 P1\n{}\nM2\n".format(
        *holes
    )
    program = read(text)
    bits = {1: BIT, 2: BIT}
    names = [part.name for part in find_parts(program)]
    assert len(names) == 3
    line = next(i for i, word in enumerate(program.lines, start=1) if word == "X68 F2400")
    truth = record(program, bits, seed=2, rate=8000, fault=Slip(at_line=line)).truth
    assert truth.spoiled == (names[1],)


def test_times_of_the_moves_are_in_order(outline, healthy):
    """Each move begins when the one before it ends, inside the recording, with the program's lines."""
    truth = healthy.truth
    np.testing.assert_allclose(truth.begin[1:], truth.end[:-1])
    assert truth.begin[0] > 0.0
    assert truth.end[-1] < len(healthy.samples) / RATE
    np.testing.assert_array_equal(truth.file_line, outline.moves.file_line)
    np.testing.assert_array_equal(truth.word, outline.moves.word)


def test_every_cutting_move_is_louder_than_air(healthy):
    """Each move that cuts for a tenth of a second is at least 3 dB above the loudest move through air."""
    truth, loud = healthy.truth, {True: [], False: []}
    turning = truth.spindle[0]
    for begin, end, cuts in zip(truth.begin, truth.end, truth.cutting, strict=True):
        if end - begin > 0.1 and turning.on < begin < turning.off:
            loud[bool(cuts)].append(level(healthy.samples[round(begin * RATE) : round(end * RATE)]))
    assert len(loud[True]) >= 8
    assert min(loud[True]) > max(loud[False]) + 3.0


def test_the_truth_survives_json(slipped):
    """Written as JSON and read again, the truth is the same, and it says that it is invented."""
    text = slipped.truth.to_json()
    again = Truth.from_json(text)
    assert '"invented": true' in text
    assert again.to_json() == text
    np.testing.assert_allclose(again.begin, slipped.truth.begin, atol=1e-6)
    assert again.spindle == slipped.truth.spindle
    assert again.onset == slipped.truth.onset


def test_the_spindle_turned_as_the_truth_says(plain):
    """The strongest line near tooth-pass is at z n / 60 of the true speed (common practice)."""
    turning = plain[None].truth.spindle[0]
    wanted = tooth_pass_frequency(turning.speed, BIT.flutes)
    frequency, _, _ = peak_near(plain[None].samples[4 * RATE :], wanted, 12.0)
    assert frequency == pytest.approx(wanted, abs=1.0)
    assert (turning.on, turning.bit) == (pytest.approx(0.2, abs=0.01), 1)


def test_the_spindle_is_audible_before_the_cut(plain):
    """With the spindle on and nothing cut its line stands at least 10 dB out of its surroundings."""
    frequency = plain[None].truth.spindle[0].speed / 60.0
    _, _, above = peak_near(plain[None].samples[round(2.2 * RATE) : 3 * RATE - 50], frequency, 6.0)
    assert above > 10.0


def test_half_orders_appear_with_the_fault_only(plain):
    """At 1/2 and 3/2 of the spindle's frequency nothing stands out until the bit rocks in its collet."""
    turn = plain[None].truth.spindle[0].speed / 60.0
    for order in (0.5, 1.5):
        assert peak_near(late(plain[None]), order * turn, 3.0)[2] < 5.0
        assert peak_near(late(plain[SLIP]), order * turn, 3.0)[2] > 10.0


def test_a_slip_raises_the_spindle_line_more_than_tooth_pass():
    """
    A moderate slip raises the spindle's line by 5 to 13 dB, a slight one by 1 to 6; tooth-pass by less.

    By how much depends on where the slip happens to point against the runout that was there before, so this
    is the median of five seeds.
    """
    rises = []
    for seed in range(5):
        made = [cut_with(slip, seed=seed) for slip in (None, SLIGHT, SLIP)]
        turn = made[0].truth.spindle[0].speed / 60.0
        lines = np.array([[peak_near(late(one), order * turn, 3.0)[1] for order in (1, 2)] for one in made])
        rises.append(lines[1:] - lines[0])
    slight, moderate = np.median(rises, axis=0)
    assert 1.0 < slight[0] < 6.0
    assert 5.0 < moderate[0] < 13.0
    assert slight[1] < slight[0] - 0.5
    assert moderate[1] < moderate[0] - 0.5


def test_a_slip_pulls_the_bit_out_and_gets_louder(plain):
    """The cut gets deeper, so its level rises, more with a worse slip."""
    quiet, slight, moderate = (level(late(plain[which])[-2 * RATE :]) for which in (None, SLIGHT, SLIP))
    assert quiet < slight < moderate
    assert moderate - quiet > 1.5


def test_a_slip_modulates_the_noise_once_a_turn(plain):
    """Between 2.5 and 6 kHz the noise's envelope follows the spindle more after the slip than before."""
    turn = plain[None].truth.spindle[0].speed / 60.0
    assert swell(late(plain[SLIP]), turn) > 1.5 * swell(late(plain[None]), turn)


def test_a_slot_is_louder_than_a_side_cut():
    """A slot of the bit's full width is louder than a cut of a quarter of it, climb or conventional."""

    def loud(**how):
        cut = Straight(seconds=5.0, cut_from=3.0, **how)
        # Against the idle spindle: the gain is set by each recording's own loudest cut.
        made = steady(BIT, seed=3, rate=RATE, cut=cut)
        idle, cutting = made.samples[2 * RATE : 3 * RATE - 50], made.samples[round(3.2 * RATE) :]
        return level(cutting) - level(idle)

    slot = loud()
    assert slot > loud(width=1.5, climb=True) + 1.0
    assert slot > loud(width=1.5, climb=False) + 1.0


def test_an_unregulated_spindle_slows_in_the_cut():
    """Without regulation the tooth-pass line falls when the cut begins."""
    spindle = Spindle(off=0.0, wandering=0.0, droop=0.05)
    made = steady(
        BIT, seed=3, rate=RATE, cut=Straight(seconds=6.0, cut_from=3.0), machine=Gantry(spindle=spindle)
    )
    assert made.truth.spindle[0].speed < 18000.0 * 0.995
    frequency, _, _ = peak_near(made.samples[4 * RATE :], 2 * made.truth.spindle[0].speed / 60.0, 10.0)
    assert frequency < 599.0


def test_other_sounds_leave_the_machine_as_it_was(outline, healthy):
    """A collector that switches on changes nothing before it, and the truth not at all."""
    shop = Shop(sounds=(ShopSound("collector", begin=9.0, level=-30.0),))
    noisy = record(outline, BITS, seed=SEED, rate=RATE, shop=shop)
    assert noisy.samples[: 9 * RATE].tobytes() == healthy.samples[: 9 * RATE].tobytes()
    assert noisy.samples[9 * RATE :].tobytes() != healthy.samples[9 * RATE :].tobytes()
    assert noisy.truth.to_json() == healthy.truth.to_json()


@pytest.mark.slow
def test_the_whole_demo_job():
    """In the demo job the program's cutting moves cut, and a slip spoils its part and those after it."""
    program = read(seedling_trays(), "job")
    parts = find_parts(program)
    line = program.lines.index("(tray 2: outline)") + 14
    healthy, slipped = (record(program, BITS, seed=3, fault=slip) for slip in (None, Slip(at_line=line)))
    np.testing.assert_array_equal(healthy.truth.cutting, cutting(program.moves, program.top))
    assert 180.0 < len(healthy.samples) / 48000 < 300.0
    assert np.abs(slipped.samples).max() < 1.0
    different = np.flatnonzero(healthy.samples != slipped.samples)[0] / 48000
    assert slipped.truth.onset <= different < slipped.truth.onset + 0.005
    after = [part.name for part in parts if part.last_line >= line]
    assert slipped.truth.spoiled == tuple(after)


def test_it_clips_when_asked():
    """A microphone set far too loud clips."""
    shop = Shop(microphone=Microphone(level=3.0))
    made = steady(BIT, seed=1, rate=8000, cut=Straight(seconds=4.0, cut_from=2.0), shop=shop)
    assert np.count_nonzero(made.samples == -1.0) > 10


def test_what_cannot_be_is_refused(outline):
    """A bit that nobody described, a line where nothing moves, a slip after all cutting: each is refused."""
    with pytest.raises(ValueError, match="T3"):
        record(outline, {1: BIT}, seed=1, rate=8000)
    with pytest.raises(ValueError, match="at_line=2"):
        record(outline, BITS, seed=1, rate=8000, fault=Slip(at_line=2))
    with pytest.raises(ValueError, match="nothing is cut"):
        record(outline, BITS, seed=1, rate=8000, fault=Slip(at=1e4))


def test_a_program_without_a_cut_can_be_heard():
    """A program that only turns the spindle gives its sound, quieter than a cut would be."""
    program = read("G21 G90\nT1 M6\nS18000 M3\nG4 P2\nG0 X10\nM5\nM2\n")
    made = record(program, {1: BIT}, seed=1, rate=8000)
    assert not made.truth.cutting.any()
    assert 0.01 < np.abs(made.samples).max() < 0.3
