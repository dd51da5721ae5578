"""Tables and numbers, written in Markdown."""

import math
from collections.abc import Sequence

import numpy as np

from hearing.intervals import share_interval


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a table; all columns but the first lean right."""
    rule = ["---", *["---:"] * (len(heads) - 1)]
    return "\n".join("| " + " | ".join(row) + " |" for row in (heads, rule, *rows))


def share(hits: int, tries: int) -> str:
    """Return a share with its 95 % interval: ``95 % (19 of 20; 75 to 100 %)``."""
    if not tries:
        return "none"
    low, high = share_interval(hits, tries)
    return f"{_percent(hits / tries)} % ({hits} of {tries}; {_percent(low)} to {_percent(high)} %)"


def _percent(value: float) -> str:
    """Return a share in percent: never 100 unless it is all of it."""
    text = f"{100.0 * value:.1f}"
    if value < 1.0 and text == "100.0":
        text = "99.9"
    return text.removesuffix(".0")


def number(value: float | None, digits: int = 2) -> str:
    """Return a number; nothing where there is none."""
    if value is None or math.isnan(value):
        return ""
    return "unbounded" if math.isinf(value) else f"{value:.{digits}f}"


def quantile(values: Sequence[float], level: float) -> float:
    """Return a quantile, NaN of nothing."""
    return float(np.quantile(values, level)) if values else math.nan
