"""One run: simulated, heard, followed by sound and by the clock, and compared with the truth."""

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from hearing.programs import Job
from numpy.typing import NDArray

from analysis.cutting import Bit
from analysis.events import Place
from analysis.listener import Listener
from analysis.locate import Plan
from analysis.place import SoundLocator
from analysis.presence import Phase
from analysis.program import Program, read
from analysis.which_bit import Fit
from placing.cases import SHOPS, Case
from placing.clock import ClockLocator
from recordings_synthetic import Recording, Truth, record

RATE = 32_000
# The place is asked for so often, s, and so long after the moment it is asked of: as an alarm does.
_OFTEN, _AFTER = 0.5, 1.5

Floats = NDArray[np.float64]


class Follows(Protocol):
    """What follows the place."""

    def row(self, at: float, phase: Phase, level: float, bits: Mapping[int, Fit]) -> None:
        """Take in a row."""

    def place(self, at: float) -> Place | None:
        """Return where ``at`` was."""


@dataclass(frozen=True, eq=False)
class Heard:
    """Rows of a recording, as a locator is told them, and the processor seconds for a second of sound."""

    rows: list[tuple[float, Phase, float, Mapping[int, Fit]]]
    took: float


class Noting(SoundLocator):
    """Follows the place as live hearing does, and notes what it was told, and the time it took."""

    def __init__(self, plan: Plan) -> None:
        super().__init__(plan)
        self.rows: list[tuple[float, Phase, float, Mapping[int, Fit]]] = []
        self.took = 0.0

    def row(self, at: float, phase: Phase, level: float = math.nan, bits: Mapping[int, Fit] = {}) -> None:
        """Take in a row, and note it."""
        started = time.process_time()
        super().row(at, phase, level, bits)
        self.took += time.process_time() - started
        # They are only heard while they are asked for: later rows take their place.
        self.rows.append((at, phase, level, dict(bits)))


@dataclass(frozen=True, eq=False)
class Followed:
    """
    How well the place was known at n moments with a turning spindle, from the end of the first cut on.

    Attributes
    ----------
    asked
        n.
    off
        (k,) s from each moment that had a place to the nearest one in which that line was run.
    holds
        (k,) whether the interval of lines held the true one.
    lines
        (k,) how many lines the interval had.
    late
        (k,) whether the interval's earliest line was after the true one: it would be resumed too late.
    took
        Processor seconds for a second of sound.
    """

    asked: int
    off: Floats
    holds: NDArray[np.bool_]
    lines: NDArray[np.intp]
    late: NDArray[np.bool_]
    took: float


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a case: by sound, by the clock, and what hearing without either took, as ``took``."""

    case: Case
    sound: Followed
    clock: Followed
    took: float


@dataclass(frozen=True, eq=False)
class Run:
    """A case that was cut and heard, from ``begin`` s on."""

    heard: Heard
    truth: Truth
    plan: Plan
    begin: float


def follow(case: Case) -> Outcome:
    """Return what comes of a case."""
    run = run_of(case)
    sound, clock = (followed(by(run.plan), run) for by in (SoundLocator, ClockLocator))
    return Outcome(case, sound, clock, run.heard.took)


def run_of(case: Case) -> Run:
    """Cut a case in simulation and hear it."""
    rng = np.random.default_rng(case.seed)
    job = case.condition.job(rng)
    shop, machine = SHOPS[case.shop](rng), case.condition.machine(rng)
    program = read(job.text, "job")
    recording = record(program, job.bits, seed=case.seed, rate=RATE, shop=shop, machine=machine)
    begin = round(rng.uniform(*case.condition.late) * len(recording.samples) / RATE, 3)
    plan = _plan(job)
    return Run(_hear(recording, plan, job.known, begin), recording.truth, plan, begin)


def _plan(job: Job) -> Plan:
    planned: Program = read(job.planned, "job")
    return Plan.of(planned, job.known)


def _hear(recording: Recording, plan: Plan, bits: dict[int, Bit], begin: float) -> Heard:
    """Return the rows of a recording that is heard from ``begin`` s on."""
    noting = Noting(plan)
    listener = Listener(RATE, bits, noting)
    samples = recording.samples[round(begin * RATE) :]
    started = time.process_time()
    for first in range(0, len(samples), RATE):
        listener.hear(samples[first : first + RATE])
    took = time.process_time() - started - noting.took
    return Heard(noting.rows, took / (len(samples) / RATE))


def followed(locator: Follows, run: Run) -> Followed:
    """Let a locator follow a run, and compare it with the truth."""
    truth = run.truth
    asked, places, took = _ask(locator, run.heard)
    moment = asked + run.begin
    here = _judged(truth, run.plan, moment, run.begin)
    known = np.array([place is not None for place in places], dtype=np.bool_)
    kept = [place for place, wanted in zip(places, here & known, strict=True) if wanted and place]
    then = moment[here & known]
    line = truth.file_line[_move_at(truth, then)]
    first, last, file = (
        np.array([getattr(place, name) for place in kept], dtype=np.intp)
        for name in ("first", "last", "file")
    )
    return Followed(
        asked=int(here.sum()),
        off=np.array([_off(truth, at, int(said)) for at, said in zip(then, file, strict=True)]),
        holds=(first <= line) & (line <= last),
        lines=last - first + 1,
        late=first > line,
        took=took,
    )


def _ask(locator: Follows, heard: Heard) -> tuple[Floats, list[Place | None], float]:
    """Let a locator follow; return moments, the place it tells of each a little later, and what it took."""
    asked, places, took = [], [], 0.0
    due = heard.rows[0][0] + _AFTER
    for at, *told in heard.rows:
        started = time.process_time()
        locator.row(at, *told)
        took += time.process_time() - started
        if at >= due:
            asked.append(at - _AFTER)
            places.append(locator.place(at - _AFTER))
            due += _OFTEN
    return np.array(asked), places, took / (heard.rows[-1][0] - heard.rows[0][0])


def _judged(truth: Truth, plan: Plan, at: Floats, begin: float) -> NDArray[np.bool_]:
    """Return at which moments the spindle turned and the first cut that was heard had ended."""
    move = _move_at(truth, at)
    turning = np.zeros(len(truth.begin) + 1, dtype=np.bool_)
    for first, last in plan.stints:
        turning[first : last + 1] = True
    cutting = np.concatenate((truth.cutting & (truth.begin >= begin), [False]))
    ends = np.flatnonzero(cutting[:-1] & ~cutting[1:])
    since = truth.end[ends[0]] if len(ends) else np.inf
    return np.asarray(turning[move] & (at > since) & (at < truth.end[-1]))


def _move_at(truth: Truth, at: Floats) -> NDArray[np.intp]:
    return np.clip(np.searchsorted(truth.begin, at, side="right") - 1, 0, len(truth.begin) - 1)


def _off(truth: Truth, at: float, line: int) -> float:
    """Return how far ``at`` is from the nearest moment in which ``line`` was run, s."""
    run = truth.file_line == line
    far = np.maximum(truth.begin[run] - at, at - truth.end[run])
    return float(np.maximum(far, 0.0).min()) if run.any() else np.inf
