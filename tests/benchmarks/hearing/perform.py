"""A case becomes outcomes: the run is simulated, and heard by chipsong and by its rivals."""

import math
import time
import traceback
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

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

Floats = NDArray[np.float64]

RATE = 32_000
# What is heard of a fault after the time within which it must be said, s.
_AFTER = 2.0
# The level is compared over so many seconds of what is cut after a fault's onset.
_LEVEL = 10.0
# How much louder the cut was than the air is told over so many seconds before, by pieces of so many; for how
# long a spindle starts, and the last cut rings on.
_BEFORE, _PIECE, _STARTS, _RINGS = 60.0, 0.1, 1.0, 0.3
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
    well = _cut(job, case, shop)
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
            return _cut(job, case, shop, kind.make(line or 0, rng))
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


def _cut(job: Job, case: Case, shop: Shop, fault: Fault | None = None) -> Recording:
    machine = condition_of(case).machine
    return record(
        _read(job.text), job.bits, seed=case.seed, rate=RATE, shop=shop, fault=fault, machine=machine
    )


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
    louder, stands = _louder(kind, well, wrong), _stands(well, _onset(truth))
    return Fate(cause, _onset(truth), line, _half(truth), round(louder, 3), round(stands, 3))


def _onset(truth: Truth) -> float:
    assert truth.onset is not None  # there is a fault
    return truth.onset


def _half(truth: Truth) -> float:
    assert truth.half is not None  # there is a fault
    return truth.half


def _louder(kind: FaultKind, well: Recording, wrong: Recording) -> float:
    """Return what a fault adds to the level of the cut, dB: at once, or in the end when it comes creeping."""
    truth = well.truth
    at = np.arange(_onset(wrong.truth), (wrong.truth.over or 0.0) - _PIECE, _PIECE)
    after = at[is_cutting(truth, at) & is_cutting(truth, at + _PIECE)]
    few = round(_LEVEL / _PIECE)
    after = after[-few:] if kind.within == "half" else after[:few]
    if not len(after):
        return math.nan
    powers = [float(np.mean(_powers(sound, after))) for sound in (wrong, well)]
    return 10.0 * math.log10(powers[0] / powers[1])


def _powers(sound: Recording, at: Floats) -> Floats:
    """Return the power of pieces of sound from each of some moments on."""
    samples = np.arange(round(_PIECE * sound.rate))
    pieces = sound.samples[np.round(at * sound.rate).astype(np.intp)[:, np.newaxis] + samples]
    return np.asarray(np.mean(pieces.astype(np.float64) ** 2, axis=1))


def _stands(well: Recording, until: float) -> float:
    """Return how much louder the cut was than the spindle in the air, dB, in the time before a moment."""
    truth = well.truth
    at = np.arange(max(until - _BEFORE, 0.0), until - _PIECE, _PIECE)
    cuts = is_cutting(truth, at) & is_cutting(truth, at + _PIECE)
    air = np.zeros(len(at), dtype=np.bool_)
    for turning in truth.spindle:
        air |= (at > turning.on + _STARTS) & (at + _PIECE < turning.off)
    for shift in (-_RINGS, 0.0, _PIECE):
        air &= ~is_cutting(truth, at + shift)
    if not (cuts.any() and air.any()):
        return math.nan
    powers = _powers(well, at)
    return 10.0 * math.log10(float(np.median(powers[cuts]) / np.median(powers[air])))
