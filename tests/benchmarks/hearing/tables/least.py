"""The watcher's test against the best rule there is."""

import math
from collections.abc import Sequence

from hearing.least import Measured
from hearing.tables.markdown import table


def least(measured: Sequence[Measured]) -> str:
    """Return the table."""
    heads = (
        "what comes",
        "correlation of rows",
        "rows between false alarms",
        "delay, rows",
        "least, rows",
        "ratio",
    )
    rows = [
        [
            one.change.name,
            f"{one.change.correlation:.2f}",
            f"{one.run_length:.0f}",
            f"{one.delay:.2f} ± {one.error:.2f}" if math.isfinite(one.delay) else "not found",
            f"{one.least:.2f}",
            f"{one.ratio:.2f}" if math.isfinite(one.ratio) else "",
        ]
        for one in measured
    ]
    return table(heads, rows)
