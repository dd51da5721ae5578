"""What holds for every fault."""

from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from setting import setting, unfolded
from simulated import BIT, CUT, FAILS, RATE, SEED, cut_with

from analysis.program import read
from recordings_synthetic import (
    BrokenBit,
    Chatter,
    ChippedFlute,
    DullBit,
    Gantry,
    LooseSheet,
    Slip,
    StalledAxis,
    StoppedSpindle,
    Truth,
    record,
)
from recordings_synthetic.faults import Spell, well
from recordings_synthetic.job import BITS

CAUSES = {
    Slip(at=FAILS): "loose",
    Slip.creeping(4.0, at=FAILS): "loose",
    Slip.intermittent(0.5, 1.0, at=FAILS): "loose",
    Slip.subtle(at=FAILS): "loose",
    Chatter(at=FAILS): "chatter",
    BrokenBit(at=FAILS): "broken",
    ChippedFlute(at=FAILS): "broken",
    DullBit(at=FAILS, over=4.0): "dull",
    StalledAxis(at=FAILS): "stalled",
    StalledAxis(at=FAILS, axis="all"): "stalled",
    StoppedSpindle(at=FAILS): "spindle",
    LooseSheet(at=FAILS): "unknown",
}
every_fault = pytest.mark.parametrize("fault", CAUSES, ids=lambda fault: type(fault).__name__)
one_of_each = pytest.mark.parametrize(
    "fault", {type(fault): fault for fault in CAUSES}.values(), ids=lambda fault: type(fault).__name__
)


@pytest.mark.parametrize("make", sorted({type(fault) for fault in CAUSES}, key=str))
@pytest.mark.parametrize("when", [{}, {"at": 1.0, "at_line": 3}])
def test_a_fault_has_one_beginning(make, when):
    """A fault without a beginning, or with two, is refused."""
    with pytest.raises(ValueError, match="give one of them"):
        make(**when)


@every_fault
def test_up_to_its_onset_nothing_is_different(fault):
    """Up to the true onset the samples are those of the healthy cut; within 20 ms after it they differ."""
    well, wrong = cut_with(), cut_with(fault)
    first = np.flatnonzero(well.samples != wrong.samples)[0] / RATE
    assert wrong.truth.onset == pytest.approx(FAILS, abs=0.002)
    assert wrong.truth.onset <= first < wrong.truth.onset + 0.02


@every_fault
def test_its_sound_is_sound(fault):
    """With any fault samples are float32, finite, as many as without it, and the same for the same seed."""
    made = cut_with(fault)
    assert made.samples.dtype == np.float32
    assert np.isfinite(made.samples).all()
    assert len(made.samples) == len(cut_with().samples)
    assert cut_with.__wrapped__(fault).samples.tobytes() == made.samples.tobytes()


@every_fault
def test_the_truth_tells_it(fault):
    """The truth has the cause, half of the change between onset and end, and all of it survives JSON."""
    truth = cut_with(fault).truth
    assert truth.cause == CAUSES[fault]
    assert truth.onset <= truth.half < truth.over
    assert truth.over == pytest.approx(CUT.seconds, abs=0.01)
    again = Truth.from_json(truth.to_json())
    assert (again.cause, again.onset, again.half, again.over) == (
        truth.cause,
        truth.onset,
        truth.half,
        truth.over,
    )


def columns(trouble):
    """Every column over time of what is wrong, by name."""
    found = {}
    for entry in fields(trouble):
        value = getattr(trouble, entry.name)
        if isinstance(value, np.ndarray):
            found[entry.name] = value
        elif is_dataclass(value):
            found |= {f"{entry.name}.{name}": column for name, column in columns(value).items()}
    return found


@every_fault
def test_it_is_nothing_before_it_begins_and_when_it_is_over(fault):
    """Up to its first tick all is well, and from the bit change on as well where a new bit ends it."""
    first, last = 1000, 5000 if fault.with_bit else 9000
    found = columns(unfolded(fault, spell=Spell(first, last)))
    neutral = columns(well(9000))
    clocks = {"swing.phase", "noise.groans"}
    assert any((found[name] != neutral.get(name, 0.0)).any() for name in found)
    for name in set(found) - clocks:
        calm = 1.0 if name == "whine" else neutral.get(name, np.zeros(9000))[0]
        assert (found[name][: first + 1] == calm).all(), name
        assert (found[name][last:] == calm).all(), name


@every_fault
def test_it_grows_to_its_whole_size(fault):
    """What has grown lies between 0 and 1, and above 0 just after the first tick."""
    grown = unfolded(fault).grown
    assert grown[1001] > 0.0
    assert grown.min() == 0.0
    assert 0.0 < grown.max() <= 1.0


@every_fault
def test_its_chance_comes_from_the_seed(fault):
    """The same setting gives the same trouble."""
    one, other = (columns(fault.unfold(setting(seed=4))) for _ in range(2))
    for name, column in one.items():
        np.testing.assert_array_equal(column, other[name])


def two_bits():
    """A program that cuts one slot with each of two bits."""
    slot = "S18000 M3\nG4 P.3\nG0 X0 Y{0}\nG0 Z1\nG1 Z-3 F600\nX30 F2400\nG0 Z5\nM5"
    return read(f"G21 G90\nT1 M6\nG0 Z5\n{slot.format(10)}\nT2 M6\n{slot.format(30)}\nM2\n")


@one_of_each
def test_a_new_bit_ends_what_belongs_to_the_bit(fault):
    """What belongs to the bit is over when it is changed; what is wrong with machine or sheet is not."""
    program, bit = two_bits(), {1: BIT, 2: BIT}
    line = next(i for i, words in enumerate(program.lines, start=1) if words == "X30 F2400")
    fault, brisk = replace(fault, at=None, at_line=line), Gantry(lead=(0.3, 0.5), stop=(0.3, 0.5))
    truth = record(program, bit, seed=1, rate=8000, fault=fault, machine=brisk).truth
    change = truth.begin[np.flatnonzero(truth.file_line == program.lines.index("T2 M6") + 1)[0]]
    assert truth.onset_line == line
    if fault.with_bit:
        assert truth.over == pytest.approx(change, abs=0.01)
    else:
        assert truth.over > truth.end[-1]


@pytest.mark.parametrize("make", [Chatter, StalledAxis])
def test_what_needs_a_cut_sideways_is_refused_without_one(make):
    """Chatter and a stalled axis have no onset in a program that only drills."""
    program = read("G21 G90\nT1 M6\nS18000 M3\nG4 P.3\nG0 Z2\nG1 Z-3 F600\nG0 Z5\nM5\nM2\n")
    with pytest.raises(ValueError, match="nothing is cut sideways"):
        record(program, {1: BIT}, seed=1, rate=8000, fault=make(at=0.0))


@every_fault
def test_in_the_air_it_waits_for_the_next_cut(fault):
    """A fault that is asked for before the cut begins has its onset where the bit first cuts."""
    early = cut_with(replace(fault, at=1.0), rate=8000).truth
    assert early.onset == pytest.approx(CUT.cut_from, abs=0.01)


@pytest.mark.slow
@one_of_each
def test_from_a_plunge_on_it_is_heard_from_its_onset_on(fault, outline, healthy):
    """Asked for on the line that goes down, it begins there or just after; the sound differs from then on."""
    line = next(i for i, words in enumerate(outline.lines, start=1) if "G1 Z-4.6" in words)
    made = record(outline, BITS, seed=SEED, rate=RATE, fault=replace(fault, at=None, at_line=line))
    plunge = np.flatnonzero(made.truth.file_line == line)[0]
    first = np.flatnonzero(made.samples != healthy.samples)[0] / RATE
    assert made.truth.begin[plunge] <= made.truth.onset <= made.truth.end[plunge] + 0.1
    assert made.truth.onset <= first < made.truth.onset + 0.02
    assert made.truth.half >= made.truth.onset
    assert made.truth.spoiled == ("part 1",)
