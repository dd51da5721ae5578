"""The whole way of a slip: alarm, tightened, the restart program, tight again, and every line known."""

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from restarting import restart_program

from analysis.cutting import Bit
from analysis.events import Alarm, Checked, Event
from analysis.linesfed import FedLocator, Report
from analysis.listener import Listener
from analysis.locate import Plan
from analysis.place import SoundLocator
from analysis.program import read
from recordings_synthetic import Recording, Slip, record
from recordings_synthetic.job import BITS, seedling_trays
from recordings_synthetic.make import BRISK

RATE = 24_000
KNOWN: dict[int, Bit] = {0: BITS[1], **BITS}
JOB = seedling_trays()
PROGRAM = read(JOB, "seedling trays")
SLIPS = 312
# A bit that is so little loose is in doubt beside its good sound.
SLIGHT = 0.11


def heard(listener: Listener, sound: NDArray[np.float32]) -> list[Event]:
    """What is said of a sound that comes in blocks of a tenth of a second, up to the first alarm."""
    events: list[Event] = []
    for first in range(0, len(sound), RATE // 10):
        events += listener.hear(sound[first : first + RATE // 10]).events
        if any(isinstance(event, Alarm) for event in events):
            break
    return events


@cache
def cut(text: str, seed: int, fault: Slip | None = None) -> Recording:
    """A simulated recording of the demo job, or of the rest of it; made once, and not to be changed."""
    sound = record(read(text, "cut"), BITS, seed=seed, rate=RATE, fault=fault, machine=BRISK)
    sound.samples.flags.writeable = False
    return sound


@pytest.mark.slow
@pytest.mark.parametrize("fed", [False, True], ids=["by sound", "with lines of the restart program"])
def test_tightened_and_carried_on(*, fed: bool):
    """
    After the alarm the person tightens, says so, and runs the restart program.

    The first seconds are found tight against the good sound from before; and although the restart program is
    another file, its lines are known as those of the original, since it begins at the resume line, also where
    a controller names them, 20 lines ahead.
    """
    plan = Plan.of(PROGRAM, KNOWN)
    locator = FedLocator(SoundLocator(plan), plan, 20)
    listener = Listener(RATE, KNOWN, locator)
    alarm = next(
        e for e in heard(listener, cut(JOB, 7, Slip(SLIPS, severity=0.5)).samples) if isinstance(e, Alarm)
    )
    assert alarm.resume is not None
    quiet = np.random.default_rng(0).standard_normal((30, RATE)).astype(np.float32)
    for second in np.float32(1e-4) * quiet:
        listener.hear(second)
    listener.tightened()
    rest = restart_program(PROGRAM, alarm.resume.file)
    moved = len(PROGRAM.lines) - len(rest.splitlines())
    again = cut(rest, 9)
    began = listener.at
    held, events = [], []
    for first in range(0, len(again.samples), RATE):
        if fed:
            now = int(np.searchsorted(again.truth.begin, first / RATE, side="right")) - 1
            read_to = min(int(again.truth.file_line[max(now, 0)]) + 20, len(rest.splitlines()))
            locator.report(Report(began + first / RATE, read_to, None))
        events += listener.hear(again.samples[first : first + RATE]).events
        then = listener.at - began - 0.5
        index = int(np.searchsorted(again.truth.begin, then, side="right")) - 1
        place = listener.locator.place(listener.at - 0.5)
        if again.truth.cutting[index]:
            line = int(again.truth.file_line[index]) + moved
            held.append(place is not None and place.first <= line <= place.last)
    assert [event.verdict for event in events if isinstance(event, Checked)] == ["tight"]
    assert not [event for event in events if isinstance(event, Alarm)]
    assert len(held) > 50
    assert np.mean(held) >= 0.95


@pytest.mark.slow
def test_a_doubt_that_was_nothing_leaves_what_the_alarm_spoiled():
    """
    Tightened badly, the bit is in doubt, and the person says that this is nothing.

    The alarm before was none the less one: what it spoiled is suspect. What was cut since is as heard.
    """
    listener = Listener(RATE, KNOWN, SoundLocator(Plan.of(PROGRAM, KNOWN)))
    alarm = next(
        e for e in heard(listener, cut(JOB, 7, Slip(SLIPS, severity=0.5)).samples) if isinstance(e, Alarm)
    )
    assert alarm.resume is not None
    quiet = np.random.default_rng(0).standard_normal((30, RATE)).astype(np.float32)
    for second in np.float32(1e-4) * quiet:
        listener.hear(second)
    spoiled = [part for part in listener.end().parts if part.verdict == "suspect"]
    listener.tightened()
    rest = restart_program(PROGRAM, alarm.resume.file)
    slight = cut(rest, 9, Slip.from_the_start(severity=SLIGHT)).samples.copy()
    doubts = []
    for first in range(0, len(slight), RATE):
        events = listener.hear(slight[first : first + RATE]).events
        found = [event.verdict for event in events if isinstance(event, Checked)]
        doubts += found
        if "doubtful" in found:
            assert listener.nothing()
            slight[first + RATE :] = cut(rest, 9).samples[first + RATE : len(slight)]
    assert doubts == ["doubtful"]
    others = len(listener.end().parts) - len(spoiled)
    assert [part.verdict for part in listener.end().parts] == ["suspect"] * len(spoiled) + ["good"] * others
