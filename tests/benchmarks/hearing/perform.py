"""A case becomes outcomes: the run is simulated, and heard by chipsong and by its rivals."""

import math
import time
import traceback
from dataclasses import replace
from functools import lru_cache

import numpy as np

from analysis.locate import Plan
from analysis.program import Program, read
from hearing import cepstra, rivals
from hearing.cases import Case, condition_of, fault_of
from hearing.conditions import Condition
from hearing.episodes import Series
from hearing.faults import FAULTS, FaultKind
from hearing.hearing import Heard, hear
from hearing.onset import line_for
from hearing.outcome import Fate, Outcome, Said
from hearing.programs import Job
from hearing.truth import cutting_at, cutting_seconds, is_cutting
from recordings_synthetic import Fault, Recording, Shop, Truth, record

RATE = 32_000
# What is heard of a fault after the time within which it must be said, s.
_AFTER = 2.0
# The level is compared over so many seconds of what is cut after a fault's onset.
_LEVEL = 10.0
_MOST_TRIES = 50


def perform(case: Case) -> list[Outcome]:
    """Return what comes of a case: of the run without its fault and, if it has one, of the run with it."""
    try:
        return _perform(case)
    except Exception:  # noqa: BLE001 - one run that fails is told in the report and must not end all others
        why = traceback.format_exc(limit=-3)
        return [Outcome(case.name, case.condition, case.fault, failed=why)]


def _perform(case: Case) -> list[Outcome]:
    began = time.process_time()
    found = _heard(case)
    took = (time.process_time() - began) / len(found)
    return [replace(outcome, took=round(took, 2)) for outcome in found]


def _heard(case: Case) -> list[Outcome]:
    rng = np.random.default_rng(case.seed)
    condition, kind = condition_of(case), fault_of(case)
    job = _job_with_room(condition, kind, rng)
    shop = condition.shop(rng)
    well = _cut(job, case.seed, shop)
    found = [_outcome(case, job, well, well=well.truth)]
    if kind is not None:
        wrong = _gone_wrong(case, job, shop, rng)
        until = _until(kind, wrong.truth)
        found.append(_outcome(case, job, wrong, well=well.truth, fate=_fate(kind, well, wrong), until=until))
    return found


def _job_with_room(condition: Condition, kind: FaultKind | None, rng: np.random.Generator) -> Job:
    """Return a job, drawn until one has room for the fault."""
    for _ in range(_MOST_TRIES):
        job = condition.job(rng)
        if kind is None or line_for(_plan_of(job), kind, np.random.default_rng(0)) is not None:
            return job
    raise ValueError(f"none of {_MOST_TRIES} jobs has room for {kind}")


def _gone_wrong(case: Case, job: Job, shop: Shop, rng: np.random.Generator) -> Recording:
    """Return the run with its fault, on a line that is drawn until the fault can show itself there."""
    kind, why = FAULTS[case.fault or 0], "no line"
    for _ in range(_MOST_TRIES):
        line = line_for(_plan_of(job), kind, rng)
        try:
            return _cut(job, case.seed, shop, kind.make(line or 0, rng))
        except ValueError as refused:
            why = str(refused)
    raise ValueError(why)


@lru_cache(maxsize=4)
def _plan(text: str, bits: tuple[tuple[int, object], ...]) -> Plan:
    known = dict(bits)
    known.setdefault(0, bits[0][1])
    return Plan.of(_read(text), known)  # type: ignore[arg-type]


def _plan_of(job: Job) -> Plan:
    return _plan(job.planned, tuple(job.bits.items()))


@lru_cache(maxsize=4)
def _read(text: str) -> Program:
    return read(text, "job")


def _cut(job: Job, seed: int, shop: Shop, fault: Fault | None = None) -> Recording:
    return record(_read(job.text), job.bits, seed=seed, rate=RATE, shop=shop, fault=fault)


def _outcome(
    case: Case,
    job: Job,
    recording: Recording,
    *,
    well: Truth,
    fate: Fate | None = None,
    until: float = math.inf,
) -> Outcome:
    """Return what came of a recording; ``well`` tells what would have been cut without a fault."""
    plan = _plan_of(job)
    heard = hear(recording, job, plan, until)
    step = heard.hop / recording.rate
    compared = heard.compared & is_cutting(well, heard.at - heard.size / recording.rate / 2.0)
    return Outcome(
        case=case.name,
        condition=case.condition,
        fault=case.fault if fate else None,
        cutting=round(cutting_seconds(well, until), 2),
        compared=round(float(compared.sum()) * step, 2),
        deaf=heard.deaf,
        said=tuple(Said.of(alarm) for alarm in heard.alarms),
        fate=fate,
        before="" if fate is None else heard.state_at(fate.onset),
        scores=_rivals(recording, well, plan, heard),
        sound=round(float(heard.at[-1]), 2),
    )


def _rivals(recording: Recording, well: Truth, plan: Plan, heard: Heard) -> dict[str, dict[str, object]]:
    rate, size, hop = recording.rate, heard.size, heard.hop
    samples = recording.samples[: size + hop * (len(heard.at) - 1)]
    cutting = cutting_at(well, plan, heard.at - size / rate, heard.at)
    coefficients, levels = cepstra.cepstra(samples, rate, size, hop), cepstra.levels(samples, size, hop)
    found = rivals.scores(coefficients, levels, cutting, hop / rate)
    return {name: Series(float(heard.at[0]), hop / rate, values).pack() for name, values in found.items()}


def _until(kind: FaultKind, truth: Truth) -> float:
    """Return until when a fault is heard, s: no alarm that comes later is looked at."""
    late = _half(truth) if kind.within == "half" else _onset(truth) + kind.within
    return late + _AFTER


def _fate(kind: FaultKind, well: Recording, wrong: Recording) -> Fate:
    truth = wrong.truth
    line, cause = truth.onset_line, truth.cause
    assert line is not None  # there is a fault
    assert cause == kind.cause
    return Fate(cause, _onset(truth), line, _half(truth), round(_louder(kind, well, wrong), 3))


def _onset(truth: Truth) -> float:
    assert truth.onset is not None  # there is a fault
    return truth.onset


def _half(truth: Truth) -> float:
    assert truth.half is not None  # there is a fault
    return truth.half


def _louder(kind: FaultKind, well: Recording, wrong: Recording) -> float:
    """Return what a fault adds to the level of the cut, dB: at once, or in the end when it comes creeping."""
    truth, rate = well.truth, well.rate
    at = np.arange(_onset(wrong.truth), (wrong.truth.over or 0.0) - 0.1, 0.1)
    after = at[is_cutting(truth, at) & is_cutting(truth, at + 0.1)]
    few = round(_LEVEL / 0.1)
    after = after[-few:] if kind.within == "half" else after[:few]
    if not len(after):
        return math.nan
    pieces = np.round(after * rate).astype(np.intp)[:, np.newaxis] + np.arange(rate // 10)
    powers = [float(np.mean(sound.samples[pieces].astype(np.float64) ** 2)) for sound in (wrong, well)]
    return 10.0 * math.log10(powers[0] / powers[1])
