"""What came of all runs, as Markdown."""

from collections.abc import Callable, Sequence

import numpy as np

from placing.follow import Followed, Outcome

_HEAD = """| | runs | place known | off by, median | 95 % | holds the line | lines | too late to resume |
|---|---|---|---|---|---|---|---|"""


def report(outcomes: Sequence[Outcome], command: str, seeds: str) -> str:
    """Return the report of all outcomes."""
    by_condition = _rows(outcomes, lambda outcome: outcome.case.condition.name)
    by_shop = _rows(outcomes, lambda outcome: outcome.case.shop)
    took = np.array([(outcome.sound.took, outcome.took) for outcome in outcomes])
    live, slower = 100.0 * float(took[:, 0].mean()), 100.0 * float((took[:, 0] / took[:, 1]).mean())
    return "\n".join(
        [
            "# Which line is it cutting? By sound alone, on simulated runs",
            "",
            f"Written by `{command}`; {len(outcomes)} runs, {seeds}. Simulated sound, invented jobs.",
            "The place is asked for twice a second while the spindle turns, from the end of the first cut",
            "that was heard on, and 1.5 s after the moment it is asked of, as an alarm does. Off by: seconds",
            "to the nearest moment in which the line said was run, where a place was known. Too late: the",
            "earliest line was after the true one.",
            "",
            *by_condition,
            "",
            "By what else sounds in the shop:",
            "",
            *by_shop,
            "",
            f"The place by sound takes {live:.2f} % of one core live, {slower:.0f} % of what hearing takes.",
            "",
        ]
    )


def _rows(outcomes: Sequence[Outcome], name: Callable[[Outcome], str]) -> list[str]:
    names = list(dict.fromkeys(name(outcome) for outcome in outcomes))
    lines = [_HEAD]
    for wanted in (*names, None):
        chosen = [outcome for outcome in outcomes if wanted in (None, name(outcome))]
        title = wanted or "**all**"
        lines.append(_row(title, [outcome.sound for outcome in chosen]))
        lines.append(_row("&nbsp;&nbsp;by the clock", [outcome.clock for outcome in chosen]))
    return lines


def _row(title: str, runs: Sequence[Followed]) -> str:
    off, holds, lines, late = (
        np.concatenate([getattr(run, name) for run in runs]) for name in ("off", "holds", "lines", "late")
    )
    asked = sum(run.asked for run in runs)
    if not len(off):
        return f"| {title} | {len(runs)} | 0 % | | | | | |"
    return (
        f"| {title} | {len(runs)} | {len(off) / asked:.0%} | {np.median(off):.2f} s | "
        f"{np.quantile(off, 0.95):.1f} s | {holds.mean():.1%} | {lines.mean():.1f} | {late.mean():.1%} |"
    )
