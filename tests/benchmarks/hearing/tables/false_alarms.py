"""By condition: false alarms, and how much of the cutting was compared at all."""

from collections.abc import Callable, Sequence

from hearing.conditions import CONDITIONS
from hearing.intervals import rate_bound
from hearing.outcome import Outcome
from hearing.tables.markdown import number, table

Count = Callable[[Outcome], int]


def healthy(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Return the outcomes of recordings without a fault."""
    return [outcome for outcome in outcomes if outcome.fate is None and outcome.failed is None]


def hours(outcomes: Sequence[Outcome]) -> float:
    """Return how many hours were cut."""
    return sum(outcome.cutting for outcome in outcomes) / 3600.0


def false_alarms(outcomes: Sequence[Outcome]) -> str:
    """Return the table: a row for each condition, and all together."""
    heads = (
        "healthy cutting",
        "runs",
        "hours of cutting",
        "of it compared",
        "false alarms",
        "in 20 h",
        "at most (95 %)",
        "said to be deaf",
    )
    rows = []
    for condition in sorted(CONDITIONS.values(), key=lambda known: known.number):
        own = [outcome for outcome in healthy(outcomes) if outcome.condition == condition.number]
        if own:
            rows.append(_row(condition.name, own))
    return table(heads, [*rows, _row("**all**", healthy(outcomes))])


def _row(name: str, own: Sequence[Outcome]) -> list[str]:
    spent = hours(own)
    false = sum(len(outcome.said) for outcome in own)
    heard = sum(outcome.compared for outcome in own) / 3600.0
    return [
        name,
        str(len(own)),
        number(spent),
        f"{100.0 * heard / spent:.0f} %" if spent else "",
        str(false),
        number(20.0 * false / spent, 1) if spent else "",
        number(rate_bound(false, spent), 1),
        str(sum(outcome.deaf for outcome in own)),
    ]
