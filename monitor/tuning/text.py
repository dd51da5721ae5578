"""What a tuning says, in words and as JSON."""

import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import numpy as np

from analysis.tuning import Row, Told, is_few
from monitor.tuning.work import Tuning
from monitor.words import some


def tuning_text(tuning: Tuning) -> str:
    """Return the trade as a table, the proposal, how sure it is, and what it would change in each run."""
    lines = [_heading(tuning), "", _HEADER, *(_line(row, tuning) for row in _shown(tuning)), ""]
    if tuning.proposed is None:
        return "\n".join([*lines, *_nothing_proposed(tuning)])
    lines += [*_proposal(tuning), ""]
    if tuning.proposed is tuning.today:
        return "\n".join([*lines, "That is today's limit: nothing would change."])
    return "\n".join([*lines, *_would_change(tuning)])


_HEADER = "  limit  false alarms  an hour (95 % interval)   faults noticed  delay"


def _heading(tuning: Tuning) -> str:
    where = f" in {tuning.material}" if tuning.material else ""
    runs = some(len(tuning.told), "labelled run")
    heard = f"{runs}, {tuning.today.hours:.2f} h of good cutting"
    budget = f"bearable false alarms: {tuning.settings.false_alarms:g} in {tuning.settings.hours:g} h"
    return f"{tuning.entry.bit.name}{where}: {heard}, {some(tuning.today.faults, 'fault')}; {budget}"


def _nothing_proposed(tuning: Tuning) -> list[str]:
    last = tuning.rows[-1]
    counted = f"{some(last.false, 'false alarm')} came in {last.hours:.2f} h"
    told = counted if last.false else _expected(tuning)
    return [
        f"No limit keeps this budget: at {last.factor:g}, the highest that was tried, {told}.",
        "Nothing is proposed. What alarms at every limit is hardly chance: are these runs labelled rightly?",
    ]


def _expected(tuning: Tuning) -> str:
    proposal = tuning.proposal
    low, high = (_count(rate, tuning) for rate in (proposal.low, proposal.high))
    expected = f"{_count(proposal.rate, tuning)} false alarms in {tuning.settings.hours:g} h are expected"
    return f"{expected}, {low} to {high} with a probability of 80 %"


def _proposal(tuning: Tuning) -> list[str]:
    proposal = tuning.proposal
    lines = [f"Proposed: limit = {proposal.factor:g}; {_expected(tuning)}."]
    if is_few(tuning.told, proposal):
        alarms = some(proposal.counted, "false alarm")
        few = f"{some(len(tuning.told), 'run')} and {alarms} at the lowest limit that counts"
        lines.append(f"That is mostly theory, for {few} are few. Label more runs.")
    if len(tuning.told) > 1:
        lines.append(f"Each run judged at what the others propose: {_judged(tuning.judged)}.")
    lines.append(
        "Onsets are those of the labels. False alarms often come several in a run: doubt is larger then."
    )
    return lines


def tuning_json(tuning: Tuning) -> str:
    """Return all of it as one JSON object."""
    told = {
        "bit": tuning.entry.bit.name,
        "material": tuning.material,
        "budget": {"false_alarms": tuning.settings.false_alarms, "hours": tuning.settings.hours},
        "today": tuning.settings.factor,
        "proposal": asdict(tuning.proposal) if tuning.proposed else None,
        "few": is_few(tuning.told, tuning.proposal),
        "cross_validated": _plain(tuning.judged),
        "trade": [_plain(row) for row in tuning.rows],
        "runs": [
            {"run": told.run, "hours": told.hours, **_before_and_after(tuning, told)} for told in tuning.told
        ],
    }
    return json.dumps(told, ensure_ascii=False, allow_nan=False)


def _plain(row: Row) -> dict[str, Any]:
    """Return a row for JSON, which knows no infinity."""
    told = {**asdict(row), "rate": row.rate}
    return {
        key: value if not isinstance(value, float) or math.isfinite(value) else None
        for key, value in told.items()
    }


def _shown(tuning: Tuning) -> list[Row]:
    """Return every other limit, and those that matter."""
    matter = (tuning.today, tuning.proposed)
    return [row for index, row in enumerate(tuning.rows) if index % 2 == 0 or row in matter]


def _line(row: Row, tuning: Tuning) -> str:
    matter = (("today", tuning.today), ("proposed", tuning.proposed))
    marks = [word for word, which in matter if row is which]
    rate = f"{row.rate:.2f} ({row.low:.2f} to {row.high:.2f})"
    noticed, delay = f"{row.caught} of {row.faults}", _delay(row.delay)
    line = f"  {row.factor:5.2f}  {row.false:12}  {rate:23}  {noticed:>14}  {delay:8}  {', '.join(marks)}"
    return line.rstrip()


def _delay(seconds: float) -> str:
    if math.isnan(seconds):
        return "-"
    return f"{seconds:.2f} s" if math.isfinite(seconds) else "missed"


def _count(rate: float, tuning: Tuning) -> str:
    """Return how many that is in the budget's hours, to two digits."""
    number = rate * tuning.settings.hours
    return np.format_float_positional(number, precision=2, unique=False, fractional=False, trim="-")


def _judged(row: Row) -> str:
    false = f"{some(row.false, 'false alarm')} in {row.hours:.2f} h ({row.low:.2f} to {row.high:.2f} an hour)"
    noticed = f"{row.caught} of {some(row.faults, 'fault')} noticed"
    return f"{false}, {noticed}, delay {_delay(row.delay)} in the median"


def _would_change(tuning: Tuning) -> list[str]:
    changes = [
        f"  {told.run}: {', '.join(said)}" for told in tuning.told if (said := list(_changes(tuning, told)))
    ]
    return (
        ["What that would change:", *changes] if changes else ["That would have changed none of these runs."]
    )


def _changes(tuning: Tuning, told: Told) -> Iterator[str]:
    now, then = _indices(tuning)
    if told.false[now] != told.false[then]:
        become = "becomes" if told.false[now] == 1 else "become"
        yield f"{some(told.false[now], 'false alarm')} {become} {told.false[then]}"
    if told.delays is not None and told.delays[now] != told.delays[then]:
        yield f"a delay of {_delay(told.delays[now])} becomes {_delay(told.delays[then])}"


def _before_and_after(tuning: Tuning, told: Told) -> dict[str, Any]:
    def at(index: int) -> dict[str, Any]:
        delay = None if told.delays is None else told.delays[index]
        missed = delay is not None and not math.isfinite(delay)
        return {"false": told.false[index], "delay": None if missed else delay, "missed": missed}

    now, then = _indices(tuning)
    proposed = at(then) if tuning.proposed else None
    return {"fault": told.delays is not None, "today": at(now), "proposed": proposed}


def _indices(tuning: Tuning) -> tuple[int, int]:
    return tuning.factors.index(tuning.settings.factor), tuning.factors.index(tuning.proposal.factor)
