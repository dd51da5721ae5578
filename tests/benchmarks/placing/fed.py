"""Line numbers as a sender would report them: some lines ahead, late, and not all of them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.linesfed import FedLocator, Report
from analysis.locate import Nowhere
from analysis.place import SoundLocator
from placing.cases import Case
from placing.follow import Followed, Run, followed, run_of

# How late, s, a report comes at the most, and how many never come.
_LATE, _MISSING = 0.3, 0.02

_HEAD = """| | runs | place known | holds the line | lines, median | 95 % | too late to resume |
|---|---|---|---|---|---|---|"""


@dataclass(frozen=True, eq=False)
class Fed:
    """What came of a case with line numbers and sound, with line numbers alone, and with sound alone."""

    case: Case
    both: Followed
    lines: Followed
    sound: Followed


def feed(case: Case, ahead: int) -> Fed:
    """Return what comes of a case whose lines are reported ``ahead`` lines before they are cut."""
    run = run_of(case)
    reports = reports_of(run, ahead, np.random.default_rng(case.seed))

    def fed(locator: FedLocator) -> Followed:
        for report in reports:
            locator.report(report)
        return followed(locator, run)

    both = fed(FedLocator(SoundLocator(run.plan), run.plan, ahead))
    lines = fed(FedLocator(Nowhere(), run.plan, ahead))
    return Fed(case, both, lines, followed(SoundLocator(run.plan), run))


def reports_of(run: Run, ahead: int, rng: np.random.Generator) -> list[Report]:
    """Return the reports of a run: the line that is sent when another one begins to be cut."""
    truth, last = run.truth, len(run.plan.program.lines)
    begins = np.flatnonzero(np.diff(truth.file_line, prepend=-1))
    begins = begins[rng.random(len(begins)) >= _MISSING]
    came = truth.begin[begins] - run.begin + rng.uniform(0.0, _LATE, len(begins))
    sent = np.minimum(truth.file_line[begins] + ahead, last)
    told = zip(came.tolist(), sent.tolist(), strict=True)
    return [Report(at, line, None) for at, line in told if at >= 0.0]


def report(outcomes: Sequence[Fed], ahead: int, command: str, seeds: str) -> str:
    """Return the report of all outcomes, as Markdown."""
    return "\n".join(
        [
            f"# Which line is it cutting? With line numbers {ahead} lines ahead, on simulated runs",
            "",
            f"Written by `{command}`; {len(outcomes)} runs, {seeds}. Simulated sound, invented jobs.",
            f"Reports come up to {_LATE:g} s late, and {_MISSING:.0%} never do. The place is asked for twice",
            "a second while the spindle turns, from the end of the first cut that was heard on, and 1.5 s",
            "after the moment it is asked of, as an alarm does. Lines: how many the interval has, where a",
            "place was known. Too late: the earliest line was after the true one.",
            "",
            _HEAD,
            *_rows(outcomes, lambda outcome: outcome.case.condition.name),
            "",
            "By what else sounds in the shop:",
            "",
            _HEAD,
            *_rows(outcomes, lambda outcome: outcome.case.shop),
            "",
        ]
    )


def _rows(outcomes: Sequence[Fed], name: Callable[[Fed], str]) -> list[str]:
    lines = []
    for wanted in (*dict.fromkeys(name(outcome) for outcome in outcomes), None):
        chosen = [outcome for outcome in outcomes if wanted in (None, name(outcome))]
        lines.append(_row(wanted or "**all**", [outcome.both for outcome in chosen]))
        lines.append(_row("&nbsp;&nbsp;line numbers alone", [outcome.lines for outcome in chosen]))
        lines.append(_row("&nbsp;&nbsp;sound alone", [outcome.sound for outcome in chosen]))
    return lines


def _row(title: str, runs: Sequence[Followed]) -> str:
    holds, lines, late = (
        np.concatenate([getattr(run, name) for run in runs]) for name in ("holds", "lines", "late")
    )
    if not len(holds):
        return f"| {title} | {len(runs)} | 0 % | | | | |"
    return (
        f"| {title} | {len(runs)} | {len(holds) / sum(run.asked for run in runs):.0%} | {holds.mean():.2%} | "
        f"{np.median(lines):.0f} | {np.quantile(lines, 0.95):.0f} | {late.mean():.2%} |"
    )
