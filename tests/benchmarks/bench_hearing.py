"""
How well slips are heard in the simulated demo job, and what else raises an alarm.

Run it from the top of the project: ``python tests/benchmarks/bench_hearing.py [RUNS]``. It prints a table;
RUNS is how many runs a row has. Simulated sound, and a slip as the simulator's hypothesis has it: this says
how well the parts work together, not how they will do in your shop. The seeds, from 7000 on, were used for
nothing else while thresholds were chosen.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from analysis.events import Alarm, Summary
from analysis.listener import Listener
from analysis.locate import ClockLocator, Plan
from analysis.program import read
from recordings_synthetic import Recording, Shop, ShopSound, Slip, record
from recordings_synthetic.job import BITS, seedling_trays

RATE = 32_000
FIRST_SEED = 7000
LATE = 10.0  # s after which a slip counts as missed


@dataclass(frozen=True)
class Condition:
    """A row of the table: what the shop sounds like, and how badly the bit slips, if at all."""

    name: str
    shop: Shop
    severity: float | None = None


KNOCKS = tuple(ShopSound("knock", 20.0 + 9.0 * n, level=-8.0, seed=n) for n in range(25))
CONDITIONS = (
    Condition("tight, quiet shop", Shop()),
    Condition("tight, hammer and doors", Shop(sounds=KNOCKS)),
    Condition(
        "tight, collector 10 dB below the cut", Shop(sounds=(ShopSound("collector", 95.0, level=-36.0),))
    ),
    Condition(
        "tight, collector as loud as the cut", Shop(sounds=(ShopSound("collector", 95.0, level=-26.0),))
    ),
    Condition("tight, talk 10 dB below the cut", Shop(sounds=(ShopSound("speech", 20.0, level=-36.0),))),
    Condition("tight, talk as loud as the cut", Shop(sounds=(ShopSound("speech", 20.0, level=-26.0),))),
    Condition("bad slip, quiet shop", Shop(), 1.0),
    Condition("moderate slip, quiet shop", Shop(), 0.5),
    Condition("slight slip, quiet shop", Shop(), 0.15),
)


@dataclass(frozen=True)
class Result:
    """What came of one run."""

    cut: float
    false_alarms: int
    delay: float | None
    line_inside: bool
    resume_before: bool


def one(job: tuple[Condition, int]) -> Result:
    """Simulate and hear one run."""
    condition, seed = job
    program = read(seedling_trays(), "job")
    plan = Plan.of(program, BITS | {0: BITS[1]})
    heard = record(
        program, BITS, seed=seed, rate=RATE, shop=condition.shop, slip=_slip(condition, plan, seed)
    )
    alarms, summary = _listen(heard, plan)
    onset = heard.truth.onset
    if onset is None:
        return Result(summary.cut_s, len(alarms), None, line_inside=False, resume_before=False)
    true = [alarm for alarm in alarms if 0.0 <= alarm.at - onset <= LATE]
    return Result(
        cut=summary.cut_s,
        false_alarms=sum(alarm.at < onset for alarm in alarms),
        delay=true[0].at - onset if true else None,
        line_inside=bool(true) and _inside(true[0], heard),
        resume_before=bool(true) and _before(true[0], heard),
    )


def _slip(condition: Condition, plan: Plan, seed: int) -> Slip | None:
    if condition.severity is None:
        return None
    moves = plan.program.moves
    last_bit = np.flatnonzero(plan.cuts & (moves.bit == moves.bit[-1]))
    share = np.random.default_rng(seed).uniform(0.2, 0.9)
    return Slip(
        at_line=int(moves.file_line[last_bit[int(len(last_bit) * share)]]), severity=condition.severity
    )


def _listen(heard: Recording, plan: Plan) -> tuple[list[Alarm], Summary]:
    listener = Listener(heard.rate, BITS | {0: BITS[1]}, ClockLocator(plan))
    events = [
        event
        for first in range(0, len(heard.samples), heard.rate)
        for event in listener.hear(heard.samples[first : first + heard.rate]).events
    ]
    return [event for event in events if isinstance(event, Alarm)], listener.end()


def _inside(alarm: Alarm, heard: Recording) -> bool:
    line = heard.truth.onset_line
    return alarm.line is not None and line is not None and alarm.line.first <= line <= alarm.line.last


def _before(alarm: Alarm, heard: Recording) -> bool:
    line = heard.truth.onset_line
    return alarm.resume is not None and line is not None and alarm.resume.file <= line


def row(condition: Condition, results: list[Result]) -> str:
    """Return a row of the table."""
    hours = sum(result.cut for result in results) / 3600.0
    false = sum(result.false_alarms for result in results)
    cells = [condition.name, str(len(results)), f"{hours:.2f} h", str(false)]
    if condition.severity is None:
        return " | ".join([*cells, "", "", "", ""])
    delays = [result.delay for result in results if result.delay is not None]
    caught = f"{len(delays)} of {len(results)}"
    if not delays:
        return " | ".join([*cells, caught, "", "", ""])
    return " | ".join(
        [
            *cells,
            caught,
            f"{np.median(delays):.2f} / {np.max(delays):.2f} s",
            f"{sum(result.line_inside for result in results)} of {len(delays)}",
            f"{sum(result.resume_before for result in results)} of {len(delays)}",
        ]
    )


def main(runs: int) -> None:
    """Print the table."""
    print("condition | runs | cutting | false alarms | caught in 10 s | delay median / most |", end=" ")
    print("line in interval | resume line not after the onset")
    with ProcessPoolExecutor(2) as pool:
        for number, condition in enumerate(CONDITIONS):
            seeds = range(FIRST_SEED + 100 * number, FIRST_SEED + 100 * number + runs)
            results = list(pool.map(one, [(condition, seed) for seed in seeds]))
            print(row(condition, results), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6)
