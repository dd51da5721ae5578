"""Beside chipsong: what a person would use instead, on the same runs and at the same budget."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hearing.budget import threshold_for
from hearing.faults import FAULTS, GROUPS, Within
from hearing.intervals import rate_bound
from hearing.judge import Verdict, rival_verdict, verdict
from hearing.outcome import Outcome
from hearing.rivals import LEARNERS, PLAIN, PLAIN_LIMIT
from hearing.tables.false_alarms import healthy, hours
from hearing.tables.markdown import number, quantile, table

# An outcome's false alarms, and the verdict on a faulty one.
Alarms = Callable[[Outcome], int]
Judged = Callable[[Outcome], Verdict]


@dataclass(frozen=True)
class Contender:
    """Something that raises alarms."""

    name: str
    alarms: Alarms
    judged: Judged


CHIPSONG = Contender(
    "chipsong", lambda outcome: len(outcome.said), lambda outcome: verdict(outcome, _within(outcome))
)


def rival(name: str, threshold: float, label: str) -> Contender:
    """Return a rival at a threshold."""
    return Contender(
        label,
        lambda outcome: len(outcome.series(name).alarms(threshold)),
        lambda outcome: rival_verdict(outcome, name, threshold, _within(outcome)),
    )


def contenders(
    judged: Sequence[Outcome], calibration: Sequence[Outcome], per_hours: float
) -> list[Contender]:
    """
    Return chipsong and its rivals.

    Each rival that has a threshold to choose comes twice: as chosen on the healthy calibration runs within
    the budget of one false alarm in ``per_hours``; and, with hindsight, as would have raised no more false
    alarms on the judged runs than chipsong did. Nobody can have the latter: it is the best that could be.
    """
    found = [CHIPSONG, rival(PLAIN, PLAIN_LIMIT, PLAIN)]
    known, well = healthy(calibration), healthy(judged)
    as_chipsong = sum(len(outcome.said) for outcome in well)
    for name in LEARNERS:
        for label, runs, allowed in (
            ("budget", known, int(hours(known) / per_hours)),
            ("hindsight", well, as_chipsong),
        ):
            if runs:
                limit = threshold_for([outcome.series(name) for outcome in runs], allowed)
                found.append(rival(name, limit, f"{name}, {label}"))
    return found


def side_by_side(judged: Sequence[Outcome], found: Sequence[Contender]) -> str:
    """Return the table: false alarms, and the share caught of each kind of fault with its median delay."""
    wrong = [outcome for outcome in judged if outcome.fate is not None]
    groups = [group for group in GROUPS if any(_group(outcome) == group for outcome in wrong)]
    well, spent = healthy(judged), hours(healthy(judged))
    rows = []
    for contender in found:
        false = sum(contender.alarms(outcome) for outcome in well)
        often = f"{number(20.0 * false / spent, 1)} ({number(rate_bound(false, spent), 1)})" if spent else ""
        cells = [
            _cell([contender.judged(outcome) for outcome in wrong if _group(outcome) == group])
            for group in groups
        ]
        rows.append([contender.name, str(false), often, *cells])
    return table(["", "false alarms", "in 20 h (at most, 95 %)", *groups], rows)


def _group(outcome: Outcome) -> str:
    return FAULTS[outcome.fault or 0].group


def _cell(verdicts: list[Verdict]) -> str:
    delays = [verdict.delay for verdict in verdicts if verdict.delay is not None]
    late = f", {number(quantile(delays, 0.5))} s" if delays else ""
    return f"{len(delays)} of {len(verdicts)}{late}"


def _within(outcome: Outcome) -> Within:
    assert outcome.fault is not None  # only faulty runs are asked about
    return FAULTS[outcome.fault].within
