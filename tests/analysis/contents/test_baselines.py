"""Where a bit's sound is learned: by the program alone, and as the watcher then really does it."""

import numpy as np
import pytest

from analysis.contents import Learned, Tool, Unlearned, contents_of
from analysis.contents.baselines import baseline_of
from analysis.cut import FAMILIES
from analysis.cutting import Bit
from analysis.features import Ear
from analysis.listener import Listener
from analysis.locate import KINDS, Plan
from analysis.place import SoundLocator
from analysis.program import read
from analysis.watcher import Settings
from recordings_synthetic import record
from recordings_synthetic.job import BITS, seedling_trays

SIX = {0: Bit("six", 6.0, 2, 18_000.0)}
HEAD = "G21 G90\nT1 M6\nS18000 M3\nG4 P2\nG0 Z5\nG0 X0 Y0\n"
HOP = Ear.for_speed(48_000, 18_000.0, 2).seconds


def found(text: str, number: int = 1, hop: float = HOP) -> Learned | Unlearned:
    """Where a bit of a program is learned."""
    return baseline_of(Plan.of(read(text), SIX), number, hop)


def slots(*lengths: float) -> str:
    """Slots of some lengths beside one another, at 40 mm/s, from rest to rest."""
    lines = [
        f"G0 Z5\nG0 X0 Y{20 * at}\nG1 Z-3 F600\nG4 P1\nG1 X{length} F2400\nG4 P1"
        for at, length in enumerate(lengths)
    ]
    return "\n".join([HEAD, *lines, "G0 Z5", "M30"])


def kind_of(*cuts: str) -> str:
    """Which family is learned first where cuts follow one another."""
    learned = found("\n".join([HEAD, *cuts, "G0 Z5", "M30"]))
    assert isinstance(learned, Learned)
    return learned.kind


def lasting(length: float) -> float:
    """Seconds of a way at 40 mm/s, from rest to rest at 500 mm/s² (trapezoid)."""
    return length / 40 + 40 / 500


def test_a_long_slot_is_learned_in_its_first_seconds():
    """The baseline is complete three seconds of one family after the first window that holds no air."""
    text = slots(400)
    learned = found(text)
    assert isinstance(learned, Learned)
    assert learned.kind == "across"
    assert learned.first == learned.last
    assert learned.done == pytest.approx(learned.begins + Settings().learn, abs=1e-5)
    # The spindle waits 2 s, the bit comes down, 5 mm at 40 mm/s and 8 mm at 10 mm/s, and waits 1 s.
    assert learned.begins == pytest.approx(2 + 5 / 40 + 40 / 500 + 8 / 10 + 10 / 500 + 1 + HOP, abs=1e-5)


def test_short_slots_are_learned_one_after_the_other():
    """What each lacks at its beginning and end is not learned from, so four of a second do, three do not."""
    inner = lasting(40) - 2 * HOP
    wanted = int(np.ceil(Settings().learn / inner))
    assert wanted == 4
    learned = found(slots(*[40] * 6))
    assert isinstance(learned, Learned)
    lines = read(slots(*[40] * 6)).moves.file_line
    assert (lines[learned.first], lines[learned.last]) == (12, 12 + 6 * (wanted - 1))
    assert isinstance(found(slots(*[40] * (wanted - 1))), Unlearned)


def test_the_family_that_is_full_first_is_told():
    """Of drilling and cutting across, the one whose seconds are full first is told."""
    drill = "G0 Z5\nG0 X0 Y50\nG1 Z-60 F600"
    slot = "G0 Z5\nG0 X0 Y0\nG1 Z-3 F600\nG1 X200 F2400"
    assert {kind_of(drill, slot), kind_of(slot, drill)} == set(FAMILIES)
    assert kind_of(drill, slot) == "down"


def test_all_cuts_across_are_one_family():
    """Slots, wide cuts and narrow ones are learned together: none of them alone has lasted long enough."""
    # A slot, a way back that takes half the width, and one that takes a sixth, 1.6 s each.
    ways = "G1 X60 F2400\nY3\nX0\nY4\nX60"
    text = f"{HEAD}G1 Z-3 F600\n{ways}\nG0 Z5\nM30"
    plan = Plan.of(read(text), SIX)
    lasting = (plan.times.end - plan.times.begin)[plan.cuts]
    kinds = plan.kinds[plan.cuts]
    assert {KINDS[kind] for kind in kinds} == {"down", "slot", "wide", "narrow"}
    assert max(lasting[kinds == kind].sum() for kind in set(kinds)) < Settings().learn
    learned = found(text)
    assert isinstance(learned, Learned)
    assert learned.kind == "across"


def test_pecks_that_are_too_short_are_no_baseline():
    """Drilled holes that are through in a moment cannot be learned from, and the reason has the numbers."""
    missing = found(f"{HEAD}G83 X10 Y10 Z-3 R1 Q1 F1200\nX30\nX50\nG80\nM30")
    assert isinstance(missing, Unlearned)
    assert "can't be watched against a baseline" in missing.because
    assert "and 3 s are needed" in missing.because


def test_a_bit_that_cuts_nothing_is_not_learned():
    """Nothing cut, nothing learned."""
    missing = found(f"{HEAD}G0 X50\nT2 M6\nM3\nG1 Z-3 F600\nX90 F900\nM30")
    assert missing == Unlearned("it cuts nothing")


@pytest.mark.parametrize("start", ["M3", ""])
def test_a_spindle_that_has_no_speed_or_is_never_started_is_learned_on_the_same_lines(start: str):
    """The sound tells how fast it turns, and when, where a person switches it."""
    told, unsaid = found(slots(400)), found(slots(400).replace("S18000 M3", start))
    assert isinstance(told, Learned)
    assert isinstance(unsaid, Learned)
    assert (unsaid.kind, unsaid.first, unsaid.last) == (told.kind, told.first, told.last)


def test_a_bit_whose_spindle_is_not_started_is_not_expected():
    """Where other bits turn, one that the program does not start has no baseline."""
    text = slots(400).replace("M30", "M5\nT2 M6\nG0 X0 Y90\nG1 Z-3 F600\nX400 F2400\nM30")
    assert isinstance(found(text, 1), Learned)
    missing = found(text, 2)
    assert isinstance(missing, Unlearned)
    assert "does not start the spindle for it" in missing.because


def test_learning_goes_on_when_the_bit_comes_back():
    """A bit that is changed out and in again goes on learning, by the time that it has turned itself."""
    half = slots(80).replace("M30", "M5")
    other = "T2 M6\nM3\nG0 X0 Y60\nG1 Z-3 F600\nX200 F2400\nG0 Z5\nM5\n"
    again = "T1 M6\nM3\nG0 X0 Y90\nG1 Z-3 F600\nG4 P1\nG1 X80 F2400\nG0 Z5\nM30"
    learned = found(f"{half}\n{other}{again}")
    assert isinstance(learned, Learned)
    moves = read(f"{half}\n{other}{again}").moves
    assert moves.bit[learned.first] == moves.bit[learned.last] == 1
    assert learned.last - learned.first > 10
    # The seven seconds of the other bit are not among them.
    assert learned.done - learned.begins < 10.0


def test_slow_spindles_have_longer_windows_and_lose_more():
    """At 8000 rpm a window is 30 turns long, and what is left out at the ends grows with it."""
    slow = Ear.for_speed(48_000, 8000.0, 2).seconds
    assert slow > HOP
    fast, late = found(slots(*[40] * 12)), found(slots(*[40] * 12), hop=2 * HOP)
    assert isinstance(fast, Learned)
    assert isinstance(late, Learned)
    assert late.done > fast.done


@pytest.mark.slow
def test_the_watcher_learns_where_the_plan_says():
    """On the simulated demo job the watcher has its first baseline of each bit within 4 s of the plan's."""
    program = read(seedling_trays(), "seedling_trays.ngc")
    told = contents_of(program, {0: Tool(BITS[1]), **{n: Tool(bit) for n, bit in BITS.items()}})
    heard = record(program, BITS, seed=7001, rate=32_000)
    plan = Plan.of(program, BITS)
    listener = Listener(heard.rate, {0: BITS[1], **BITS}, SoundLocator(plan))
    lines: dict[int, tuple[str, int]] = {}
    for begin in range(0, len(heard.samples), 3200):
        listener.hear(heard.samples[begin : begin + 3200])
        for bit, kind in listener.watcher.baselines:
            if bit not in lines:
                place = listener.locator.place(listener.at)
                assert place is not None
                lines[bit] = (kind, place.file)
    assert lines.keys() == {1, 2, 3}
    for use in told.bits:
        assert isinstance(use.baseline, Learned)
        kind, line = lines[use.number]
        assert kind == use.baseline.kind
        at = plan.times.end[np.flatnonzero(program.moves.file_line == line)[-1]]
        assert plan.times.end[use.baseline.last] == pytest.approx(at, abs=4.0)
