"""A bit came loose, and the cut is carried on: what is said where it is tight again, and where it is not."""

import copy
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from hearing.faults import FAULTS
from hearing.onset import line_for
from hearing.programs import Job, whole_job
from hearing.shops import QUIETER, Draw, blows, chat, machine, quiet, throughout
from hearing.truth import cutting_seconds

from analysis.cutting import Bit
from analysis.events import Alarm, Checked, Event
from analysis.listener import Listener
from analysis.locate import Plan, resume_line_before
from analysis.place import SoundLocator
from analysis.program import Kind, Program, carry_on, read
from recordings_synthetic import Fault, Recording, Shop, Slip, record

RATE = 32_000
WITHIN = 10.0
"""Until when a verdict counts, s of cutting after the restart."""
LATER = 40.0
"""For how long it is heard on, s of cutting: an alarm of a bit that is tight again is a false one."""

EACH = 2
"""Seeds of a trial: it is cut with the first, and carried on with the second."""

STATES = ("tight", "half as loose as before", "as loose as before")

_SHOPS: tuple[Draw, ...] = (
    quiet,
    blows,
    machine("extractor"),
    throughout("extractor"),
    chat(QUIETER),
    machine("sander"),
)
# An abrupt slip, with enough of the same bit's cutting left to carry on with.
_KIND = replace(FAULTS[51], left=20.0)
# What a person takes to stop the cut, and to be done with the bit, s; and how loud that is.
_STOPS, _AWAY, _SILENCE = 3.0, 30.0, 1e-4
_MOST_TRIES = 50


@dataclass(frozen=True)
class Carried:
    """
    What was said once the cut went on.

    Attributes
    ----------
    state
        How the bit truly was, one of ``STATES``.
    verdict
        The last one within the time; empty when there was none.
    after
        s of cutting until the first verdict; NaN when there was none.
    alarmed
        Whether there was an alarm within the time.
    later
        How many alarms came after that, in ``heard`` s of cutting.
    """

    state: str
    verdict: str
    after: float
    alarmed: bool
    later: int
    heard: float


def trial(seed: int) -> list[Carried]:
    """Let a bit come loose in a job, and carry on three times; nothing where that is not noticed in time."""
    rng = np.random.default_rng(seed)
    job, line = _job_with_room(rng)
    shop = _SHOPS[seed // EACH % len(_SHOPS)](rng)
    slip = _KIND.make(line, rng)
    assert isinstance(slip, Slip)
    program = read(job.text, "job")
    listener = Listener(RATE, job.known, SoundLocator(Plan.of(program, job.known)))
    begins = _cut_until_stopped(listener, program, _record(program, job, seed, shop, slip))
    if begins is None:
        return []
    rest = beginning(read(carry_on(program, begins).text, "rest"), job.known)
    faults = (None, Slip.from_the_start(severity=slip.severity / 2.0), replace(slip, at=0.0, at_line=None))
    return [
        _carried(copy.deepcopy(listener), state, _record(rest, job, seed + 1, shop, fault))
        for state, fault in zip(STATES, faults, strict=True)
    ]


def _job_with_room(rng: np.random.Generator) -> tuple[Job, int]:
    for _ in range(_MOST_TRIES):
        job = whole_job(rng)
        plan = Plan.of(read(job.text, "job"), job.known)
        line = line_for(plan, _KIND, rng)
        if line is not None:
            return job, line
    raise ValueError(f"none of {_MOST_TRIES} jobs has room for {_KIND}")


def beginning(program: Program, bits: Mapping[int, Bit]) -> Program:
    """Return as much of a program as is heard, up to a way up: all of it takes long to simulate."""
    plan, moves = Plan.of(program, bits), program.moves
    done = np.cumsum(np.where(plan.cuts, plan.times.end - plan.times.begin, 0.0))
    last = np.flatnonzero((moves.kind == Kind.RETRACT) & (done >= LATER))
    if not len(last):
        return program
    lines = program.lines[: int(moves.file_line[last[0]])]
    return read("\n".join((*lines, "M5", "M30", "")), "rest")


def _record(program: Program, job: Job, seed: int, shop: Shop, fault: Fault | None) -> Recording:
    return record(program, job.bits, seed=seed, rate=RATE, shop=shop, fault=fault)


def _cut_until_stopped(listener: Listener, program: Program, cut: Recording) -> int | None:
    """
    Hear a slip until a person has stopped it and tightened the bit; return the line from which it goes on.

    ``None`` where there was an alarm before the slip, or none within the time. Where none is told that is
    safe the person looks at the work, and says from which line it goes on.
    """
    onset = cut.truth.onset
    assert onset is not None
    ends = round(min((onset + _KIND.within) * RATE, len(cut.samples)))
    heard = [event for event in _hear(listener, cut, 0, ends, until_alarm=True) if isinstance(event, Alarm)]
    if not heard or heard[0].at < onset:
        return None
    stopped = round((listener.at + _STOPS) * RATE)
    _hear(listener, cut, round(listener.at * RATE), min(stopped, len(cut.samples)))
    quiet_noise = np.random.default_rng(0).standard_normal(round(_AWAY * RATE)).astype(np.float32)
    listener.hear(np.float32(_SILENCE) * quiet_noise)
    listener.tightened()
    if listener.carries_on is not None:
        return listener.carries_on
    move = int(np.searchsorted(cut.truth.end, onset))
    begins = resume_line_before(program, move)
    if begins is None:
        return None
    listener.mark(begins.file)
    return begins.file


def _hear(
    listener: Listener, cut: Recording, first: int, last: int, *, until_alarm: bool = False
) -> list[Event]:
    events: list[Event] = []
    for begin in range(first, last, RATE // 2):
        events += listener.hear(cut.samples[begin : min(begin + RATE // 2, last)]).events
        if until_alarm and any(isinstance(event, Alarm) for event in events):
            break
    return events


def _carried(listener: Listener, state: str, cut: Recording) -> Carried:
    began = listener.at
    events = _hear(listener, cut, 0, len(cut.samples))
    said = [(cutting_seconds(cut.truth, event.at - began), event) for event in events]
    checks = [(at, event.verdict) for at, event in said if isinstance(event, Checked) and at <= WITHIN]
    alarms = [at for at, event in said if isinstance(event, Alarm)]
    return Carried(
        state=state,
        verdict=checks[-1][1] if checks else "",
        after=checks[0][0] if checks else math.nan,
        alarmed=any(at <= WITHIN for at in alarms),
        later=sum(WITHIN < at <= LATER for at in alarms),
        heard=max(min(cutting_seconds(cut.truth), LATER) - WITHIN, 0.0),
    )
