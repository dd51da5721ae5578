"""By kind of fault: how many were caught, how soon, how well placed, and what they were called."""

import math
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from hearing.faults import FAULTS, FaultKind
from hearing.judge import Verdict, verdict
from hearing.outcome import Outcome
from hearing.tables.markdown import number, quantile, share, table

# By how many dB the cut is louder than the air.
_STANDS = (-math.inf, 3.0, 6.0, 10.0, math.inf)


def by_kind(outcomes: Sequence[Outcome]) -> dict[FaultKind, list[Verdict]]:
    """Return what became of each faulty run, by the kind of its fault."""
    found: dict[FaultKind, list[Verdict]] = {}
    for kind in FAULTS.values():
        own = [outcome for outcome in outcomes if outcome.fault == kind.number and outcome.fate]
        if own:
            found[kind] = [verdict(outcome, kind.within) for outcome in own]
    return found


def caught(verdicts: dict[FaultKind, list[Verdict]]) -> str:
    """Return the table of what was caught and how soon."""
    heads = (
        "fault",
        "counts until",
        "caught (95 % interval)",
        "delay, median",
        "95th percentile",
        "missed in a false alarm / not comparing / comparing",
        "level change, median (least to most)",
    )
    return table(heads, [_caught(kind, rows) for kind, rows in verdicts.items()])


def _caught(kind: FaultKind, verdicts: list[Verdict]) -> list[str]:
    delays = [verdict.delay for verdict in verdicts if verdict.delay is not None]
    louder = [verdict.fate.louder for verdict in verdicts]
    missed = [verdict.before for verdict in verdicts if not verdict.caught]
    alarmed, ready = missed.count("alarm"), missed.count("listen") + missed.count("uneasy")
    return [
        kind.name,
        "half of the change" if kind.within == "half" else f"{kind.within:g} s",
        share(len(delays), len(verdicts)),
        f"{number(quantile(delays, 0.5))} s" if delays else "",
        f"{number(quantile(delays, 0.95))} s" if delays else "",
        f"{alarmed} / {len(missed) - alarmed - ready} / {ready}",
        f"{quantile(louder, 0.5):+.1f} dB ({min(louder):+.1f} to {max(louder):+.1f})",
    ]


def by_standing(verdicts: dict[FaultKind, list[Verdict]]) -> str:
    """Return the table of how many slips were caught where the cut was how much louder than the air."""
    heads = ["fault", "under 3 dB", "3 to 6 dB", "6 to 10 dB", "10 dB and more", "no air, or no cut, before"]
    slips = {kind: rows for kind, rows in verdicts.items() if kind.cause == "loose"}
    return table(heads, [_by_standing(kind.name, rows) for kind, rows in slips.items()])


def _by_standing(name: str, verdicts: list[Verdict]) -> list[str]:
    groups = [
        [verdict for verdict in verdicts if low <= verdict.fate.stands < high]
        for low, high in pairwise(_STANDS)
    ]
    groups.append([verdict for verdict in verdicts if math.isnan(verdict.fate.stands)])
    return [name, *(f"{sum(each.caught for each in group)} of {len(group)}" for group in groups)]


def told(verdicts: dict[FaultKind, list[Verdict]]) -> str:
    """Return the table of what was said of the caught ones: since when, where, and what."""
    heads = (
        "fault",
        "onset off by, median",
        "95th percentile",
        "cause named right",
        "place told",
        "of these: true line inside the interval",
        "resume line not after the onset",
    )
    return table(heads, [_told(kind, rows) for kind, rows in verdicts.items()])


def _told(kind: FaultKind, verdicts: list[Verdict]) -> list[str]:
    pairs = [(verdict.fate, verdict.said) for verdict in verdicts if verdict.said is not None]
    off = [abs(said.onset - fate.onset) for fate, said in pairs]
    placed = [(fate.line, said.lines) for fate, said in pairs if said.lines is not None]
    resumed = [(fate.line, said.resume) for fate, said in pairs if said.resume is not None]
    inside = sum(first <= line <= last for line, (first, last) in placed)
    before = sum(resume <= line for line, resume in resumed)
    return [
        kind.name,
        f"{number(quantile(off, 0.5))} s" if off else "",
        f"{number(quantile(off, 0.95))} s" if off else "",
        share(sum(said.cause == fate.cause for fate, said in pairs), len(pairs)),
        f"{len(placed)} of {len(pairs)}",
        f"{inside} of {len(placed)}",
        f"{before} of {len(resumed)}",
    ]


def confusion(verdicts: dict[FaultKind, list[Verdict]]) -> str:
    """Return which cause was named how often for which fault, of those that were caught."""
    pairs = Counter(
        (kind.name, verdict.said.cause)
        for kind, rows in verdicts.items()
        for verdict in rows
        if verdict.said is not None
    )
    causes = sorted({cause for _, cause in pairs} | {kind.cause for kind in verdicts})
    rows = [
        [f"{kind.name} ({kind.cause})", *(str(pairs[kind.name, cause] or "") for cause in causes)]
        for kind in verdicts
    ]
    return table(["fault (what it should be called)", *causes], rows)
